"""Pictures of the loads inside the engine: polar plots of crankpin and main bearing, histories over the cycle."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Circle
from matplotlib.ticker import MaxNLocator, MultipleLocator

from vibsim.engine.pin_loads import in_crank_frame
from vibsim.inputs.errors import VibsimError
from vibsim.show.style import FAINT, INK, LONGEST_NAME, LONGEST_TITLE, colour, cut, new_figure, plain, save
from vibsim.studies.loads import Loads, bearing_rows, throw_rows, worst, wrist_pin_rows

Curves = list[tuple[str, np.ndarray]]

MARK_EVERY = 90.0  # deg
CLOSEST_LABELS = 0.09  # of the frame's width
ENGINE_AXES = ("a quarter turn ahead of it, kN", "along the reference direction, kN")
CRANK_AXES = ("ahead of the throw, kN", "outward along the throw, kN")
ALL, WITHOUT = "as built", "without counterweights"
GAS, INERTIA, THRUST = "gas alone", "pistons and rods alone", "thrust on the wall"
STYLES: dict[str, tuple[int, Any]] = {
    ALL: (0, "-"),
    GAS: (1, "--"),
    INERTIA: (2, "-."),
    WITHOUT: (3, (0, (4, 1, 1, 1, 1, 1))),
    THRUST: (5, ":"),
}
NOTE = "Polar plots: seen so that the crank turns anticlockwise, dots every 90°, the greatest force named"


def draw_loads(loads: Loads, title: str, folder: Path) -> list[Path]:
    """Write loads.png into a folder, made if absent: the most loaded crankpin, wrist pin and main bearing."""
    speed = loads.pins.speed * 30.0 / math.pi
    figure = new_figure(13.0, 8.8, cut(f"Loads inside the engine · {speed:.0f} rpm · {title}", LONGEST_TITLE))
    grid = figure.add_gridspec(
        2, 3, height_ratios=(1.3, 1.0), left=0.06, right=0.985, top=0.9, bottom=0.09, wspace=0.24, hspace=0.3
    )
    polars, histories = ([figure.add_subplot(grid[row, column]) for column in range(3)] for row in range(2))
    _draw_crankpin(polars[0], polars[1], histories[0], loads)
    _draw_wrist_pin(histories[1], loads)
    _draw_bearing(polars[2], histories[2], loads)
    figure.text(0.01, 0.955, NOTE, fontsize=8, color=INK)
    shown = [WITHOUT] if loads.weights else []
    _legend(figure, [ALL, *shown, GAS, INERTIA, THRUST])
    try:
        folder.mkdir(parents=True, exist_ok=True)
        return [save(figure, folder / "loads.png")]
    except OSError as error:
        raise VibsimError(f"{folder}: figures cannot be written ({error.strerror}); expected a folder") from None


def _draw_crankpin(fixed: Axes, turning: Axes, history: Axes, loads: Loads) -> None:
    throw = worst(throw_rows(loads))
    name = cut(loads.throw_names[throw], LONGEST_NAME)
    pins = loads.pins
    total, gas, inertia = (loads.on_throw(part.crankpin, throw) for part in (pins.total, pins.gas, pins.inertia))
    turned = in_crank_frame(total, loads.throw_angle(throw))
    _polar(fixed, pins.angle, [(ALL, total)], f"Force on crankpin {name}, engine axes", ENGINE_AXES)
    _polar(turning, pins.angle, [(ALL, turned)], f"The same, turning with the crank: pin {name}", CRANK_AXES)
    parts = [(ALL, total), (GAS, gas), (INERTIA, inertia)]
    _history(history, pins.angle, _sizes(parts), f"Crankpin {name}: size of the force")


def _draw_bearing(polar: Axes, history: Axes, loads: Loads) -> None:
    index = worst(bearing_rows(loads))
    bearings = loads.bearings
    total, bare, gas, inertia = (
        part[:, index] for part in (bearings.total, bearings.without_weights, bearings.gas, bearings.inertia)
    )
    shown = [(ALL, total)] + ([(WITHOUT, bare)] if loads.weights else [])
    name = f"Main bearing {index + 1} at {1e3 * bearings.places[index]:.4g} mm".replace("-", "−")
    _polar(polar, loads.pins.angle, shown, f"{name}, engine axes", ENGINE_AXES)
    parts = [*shown, (GAS, gas), (INERTIA, inertia)]
    _history(history, loads.pins.angle, _sizes(parts), f"Main bearing {index + 1}: size of the force")


def _draw_wrist_pin(history: Axes, loads: Loads) -> None:
    """Along the cylinder the parts add up as plain numbers."""
    index = worst(wrist_pin_rows(loads))
    pins = loads.pins
    total, gas, inertia = (part.wrist_pin[:, index] for part in (pins.total, pins.gas, pins.inertia))
    parts = [(ALL, total.real), (GAS, gas.real), (INERTIA, inertia.real), (THRUST, total.imag)]
    name = cut(loads.layout.cylinders[index].name, LONGEST_NAME)
    _history(history, pins.angle, parts, f"Wrist pin {name}: along the cylinder; thrust on the wall")


def _sizes(parts: Curves) -> Curves:
    return [(name, np.abs(force)) for name, force in parts]


def _history(axes: Axes, angle: np.ndarray, parts: Curves, title: str) -> None:
    plain(axes, title, "crank angle, °", "kN")
    cycle = math.degrees(angle[1]) * len(angle)
    degrees = np.degrees(np.append(angle, angle[0])) + np.append(np.zeros(len(angle)), cycle)
    for name, values in parts:
        _draw(axes, degrees, 1e-3 * np.append(values, values[0]), name)
    axes.set_xlim(0.0, cycle)
    axes.xaxis.set_major_locator(MultipleLocator(90.0))


def _legend(figure: Figure, names: list[str]) -> None:
    """One for all panels, under them."""
    lines = [Line2D([], [], linestyle=STYLES[name][1], color=colour(STYLES[name][0]), lw=1.8) for name in names]
    figure.legend(lines, names, loc="lower center", ncol=len(names), fontsize=9, frameon=False, handlelength=3.5)


def _draw(axes: Axes, x: np.ndarray, y: np.ndarray, name: str) -> None:
    number, style = STYLES[name]
    width, above = (2.0, 3.0) if name == ALL else (1.3, 2.0)
    axes.plot(x, y, linestyle=style, color=colour(number), lw=width, zorder=above, label=name)


def _polar(axes: Axes, angle: np.ndarray, curves: Curves, title: str, names: tuple[str, str]) -> None:
    """Polar load diagram: the force vector's path over the cycle, looked at so that the crank turns anticlockwise."""
    plain(axes, title, *names)
    axes.grid(False)
    axes.set_aspect("equal")
    for name, force in curves:
        closed = 1e-3 * np.append(force, force[0])
        _draw(axes, closed.imag, closed.real, name)
    _frame(axes, 1e-3 * np.concatenate([force for _, force in curves]))
    _mark_angles(axes, angle, 1e-3 * curves[0][1])


