"""Detection index of a misfire over speed, a line per load."""

from __future__ import annotations

from pathlib import Path

from matplotlib.figure import Figure

from vibsim.post.detection import CLEAR, DOUBTFUL
from vibsim.show.style import INK, LONGEST_TITLE, colour, cut, into_folder, line, new_figure, plain
from vibsim.studies.misfire import RPM, MisfireStudy, verdict


def misfire_figure(study: MisfireStudy, title: str) -> Figure:
    """Index with its standard deviation."""
    figure = new_figure(9.0, 4.8, cut(f"Misfire of cylinder {study.cylinder} · {title}", LONGEST_TITLE))
    figure.text(0.01, 1.0 - 0.42 / 4.8, verdict(study), fontsize=9, color=INK, va="top")
    figure.subplots_adjust(left=0.08, right=0.98, top=0.8, bottom=0.11)
    axes = plain(figure.add_subplot(), "Dip of crank speed over the scatter of normal cycles", "rpm", "detection index")
    for index, load in enumerate(dict.fromkeys(point.load for point in study.points)):
        points = [point for point in study.points if point.load == load]
        speeds, values = [point.speed * RPM for point in points], [point.found.index for point in points]
        errors = [point.found.deviation for point in points]
        axes.errorbar(
            speeds, values, errors, fmt="o", ls=line(index), color=colour(index), lw=1.6, ms=4.5, capsize=3.0,
            label=f"load {load:.3g}",
        )  # fmt: skip
    for level, words in ((CLEAR, "clear above"), (DOUBTFUL, "hidden below")):
        axes.axhline(level, color=INK, lw=0.9, ls=":")
        axes.annotate(words, (0.995, level), (0, 2), xycoords=("axes fraction", "data"), textcoords="offset points",
                      ha="right", fontsize=8)  # fmt: skip
    axes.set_ylim(bottom=0.0)
    axes.legend(fontsize=8, ncols=4, frameon=False, loc="lower right", bbox_to_anchor=(1.0, 0.99))
    return figure


def draw_misfire(study: MisfireStudy, title: str, folder: Path) -> list[Path]:
    """misfire.png in a folder."""
    return into_folder({"misfire.png": misfire_figure(study, title)}, folder)
