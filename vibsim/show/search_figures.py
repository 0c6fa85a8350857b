"""The front of a search in two pictures: force against couple, and force against even firing."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from vibsim.inputs.errors import VibsimError
from vibsim.show.style import FAINT, INK, LONGEST_TITLE, colour, cut, new_figure, plain, save
from vibsim.studies.search.find import Search

COLOUR_MAP = "cividis"
DRAWN = colour(1)
FORCE, COUPLE, UNEVEN, ADDED = range(4)


def draw_search(found: Search, title: str, folder: Path) -> list[Path]:
    """Write search.png into a folder, made if absent."""
    figure = new_figure(12.0, 6.2, cut(f"Layouts to choose from · {title}", LONGEST_TITLE))
    grid = figure.add_gridspec(1, 2, left=0.06, right=0.955, top=0.74, bottom=0.09, wspace=0.26)
    couple = f"couple left, {found.couple_word} rms"
    panels = (
        ("Force against couple", couple, COUPLE, UNEVEN, "longest firing interval over the even one"),
        ("Force against even firing", "longest firing interval, 1 = even", UNEVEN, ADDED, "added mass, kg"),
    )
    for number, (name, words, across, shade, bar) in enumerate(panels):
        axes = plain(figure.add_subplot(grid[number]), name, "force left, F rms", words)
        _panel(figure, axes, found, across, shade, bar)
    _legend(figure, found)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        return [save(figure, folder / "search.png")]
    except OSError as error:
        raise VibsimError(f"{folder}: figures cannot be written ({error.strerror}); expected a folder") from None


def _panel(figure: Figure, axes: Axes, found: Search, up: int, shade: int, bar: str) -> None:
    values = found.front.values
    rows = np.array([row.values for row in found.rows])
    low = min(float(values[:, shade].min()), float(rows[:, shade].min()))
    high = max(float(values[:, shade].max()), float(rows[:, shade].max()), low + 1e-6)
    scale: dict[str, Any] = {"vmin": low, "vmax": high, "cmap": COLOUR_MAP}
    dots = axes.scatter(values[:, FORCE], values[:, up], s=16.0, c=values[:, shade], linewidths=0.0, **scale)
    edge = figure.colorbar(dots, ax=axes, pad=0.015, fraction=0.05)
    edge.ax.tick_params(labelsize=8, length=0.0)
    edge.set_label(bar, fontsize=9)
    drawn = found.drawn.values
    axes.plot(drawn[FORCE], drawn[up], "D", ms=15.0, mfc="none", mec=DRAWN, mew=2.2, zorder=4, clip_on=False)
    for number, row in enumerate(found.rows, 1):
        place = float(row.values[FORCE]), float(row.values[up])
        axes.plot(*place, "o", ms=13.0, mfc="white", mec=INK, zorder=5, clip_on=False)
        axes.text(*place, str(number), ha="center", va="center", fontsize=8, fontweight="bold", color=INK, zorder=6)
    axes.margins(0.06)
    axes.set_xlim(left=0.0)
    axes.set_ylim(bottom=1.0 if up == UNEVEN else 0.0)


def _legend(figure: Figure, found: Search) -> None:
    handles = [
        Line2D([], [], marker="D", ls="", ms=8, mfc="none", mec=DRAWN, mew=2.0, label="as drawn"),
        Line2D(
            [], [], marker="o", ls="", ms=4, mfc=FAINT, mec=FAINT, label="unbeaten: no other is as good in everything"
        ),
    ]
    for number, row in enumerate(found.rows, 1):
        if row.words:
            words = cut(f"{number}: {', '.join(row.words)}", 60)
            handles.append(Line2D([], [], marker="o", ls="", ms=8, mfc="white", mec=INK, label=words))
    figure.legend(handles=handles, loc="upper left", bbox_to_anchor=(0.05, 0.945), ncols=3, fontsize=9, frameon=False)
