"""Pictures of the free forces: hodographs of force and couple, bars per order."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator, MultipleLocator

from vibsim.engine.balance import Phasors
from vibsim.show.style import FAINT, INK, LONGEST_TITLE, colour, cut, into_folder, new_figure, plain
from vibsim.studies.balance import NEGLIGIBLE, Balance

DRAWN_ORDERS = 6.0
MARKS = (0, 90, 180, 270)
WAYS = (45, 225)  # degrees of crank angle at which an arrow head says which way the vector goes
TOGETHER = 0.08  # of the largest: marks closer than this get one label
HATCHES = ("", "////")
VISIBLE = 0.03  # of the greatest order: smaller paths are dots
PATH_ORDERS, PATH_LINES = (1.0, 2.0, 4.0), ("--", "-.", ":")


def draw_balance(balance: Balance, title: str, folder: Path) -> list[Path]:
    """Write balance.png into a folder, made if absent."""
    speed = balance.about_crank.speed * 30.0 / math.pi
    figure = new_figure(12.5, 5.2, cut(f"Free forces and couples · {speed:.0f} rpm · {title}", LONGEST_TITLE))
    figure.text(0.01, 0.905, units(balance), fontsize=9, color=INK, va="top")
    grid = figure.add_gridspec(
        2, 3, width_ratios=(1.0, 1.0, 0.95), left=0.065, right=0.99, top=0.83, bottom=0.11, wspace=0.32, hspace=0.6
    )
    drawn = (
        (balance.about_crank.force, balance.force, balance.unit, "Force on the block", "N", "F"),
        (balance.couple_course, balance.couple, balance.couple_unit, "Couple about mid-throws", "N m", arm(balance)),
    )
    for column, (values, phasors, scale, name, unit, word) in enumerate(drawn):
        axes = figure.add_subplot(grid[:, column])
        hodograph(axes, values, balance.about_crank.turns, scale, f"{name}, {unit}", word)
        _order_paths(axes, phasors, scale)
        _bars(figure.add_subplot(grid[column, 2]), phasors, scale, f"{name.split()[0]} per order", unit)
    return into_folder({"balance.png": figure}, folder)


def arm(balance: Balance) -> str:
    """What couples are measured in."""
    return "F·a" if balance.arm else "F·bore"


def units(balance: Balance) -> str:
    """What forces and couples are compared with."""
    spacing = f"; a = {1e3 * balance.arm:.1f} mm, the throw spacing" if balance.arm else ""
    return f"F = {balance.unit:.1f} N, one cylinder's primary force{spacing}"


def _bars(axes: Axes, phasors: Phasors, scale: float, title: str, unit: str) -> None:
    plain(axes, title, "engine order", f"amplitude, {unit}")
    shown = phasors.order <= DRAWN_ORDERS
    step = float(phasors.order[0])
    width = 0.36 * step
    axes.set_xlim(0.5 * step, DRAWN_ORDERS + 0.5 * step)
    axes.xaxis.set_major_locator(MultipleLocator(1.0))
    greatest = float(phasors.major[shown].max())
    if greatest < NEGLIGIBLE * scale:
        _none(axes)
        return
    for index, (values, label) in enumerate(((phasors.forward, "with the crank"), (phasors.backward, "against it"))):
        place = phasors.order[shown] + (index - 0.5) * width
        bars = axes.bar(place, np.abs(values[shown]), width, label=label, color=colour(index), hatch=HATCHES[index])
        for bar in bars:
            bar.set(edgecolor="white", linewidth=0.0)
    axes.set_ylim(0.0, 1.1 * greatest)
    axes.legend(fontsize=8, frameon=False)


def _none(axes: Axes) -> None:
    axes.text(0.5, 0.55, "none", ha="center", va="center", transform=axes.transAxes, color=INK)
    axes.set_yticks([])


def hodograph(axes: Axes, values: np.ndarray, turns: int, scale: float, title: str, word: str) -> None:
    """The vector's path (n), complex, over the turns, looked at so that the crank turns anticlockwise.

    `scale` one cylinder's share, called `word`; sizes below a thousandth of it count as none.
    """
    plain(axes, title, "← a quarter turn ahead", "along the reference direction →")
    size = float(np.abs(values).max())
    axes.axhline(0.0, color=FAINT, lw=0.8)
    axes.axvline(0.0, color=FAINT, lw=0.8)
    axes.set_aspect("equal")
    if size < NEGLIGIBLE * scale:
        _none(axes)
        axes.set_xticks([])
        return
    axes.set_title(f"{title}: largest {size / scale:.3g} {word}", fontsize=10, loc="left", color=INK)
    closed = np.append(values, values[0])
    axes.plot(closed.imag, closed.real, color=colour(0), lw=1.8)
    _ways(axes, values, turns, size)
    _marks(axes, values, turns, size)
    axes.set_xlim(1.3 * size, -1.3 * size)
    axes.set_ylim(-1.3 * size, 1.3 * size)
    axes.xaxis.set_major_locator(MaxNLocator(5))


def _order_paths(axes: Axes, phasors: Phasors, scale: float) -> None:
    """The ellipse of every order that counts, within the total's picture."""
    theta = np.linspace(0.0, 2.0 * np.pi, 181)
    least = max(VISIBLE * float(phasors.major.max()), NEGLIGIBLE * scale)
    for index, order in enumerate(PATH_ORDERS):
        forward, backward = phasors.at(order)
        if abs(forward) + abs(backward) < least:
            continue
        path = forward * np.exp(1j * theta) + backward * np.exp(-1j * theta)
        axes.plot(path.imag, path.real, PATH_LINES[index], color=colour(2 + index), lw=1.1, label=f"order {order:g}")
    if axes.get_legend_handles_labels()[1]:
        axes.legend(fontsize=8, frameon=False, loc="lower right")


def _at(values: np.ndarray, turns: int, degrees: float) -> complex:
    return complex(values[round(degrees / 360.0 * len(values) / turns) % len(values)])


def _ways(axes: Axes, values: np.ndarray, turns: int, size: float) -> None:
    for degrees in WAYS:
        here, after = _at(values, turns, degrees), _at(values, turns, degrees + 4.0)
        if abs(after - here) > 1e-3 * size:
            look = {"arrowstyle": "-|>", "color": colour(0), "mutation_scale": 14}
            axes.annotate("", (after.imag, after.real), (here.imag, here.real), arrowprops=look)


def _marks(axes: Axes, values: np.ndarray, turns: int, size: float) -> None:
    """Dots at quarter turns; labels of dots that coincide are put together."""
    places: list[tuple[complex, list[str]]] = []
    for mark in MARKS:
        value = _at(values, turns, mark)
        axes.plot(value.imag, value.real, "o", color=colour(1), ms=5.0)
        home = next((words for place, words in places if abs(place - value) < TOGETHER * size), None)
        if home is None:
            places.append((value, [f"{mark}°"]))
        else:
            home.append(f"{mark}°")
    ground = {"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 0.5}
    for place, words in places:
        out = place / abs(place) if abs(place) > TOGETHER * size else 1.0 - 1.0j
        axes.annotate(
            ", ".join(words),
            (place.imag, place.real),
            (-12.0 * out.imag, 10.0 * out.real),
            textcoords="offset points",
            ha="right" if out.imag > 0.3 else "left" if out.imag < -0.3 else "center",
            va="center",
            fontsize=8,
            color=INK,
            bbox=ground,
        )
