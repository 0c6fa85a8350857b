"""Figures of a run: torque, mount forces, sensor accelerations, cylinder pressure.

To add a figure, write a function from results to a matplotlib figure (or None) and enter it in FIGURES.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MultipleLocator, NullLocator

from vibsim.inputs.errors import VibsimError
from vibsim.post.orders import orders_over
from vibsim.post.summary import dominant_orders
from vibsim.post.torque import torque_names, torques
from vibsim.results.labelled import Group
from vibsim.show.air_figures import boost_figure, compressor_figure, temperature_figure
from vibsim.show.clutch_figure import clutch_figure
from vibsim.show.figure_index import captions_of, run_words, write_index
from vibsim.show.history_figures import HISTORIES
from vibsim.show.load_step_figures import step_pressure, step_torque, steps_load
from vibsim.show.long_record import draw_band, draw_speed, is_long
from vibsim.show.road_figure import road_figure
from vibsim.show.shaft_figure import shaft_figure
from vibsim.show.style import FAINT, INK, LINES, LONGEST_TITLE, colour, cut, line, new_figure, plain, save, short
from vibsim.show.tables import CAUTION
from vibsim.show.wheel_figure import wheel_figure

HIGHEST_DRAWN_ORDER = 8.0
HIGHEST_DRAWN_FREQUENCY = 500.0
NAMED_PEAKS = 4
TINTS = (0, 1, 3)  # colours of gas, inertia and net torque
FAINTEST = 0.01  # of the strongest: what is not worth a number


def _abscissa(results: Group) -> tuple[Group, np.ndarray, str]:
    """What time histories are drawn over: one cycle in degrees in a steady run, otherwise time."""
    if "cycle" in results.groups:
        return results.groups["cycle"], np.degrees(results["cycle/cycle_angle"]), "crank angle, °"
    return results, results["time"], "time, s"


def _heading(results: Group, what: str) -> str:
    per_minute, crank_speed = 30.0 / math.pi, results["crank_speed"]
    speed = f"{results.groups['torque'].attributes['mean_speed_rad_per_s'] * per_minute:.0f} rpm"
    if "cycle" not in results.groups:
        speed = f"{crank_speed[0] * per_minute:.0f} → {crank_speed[-1] * per_minute:.0f} rpm"
    return cut(f"{what} · {speed} · {results.attributes['title']}", LONGEST_TITLE)


def _degrees(axes: Axes, results: Group) -> None:
    if "cycle" in results.groups:
        length = round(np.degrees(results.groups["cycle"].attributes["cycle_length_rad"]))
        axes.xaxis.set_major_locator(MultipleLocator(90.0 if length <= 720 else 360.0 * math.ceil(length / 4320)))
        axes.set_xlim(0.0, length)
    else:
        axes.margins(x=0.0)


def torque_figure(results: Group) -> Figure:
    """Torque and crank speed over a cycle, amplitude per order; over a load step cycle by cycle."""
    if steps_load(results):
        return step_torque(results)
    group, x, x_label = _abscissa(results)
    torque = results.groups["torque"]
    figure = new_figure(11.0, 7.0, _heading(results, "Torque ripple"))
    grid = figure.add_gridspec(
        2, 2, height_ratios=(1.3, 1.0), left=0.06, right=0.985, top=0.89, bottom=0.075, hspace=0.32, wspace=0.13
    )
    losses = "losses" if "accessory_torque" in group else "friction"
    title = f"Torque: net = gas + inertia − {losses}"
    over = plain(figure.add_subplot(grid[0, :]), title, x_label, "torque, N m")
    values, names = torques(group), torque_names(group)
    drawn = [names.index(name) for name in ("gas", "inertia", "net")]
    angle = results["crank_angle"] if is_long(results) else None
    for index, tint in zip(drawn, TINTS, strict=True):
        label = f"{names[index]} (swing {torque['swing'][index]:.0f} N m)"
        if angle is not None:  # net alone: bands of all three would hide each other
            if names[index] == "net":
                draw_band(over, x, values[:, index], angle, tint, f"{label}, mean of cycles; shaded: least to greatest")
            continue
        style, width = ("-", 2.4) if names[index] == "net" else (LINES[index + 1], 1.3)
        over.plot(x, values[:, index], style, color=colour(tint), lw=width, label=label)
    over.plot(
        x, group["load_torque"], color=INK, lw=1.0, ls=":", label=f"load (mean {group['load_torque'].mean():.1f} N m)"
    )
    over.legend(fontsize=8, ncols=4, loc="lower right", bbox_to_anchor=(1.0, 0.99), frameon=False)
    _degrees(over, results)
    speed = plain(figure.add_subplot(grid[1, 0]), "Crank speed", x_label, "speed, rpm")
    draw_speed(speed, x, group["crank_speed"] * 30.0 / math.pi, angle)
    if "cycle" in results.groups:
        fluctuation = 100.0 * torque.attributes["speed_fluctuation"]
        speed.set_title(f"Crank speed: fluctuation {fluctuation:.2f} % of the mean", loc="left", fontsize=10)
    _degrees(speed, results)
    bars = plain(figure.add_subplot(grid[1, 1]), "Amplitude per order", "engine order", "amplitude, N m")
    if "amplitude" in torque:
        _order_bars(bars, torque["order"], torque["amplitude"][:, drawn], [names[i] for i in drawn], TINTS)
    else:
        _too_few_cycles(bars)
    return figure


def _order_bars(axes: Axes, order: np.ndarray, amplitude: np.ndarray, names: list[str], tints: tuple) -> None:
    """Grouped bars per order, the mean left out."""
    shown = (order > 0.0) & (order <= HIGHEST_DRAWN_ORDER)
    spacing = order[1] - order[0]
    width = 0.8 * spacing / amplitude.shape[1]
    for index, name in enumerate(names):
        place = order[shown] + (index - 0.5 * (len(names) - 1)) * width
        axes.bar(place, amplitude[shown, index], width, color=colour(tints[index]), label=name)
    axes.set_xlim(0.0, HIGHEST_DRAWN_ORDER + spacing)
    axes.xaxis.set_major_locator(MultipleLocator(1.0))
    axes.legend(fontsize=8, frameon=False, loc="upper right")


def _too_few_cycles(axes: Axes) -> None:
    axes.text(0.5, 0.5, "too few whole cycles for orders", ha="center", va="center", transform=axes.transAxes)


def mount_figure(results: Group) -> Figure | None:
    """Which mount passes how much force, along which axis, at which order."""
    if "mount_forces" not in results.groups:
        return None
    levels, names = results.groups["mount_forces"], short(results.labels("mount"))
    ranking = np.argsort(levels["resultant_rms"])
    figure = new_figure(11.0, 7.0, _heading(results, "Mount forces"))
    grid = figure.add_gridspec(
        2, 2, width_ratios=(1.0, 1.25), left=0.14, right=0.985, top=0.9, bottom=0.07, hspace=0.3, wspace=0.16
    )
    _mount_ranking(plain(figure.add_subplot(grid[0, 0]), "", "rms of the varying force, N", ""), levels, names, ranking)
    worst = int(ranking[-1])
    group, x, x_label = _abscissa(results)
    over = plain(figure.add_subplot(grid[0, 1]), f"Worst mount: {names[worst]}", x_label, "force less mean, N")
    force = group["mount_force"][:, worst] - group["mount_force"][:, worst].mean(axis=0)
    swing = np.ptp(force, axis=0)
    for axis, letter in enumerate("XYZ"):  # the lesser on top
        above = 3.0 - swing[axis] / (swing.max() or 1.0)
        over.plot(x, force[:, axis], line(axis), color=colour(axis), lw=1.4, label=letter, zorder=above)
    over.legend(fontsize=8, ncols=3, frameon=False, loc="lower right", bbox_to_anchor=(1.0, 0.99))
    _degrees(over, results)
    words = "Force amplitude per order, N: root sum of squares over X, Y, Z (no number: below 1 % of the strongest)"
    orders = plain(figure.add_subplot(grid[1, :]), words, "engine order", "")
    found = orders_over(results, "mount_force")
    if found is None:
        _too_few_cycles(orders)
    else:
        _order_map(orders, found.order, np.linalg.norm(found.amplitude, axis=2), names, ranking)
    return figure


def _mount_ranking(axes: Axes, levels: Group, names: list[str], ranking: np.ndarray) -> None:
    place = np.arange(len(names))
    for axis, letter in enumerate("XYZ"):
        values = levels["rms"][ranking, axis]
        axes.barh(place + 0.27 * (1 - axis), values, 0.25, color=colour(axis), label=letter)
    axes.set_yticks(place, [names[index] for index in ranking])
    axes.grid(False, axis="y")
    axes.legend(fontsize=8, frameon=False, loc="lower right")
    axes.set_title("Which mount passes most", loc="left", fontsize=10)


def _order_map(axes: Axes, order: np.ndarray, amplitude: np.ndarray, names: list[str], ranking: np.ndarray) -> None:
    """Shaded table of amplitude: mounts down, orders across, numbers in the strong cells."""
    strong = order[1:][amplitude[1:].max(axis=1) >= FAINTEST * amplitude[1:].max()]
    last = min(max(2.0, strong.max()), HIGHEST_DRAWN_ORDER)
    shown = (order > 0.0) & (order <= last)
    table = amplitude[shown][:, ranking[::-1]].T
    axes.imshow(table, aspect="auto", cmap="Blues", vmin=0.0)
    axes.set_yticks(np.arange(len(names)), [names[index] for index in ranking[::-1]])
    axes.set_xticks(np.arange(shown.sum()), [f"{value:g}" for value in order[shown]])
    axes.grid(False)
    top = table.max()
    for row, column in zip(*np.nonzero(table >= FAINTEST * top), strict=True):
        value = table[row, column]
        ink = "white" if value > 0.55 * top else "black"
        axes.text(column, row, f"{value:.3g}", ha="center", va="center", fontsize=8, color=ink)


def sensor_figure(results: Group) -> Figure | None:
    """Acceleration spectrum at every sensor, worst first; in a steady run with the exact orders as dots."""
    if "spectra" not in results.groups:
        return None
    spectra, names = results.groups["spectra"], short(results.labels("sensor"))
    ranking = np.argsort(-results["sensors/resultant_rms"])
    speed = results.groups["torque"].attributes["mean_speed_rad_per_s"] / (2.0 * math.pi)
    steady = "cycle" in results.groups
    what = "Sensor acceleration" + (" (line: in time, dot: per order)" if steady else "")
    figure = new_figure(11.0, 2.4 * len(names) + 1.2, _heading(results, what))
    height = figure.get_figheight()
    room = {"left": 0.07, "right": 0.985, "top": 1.0 - 0.65 / height, "bottom": 0.5 / height, "hspace": 0.18}
    axes = figure.subplots(len(names), 1, sharex=True, sharey=True, squeeze=False, gridspec_kw=room)[:, 0]
    frequency = spectra["frequency"]
    shown = (frequency > 0.0) & (frequency <= HIGHEST_DRAWN_FREQUENCY)
    if not shown.any():
        return None
    top = float(spectra["acceleration_amplitude"][shown].max()) or 1.0
    for row, index in enumerate(ranking):
        rms = results["sensors/resultant_rms"][index]
        words = f"{names[index]}: {rms:.3g} m/s² rms, all axes, unweighted"
        plain(axes[row], words, "frequency, Hz" if row == len(names) - 1 else "", "peak amplitude, m/s²")
        for axis, letter in enumerate("XYZ"):
            level = spectra["acceleration_amplitude"][shown, index, axis]
            axes[row].semilogy(frequency[shown], level, line(axis), color=colour(axis), lw=0.9, label=letter)
        if steady:
            _draw_orders(axes[row], results, int(index), speed)
            _name_orders(axes[row], results, int(index), speed)
    axes[0].set_ylim(top * 1e-4, top * 6.0)
    axes[0].yaxis.set_minor_locator(NullLocator())
    axes[0].set_xlim(0.0, HIGHEST_DRAWN_FREQUENCY)
    axes[0].legend(fontsize=8, ncols=3, frameon=False, loc="lower right", bbox_to_anchor=(1.0, 0.99))
    return figure


def _draw_orders(axes: Axes, results: Group, sensor: int, speed: float) -> None:
    """Dots at the amplitude of every order over crank angle.

    They differ from the spectrum over time: it reads low between its lines, and uneven speed spreads an order over its
    neighbours.
    """
    place = results["orders/order"][1:] * speed
    amplitude = results["orders/sensor_acceleration_amplitude"][1:, sensor]
    for axis in range(3):
        axes.plot(place, amplitude[:, axis], "osD"[axis], color=colour(axis), ms=4.0, mew=0.0)


def _name_orders(axes: Axes, results: Group, sensor: int, speed: float) -> None:
    """Mark the strongest orders of a sensor with their number."""
    amplitude = np.linalg.norm(results["orders/sensor_acceleration_amplitude"][:, sensor], axis=1)
    for peak in dominant_orders(results["orders/order"], amplitude, "", NAMED_PEAKS):
        place = peak["order"] * speed
        if place > HIGHEST_DRAWN_FREQUENCY:
            continue
        axes.axvline(place, color=FAINT, lw=0.8, zorder=0)
        words = f"order {peak['order']:g}"
        axes.annotate(
            words, (place, 1.0), (2, -9), xycoords=("data", "axes fraction"), textcoords="offset points", fontsize=7.5
        )


def pressure_figure(results: Group) -> Figure | None:
    """Cylinder pressures over the cycle; over a load step their peaks."""
    pressure = results["cylinder_pressure"]
    if np.ptp(pressure) == 0.0:
        return None
    if steps_load(results):
        return step_pressure(results)
    group, x, x_label = _abscissa(results)
    figure = new_figure(11.0, 4.2, _heading(results, "Cylinder pressure"))
    figure.subplots_adjust(left=0.06, right=0.985, top=0.86, bottom=0.12)
    axes = plain(figure.add_subplot(), "", x_label, "absolute pressure, bar")
    for index, name in enumerate(results.labels("cylinder")):
        values = group["cylinder_pressure"][:, index] * 1e-5
        label = f"cylinder {name}, peak {values.max():.1f} bar"
        axes.plot(x, values, line(index), color=colour(index), lw=1.6, label=label)
    axes.legend(fontsize=8, ncols=4, frameon=False, loc="lower right", bbox_to_anchor=(1.0, 0.99))
    _degrees(axes, results)
    axes.set_ylim(bottom=0.0)
    return figure


FIGURES: dict[str, Callable[[Group], Figure | None]] = {
    "torque": torque_figure,
    "mounts": mount_figure,
    "sensors": sensor_figure,
    "pressure": pressure_figure,
    "boost": boost_figure,
    "temperatures": temperature_figure,
    "compressor": compressor_figure,
    "tooth_wheel": wheel_figure,
    "shafts": shaft_figure,
    "clutch": clutch_figure,
    "road": road_figure,
}


def draw_figures(results: Group, folder: Path, names: Iterable[str] = FIGURES) -> list[Path]:
    """Write figures of the results, all unless named, as PNG into a folder, made if absent; returns their paths."""
    drawers: dict[str, Callable[[Group], Figure | None]] = HISTORIES if "history" in results.groups else FIGURES
    if drawers is HISTORIES:
        names = HISTORIES
    try:
        folder.mkdir(parents=True, exist_ok=True)
        paths = []
        for name in names:
            figure, path = drawers[name](results), folder / f"{name}.png"
            if figure is None:
                path.unlink(missing_ok=True)  # of an earlier run; it would pass for this one's
            else:
                paths.append(save(figure, path))
        return paths
    except OSError as error:
        raise VibsimError(f"{folder}: figures cannot be written ({error.strerror}); expected a folder") from None


def draw_with_index(results: Group, folder: Path) -> list[Path]:
    """The main figures of the results and a page that shows them with captions, in a folder; returns the paths."""
    pictures = draw_figures(results, folder)
    captions = captions_of(HISTORIES if "history" in results.groups else FIGURES)
    title = str(results.attributes["title"])
    return [*pictures, write_index(folder, pictures, title, run_words(results), captions, CAUTION)]
