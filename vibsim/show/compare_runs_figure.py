"""Orders before and after: a panel per mount and sensor that changed most, marked where a change counts."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes

from vibsim.show.compare_runs_tables import unit_words
from vibsim.show.style import INK, LONGEST_TITLE, colour, cut, into_folder, new_figure, plain, short
from vibsim.studies.compare_runs import BETTER, RESULTANT, WORSE, Row, RunComparison

COLUMNS = 3  # panels of mounts, and as many of sensors
MOST_ORDERS = 10
MARKS = {BETTER: "▼", WORSE: "▲"}


def draw_run_comparison(compared: RunComparison, folder: Path) -> list[Path]:
    """Write compare-orders.png into a folder, made if absent. Raises VibsimError."""
    kinds = list(dict.fromkeys(row.quantity for row in compared.orders))
    if not kinds:
        return []
    figure = new_figure(13.0, 0.9 + 3.2 * len(kinds), cut(f"Orders: {' against '.join(compared.names)}", LONGEST_TITLE))
    height = figure.get_figheight()
    edges = {"left": 0.055, "right": 0.99, "top": 1.0 - 1.05 / height, "bottom": 0.55 / height}
    grid = figure.add_gridspec(len(kinds), COLUMNS, **edges, hspace=0.42, wspace=0.2)
    for number, kind in enumerate(kinds):
        for column, rows in enumerate(_places(compared, kind)):
            title = cut(f"{rows[0].place}: {kind}", 46)
            axes = plain(figure.add_subplot(grid[number, column]), title, "order", unit_words(rows[0].units))
            _bars(axes, rows, compared)
    handles, labels = figure.axes[0].get_legend_handles_labels()
    figure.legend(
        handles, short(labels), loc="upper left", bbox_to_anchor=(0.05, 1.0 - 0.36 / height), ncols=6, frameon=False
    )
    words = f"▼ better, ▲ worse: beyond {compared.percent:g} % and what the runs have left to settle"
    figure.text(0.99, 1.0 - 0.45 / height, words, ha="right", va="top", fontsize=9, color=INK)
    return into_folder({"compare-orders.png": figure}, folder)


def _places(compared: RunComparison, kind: str) -> list[list[Row]]:
    """Rows of the places whose strongest order is strongest in any run."""
    places: dict[str, list[Row]] = {}
    for row in compared.orders:
        if row.quantity == kind and row.axis == RESULTANT:
            places.setdefault(row.place, []).append(row)
    return sorted(places.values(), key=lambda rows: -max(_largest(row) for row in rows))[:COLUMNS]


def _largest(row: Row) -> float:
    return max((value for value in row.values if value is not None), default=0.0)


def _bars(axes: Axes, rows: list[Row], compared: RunComparison) -> None:
    shown = sorted(sorted(rows, key=_largest)[-MOST_ORDERS:], key=lambda row: row.order or 0.0)
    highest = max(_largest(row) for row in shown)
    shown = [row for row in shown if _largest(row) > 0.01 * highest]
    width = 0.8 / len(compared.names)
    for number, name in enumerate(compared.names):
        places = np.arange(len(shown)) + (number - 0.5 * (len(compared.names) - 1)) * width
        values = [row.values[number] or 0.0 for row in shown]
        axes.bar(places, values, 0.92 * width, color=colour(number - 1) if number else "#999999", label=name)
        for place, value, row in zip(places, values, shown, strict=True):
            verdict = row.verdicts[number - 1] if number else None
            if verdict in MARKS:
                above = value + 0.015 * highest
                axes.text(place, above, MARKS[verdict], ha="center", va="bottom", fontsize=8, color=INK)
    axes.set_xticks(range(len(shown)), [f"{row.order:g}" for row in shown])
    axes.set_ylim(0.0, 1.12 * highest)
    axes.grid(False, axis="x")