def _frame(axes: Axes, values: np.ndarray) -> None:
    """A square that holds the path and the origin, circles of equal force about it."""
    across, along = (np.append(part, 0.0) for part in (values.imag, values.real))
    half = 0.6 * max(np.ptp(across), np.ptp(along), 1e-6)
    middle = 0.5 * (across.min() + across.max()), 0.5 * (along.min() + along.max())
    axes.set_xlim(middle[0] + half, middle[0] - half)
    axes.set_ylim(middle[1] - half, middle[1] + half)
    for radius in MaxNLocator(5).tick_values(0.0, 2.0 * half)[1:]:
        axes.add_patch(Circle((0.0, 0.0), radius, fill=False, color="#E5E5E5", lw=0.7, zorder=0.5))
    axes.axhline(0.0, color=FAINT, lw=0.8, zorder=0.6)
    axes.axvline(0.0, color=FAINT, lw=0.8, zorder=0.6)
    axes.xaxis.set_major_locator(MaxNLocator(6))
    axes.yaxis.set_major_locator(MaxNLocator(6))


def _mark_angles(axes: Axes, angle: np.ndarray, values: np.ndarray) -> None:
    """Dots along the path, named where there is room, and the greatest force."""
    room = CLOSEST_LABELS * abs(axes.get_xlim()[1] - axes.get_xlim()[0])
    peak, step = int(np.abs(values).argmax()), round(math.radians(MARK_EVERY) / angle[1])
    named: list[int] = []
    for index in (peak, *range(0, len(angle), step)):
        place = values[index].imag, values[index].real
        words = f"{round(math.degrees(angle[index]), 1):g}°"
        if index == peak:
            words = f"{abs(values[index]):.3g} kN at {words}"
        axes.plot(*place, "o", color=colour(6), ms=5.5 if index == peak else 3.5, zorder=4.0)
        if index == peak:  # written towards the middle, beyond the path's end
            side, right = ("right", -7) if place[0] < 0.0 else ("left", 7)
            below = -11 if place[1] < 0.0 else 5
            axes.annotate(words, place, (right, below), textcoords="offset points", ha=side, fontsize=8, color=INK)
        elif all(abs(values[index] - values[other]) > room for other in named):
            axes.annotate(words, place, (5, 4), textcoords="offset points", fontsize=8, color=INK)
        else:
            continue
        named.append(index)
