"""Differences of sweeps: maps over two axes, curves over one, point against point otherwise."""

from __future__ import annotations

import textwrap
from dataclasses import replace
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from vibsim.show.compare_runs_tables import unit_scale, unit_words
from vibsim.show.style import INK, colour, cut, into_folder, line, new_figure, plain
from vibsim.studies.compare_sweeps import Difference, SweepComparison

COLUMNS = 3
LETTERS = 14  # of small type to the inch
COLOURS = "PuOr_r"  # two hues that all eyes tell apart, white at no change


def draw_sweep_comparison(compared: SweepComparison, folder: Path) -> list[Path]:
    """Write compare-sweeps.png into a folder, made if absent. Raises VibsimError."""
    items = compared.differences
    rows, columns = -(-len(items) // COLUMNS), min(len(items), COLUMNS)
    draw, words = _way(compared)
    width = 4.6 * columns + 0.6
    said = textwrap.wrap(words, int(LETTERS * width))
    above = 0.82 + 0.17 * len(said)
    height = 3.7 * rows + above - 0.1
    figure = new_figure(width, height, cut(f"Differences: {' against '.join(compared.names)}", int(9 * width)))
    edges = {"left": 0.8 / width, "right": 1.0 - 0.45 / width, "top": 1.0 - above / height, "bottom": 0.6 / height}
    grid = figure.add_gridspec(rows, columns, **edges, wspace=0.34, hspace=0.42)
    for number, item in enumerate(items):
        axes = figure.add_subplot(grid[number // columns, number % columns])
        of = f"{item.sweep}: " if len(compared.names) > 2 else ""
        plain(axes, cut(f"{of}{item.label}", 58), "", "")
        draw(axes, compared, _as_shown(item))
    figure.text(0.01, 1.0 - 0.42 / height, "\n".join(said), fontsize=9, va="top", color=INK)
    return into_folder({"compare-sweeps.png": figure}, folder)


def _as_shown(item: Difference) -> Difference:
    """In the unit that the trade reads it in."""
    scale = unit_scale(item.units)
    return replace(item, before=scale * item.before, after=scale * item.after, units=unit_words(item.units))


def _way(compared: SweepComparison):
    """How the points are drawn, and what the figure says of it."""
    counts = f"counts: beyond {compared.percent:g} % and what points had left to settle"
    shape = compared.shape
    if shape is not None and len(shape) == 2 and min(shape) > 1:
        return _map, f"orange rises, purple falls; dots where a change does not count ({counts})"
    if shape is not None and sum(length > 1 for length in shape) == 1:
        return _curves, f"grey {compared.names[0]}, blue the other; ringed where a change {counts}"
    return _scatter, f"one dot per point; filled where a change {counts}; below the line it fell"


def _map(axes: Axes, compared: SweepComparison, item: Difference) -> None:
    assert compared.shape is not None
    first, second = (np.array(list(dict.fromkeys(column))) for column in compared.points.T)
    change = item.change.reshape(compared.shape).T
    finite = np.nan_to_num(np.abs([item.change, 0.01 * compared.percent * item.before]))
    most = float(finite.max()) or 1.0  # a map of changes that do not count is pale
    shown = np.ma.masked_invalid(change)
    mesh = axes.pcolormesh(first, second, shown, cmap=COLOURS, shading="nearest", vmin=-most, vmax=most)
    figure = axes.figure
    assert isinstance(figure, Figure)
    bar = figure.colorbar(mesh, ax=axes, pad=0.02)
    bar.set_label(f"change, {item.units}" if item.units else "change", fontsize=8)
    bar.ax.tick_params(labelsize=8)
    x, y = compared.points[~item.counts].T
    axes.plot(x, y, ".", ms=3, color=INK)
    axes.grid(False)
    axes.set_xlabel(cut(compared.labels[0], 48), fontsize=9)
    axes.set_ylabel(cut(compared.labels[1], 48), fontsize=9)


def _curves(axes: Axes, compared: SweepComparison, item: Difference) -> None:
    along = int(np.argmax(compared.shape or (1,)))
    order = np.argsort(compared.points[:, along])
    x = compared.points[order, along]
    axes.plot(x, item.before[order], line(1), color="#888888", lw=1.8)
    axes.plot(x, item.after[order], line(0), color=colour(0), lw=1.8)
    counted = item.counts[order]
    axes.plot(x[counted], item.after[order][counted], "o", ms=6, mfc="none", mec=colour(0))
    axes.set_ylim(bottom=min(0.0, float(np.nanmin([item.before, item.after]))))
    axes.set_xlabel(cut(compared.labels[along], 48), fontsize=9)
    axes.set_ylabel(item.units, fontsize=9)


def _scatter(axes: Axes, compared: SweepComparison, item: Difference) -> None:
    low, high = float(np.nanmin([item.before, item.after])), float(np.nanmax([item.before, item.after]))
    axes.plot([low, high], [low, high], color="#888888", lw=1.0)
    for counted, face in ((True, colour(0)), (False, "none")):
        chosen = item.counts == counted
        axes.plot(item.before[chosen], item.after[chosen], "o", ms=4, mfc=face, mec=colour(0), ls="")
    axes.set_xlabel(cut(f"{compared.names[0]}, {item.units}", 48), fontsize=9)
    axes.set_ylabel(cut(item.sweep, 40), fontsize=9)
