"""The map of what counterweights leave over bank angle and pin offset, one panel each, valleys marked."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import MaxNLocator, MultipleLocator

from vibsim.inputs.errors import VibsimError
from vibsim.show.style import INK, LONGEST_TITLE, colour, cut, new_figure, plain, save
from vibsim.studies.angle_map import AngleMap
from vibsim.studies.balance import NEGLIGIBLE

COLOUR_MAP = "cividis"  # even to the eye, and to a colour-blind one
LEVELS = 10
VALLEY = 0.05  # a point below this share of the panel's greatest is marked as in a valley
VALLEY_COLOUR = colour(1)
TITLES = (
    "First-order force against the crank",
    "First-order couple against the crank",
    "Second-order force, largest",
    "Second-order couple, largest",
)
LONGEST_WORDS = 64


def draw_map(found: AngleMap, title: str, folder: Path) -> list[Path]:
    """Write map.png into a folder, made if absent; quantities that are nothing at all angles are named, not drawn."""
    shown = [number for number in range(len(TITLES)) if found.values[number].max() > NEGLIGIBLE]
    nothing = [TITLES[number] for number in range(len(TITLES)) if number not in shown]
    rows = 1 if len(shown) <= 2 else 2
    height = 1.5 + 3.9 * rows
    figure = new_figure(12.0, height, cut(f"What no crank counterweight reaches · {title}", LONGEST_TITLE))
    edge = {"left": 0.065, "right": 0.955, "top": 1.0 - 1.25 / height, "bottom": 0.55 / height}
    grid = figure.add_gridspec(rows, 2, **edge, hspace=0.3, wspace=0.2)
    for place, number in enumerate(shown):
        axes = figure.add_subplot(grid[divmod(place, 2)])
        unit = found.couple_word if number % 2 else "F"
        _panel(figure, axes, found, found.values[number], TITLES[number], unit)
    _legend(figure, found)
    if nothing:
        words = "nothing at any angle: " + "; ".join(nothing)
        figure.text(0.065, 1.0 - 0.92 / height, words, fontsize=9, color=INK)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        return [save(figure, folder / "map.png")]
    except OSError as error:
        raise VibsimError(f"{folder}: figures cannot be written ({error.strerror}); expected a folder") from None


def _panel(figure: Figure, axes: Axes, found: AngleMap, values: np.ndarray, title: str, unit: str) -> None:
    bank, pin = np.degrees(found.bank), np.degrees(found.pin)
    plain(axes, f"{title}, {unit}", "angle between the banks, degrees", "pin offset, degrees (+ ahead)")
    axes.set_xlim(bank[0], bank[-1])
    axes.set_ylim(pin[0], pin[-1])
    axes.grid(False)
    greatest = float(values.max())
    filled = axes.contourf(bank, pin, values.T, MaxNLocator(LEVELS).tick_values(0.0, greatest), cmap=COLOUR_MAP)
    bar = figure.colorbar(filled, ax=axes, pad=0.015, fraction=0.05)
    bar.ax.tick_params(labelsize=8, length=0.0)
    valley = VALLEY * greatest
    if float(values.min()) < valley:
        axes.contourf(bank, pin, values.T, (-1.0, valley), colors=VALLEY_COLOUR)
        axes.set_title(f"orange: below {valley:.2g}", loc="right", fontsize=9, color=VALLEY_COLOUR)
    for axis, places in ((axes.xaxis, bank), (axes.yaxis, pin)):
        axis.set_major_locator(MultipleLocator(_step(float(places[-1] - places[0]))))
    _marks(axes, found)


def _step(span: float) -> float:
    """A tick step that suits angles."""
    return next((step for step in (1.0, 2.0, 5.0, 10.0, 15.0, 30.0) if span / step <= 8.0), 60.0)


def _marks(axes: Axes, found: AngleMap) -> None:
    """Numbered discs at the best points; the case as drawn above them, as it stays where it is."""
    for number, point in enumerate(found.points):
        place = float(np.degrees(point.bank)), float(np.degrees(point.pin))
        if number:
            axes.plot(*place, "o", ms=13.0, mfc="white", mec=INK, clip_on=False, zorder=5)
            words: dict[str, Any] = {"ha": "center", "va": "center", "fontsize": 8, "fontweight": "bold", "color": INK}
            axes.text(*place, str(number), **words, zorder=6)
        elif found.bank[0] <= point.bank <= found.bank[-1] and found.pin[0] <= point.pin <= found.pin[-1]:
            axes.plot(*place, "D", ms=8.0, mfc=VALLEY_COLOUR, mec="white", mew=1.6, clip_on=False, zorder=7)


def _legend(figure: Figure, found: AngleMap) -> None:
    handles = [Line2D([], [], marker="D", ls="", ms=7, mfc=VALLEY_COLOUR, mec="white", label="as drawn")]
    for number, point in enumerate(found.points[1:], 1):
        words = cut(f"{number}: {point.words}", LONGEST_WORDS)
        handles.append(Line2D([], [], marker="o", ls="", ms=8, mfc="white", mec=INK, label=words))
    top = 1.0 - 0.36 / figure.get_size_inches()[1]
    figure.legend(handles=handles, loc="upper left", bbox_to_anchor=(0.055, top), ncols=3, fontsize=9, frameon=False)
