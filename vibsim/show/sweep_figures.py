"""Figures of a sweep: maps over two axes, lines over one, parallel coordinates over more, what matters."""

from __future__ import annotations

import textwrap
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Rectangle

from vibsim.results.sweep_file import DONE
from vibsim.show.style import FAINT, INK, LONGEST_TITLE, colour, cut, into_folder, line, new_figure, plain
from vibsim.studies.sweep.read import Quantity, Read, best, importance, quantity, within
from vibsim.studies.sweep.shown import shown_unit

COLUMNS = 3
MOST_QUANTITIES = 5  # beside the axes in parallel coordinates
MOST_LINES = 6  # of a second axis in one plot
STEPS = 8  # of a map's lines


def draw_sweep(read: Read, words: list[str], limits: list[str], folder: Path, most: bool = False) -> list[Path]:
    """Write sweep.png and, where there are several axes, importance.png. Raises InputError, VibsimError."""
    found = [_as_shown(quantity(read, word)) for word in words]
    kept = within(read, limits) if limits else None
    chosen = best(read, words[0], limits, 1, most) if limits else []
    if read.grid and len(read.shape) == 2 and min(read.shape) > 1:
        figure = _panels(read, found, "Map", lambda axes, item: _map(axes, read, item, kept, chosen))
        if limits:
            _limits_legend(figure, limits, chosen)
    elif read.grid and len(read.shape) <= 2:
        figure = _panels(read, found, "Sweep", lambda axes, item: _lines(axes, read, item))
    else:
        figure = _parallel(read, found[:MOST_QUANTITIES], kept, chosen)
    figures = {"sweep.png": figure}
    if len(read.axes) > 1:
        figures["importance.png"] = _importance(read, found)
    return into_folder(figures, folder)


def _panels(read: Read, found: list[Quantity], what: str, draw) -> Figure:
    rows = -(-len(found) // COLUMNS)
    columns = min(len(found), COLUMNS)
    figure = new_figure(4.6 * columns + 0.4, 3.7 * rows + 0.6, cut(f"{what} · {read.title}", 60 * columns - 10))
    top = 1.0 - 0.75 / (3.7 * rows + 0.6)
    grid = figure.add_gridspec(
        rows, columns, left=0.75 / (4.6 * columns), right=0.985, top=top, bottom=0.16 / rows, wspace=0.32, hspace=0.42
    )
    for n, item in enumerate(found):
        draw(figure.add_subplot(grid[n // columns, n % columns]), item)
    return figure


def _as_shown(item: Quantity) -> Quantity:
    """In the unit that the trade reads it in."""
    scale, unit = shown_unit(item.units)
    return replace(item, values=scale * item.values, units=unit)


def _axis_label(read: Read, n: int, longest: int = 48) -> str:
    item = list(read.axes.values())[n]
    words = item.long_name.replace(", times what the case says", " ×")
    return cut(words if item.units == "1" else f"{words} ({item.units})", longest)


def _map(axes: Axes, read: Read, item: Quantity, kept: np.ndarray | None, chosen: list[int]) -> None:
    (first, second) = (np.asarray(axis.data, dtype=float) for axis in read.axes.values())
    values = item.values.reshape(read.shape).T
    plain(axes, cut(item.label, 52), _axis_label(read, 0), _axis_label(read, 1))
    axes.grid(False)
    mesh = axes.pcolormesh(first, second, np.ma.masked_invalid(values), cmap="cividis", shading="nearest")
    bar = axes.figure.colorbar(mesh, ax=axes, pad=0.02)
    bar.set_label(item.units, fontsize=8)
    bar.ax.tick_params(labelsize=8)
    if np.isfinite(values).all() and np.ptp(values) > 0.0:
        lines = axes.contour(first, second, values, STEPS, colors="white", linewidths=0.7)
        axes.clabel(lines, fontsize=7, fmt="%.3g")
    if kept is not None:
        _hatch(axes, first, second, ~kept.reshape(read.shape).T)
    for point in chosen:
        axes.plot(*read.values[point], "o", ms=9, mfc="none", mec="#D55E00", mew=2.0, zorder=5)


def _hatch(axes: Axes, first: np.ndarray, second: np.ndarray, cells: np.ndarray) -> None:
    edges = [
        np.concatenate([[v[0] - 0.5 * (v[1] - v[0])], 0.5 * (v[1:] + v[:-1]), [v[-1] + 0.5 * (v[-1] - v[-2])]])
        for v in (first, second)
    ]
    for row, column in zip(*np.nonzero(cells), strict=True):
        (x, x1), (y, y1) = edges[0][column : column + 2], edges[1][row : row + 2]
        axes.add_patch(Rectangle((x, y), x1 - x, y1 - y, fill=False, hatch="////", edgecolor="#FFFFFF88", lw=0.0))


def _limits_legend(figure: Figure, limits: list[str], chosen: list[int]) -> None:
    """What hatching and ring mean, once for all maps."""
    marks: list[Any] = [
        Patch(facecolor="#444444", hatch="////", edgecolor="white", label=f"breaks {', '.join(limits)}")
    ]
    if chosen:
        marks.append(
            Line2D([], [], ls="", marker="o", ms=9, mfc="none", mec="#D55E00", mew=2.0, label="best within limits")
        )
    figure.legend(handles=marks, fontsize=8, frameon=False, loc="upper right", ncols=2)


def _lines(axes: Axes, read: Read, item: Quantity) -> None:
    values = item.values.reshape(read.shape)
    along = int(np.argmax(read.shape))
    x = np.asarray(list(read.axes.values())[along].data, dtype=float)
    units = "" if item.units == "1" else item.units
    plain(axes, cut(item.label, 52), _axis_label(read, along), units)
    curves = np.moveaxis(values, along, 0).reshape(len(x), -1)
    for n in range(min(curves.shape[1], MOST_LINES)):
        axes.plot(x, curves[:, n], line(n), color=colour(n), marker="o", ms=3, lw=1.6)
    axes.set_ylim(bottom=min(0.0, float(np.nanmin(values)) if np.isfinite(values).any() else 0.0))


def _parallel(read: Read, found: list[Quantity], kept: np.ndarray | None, chosen: list[int]) -> Figure:
    """A line per point across all axes and quantities, coloured by the first; what breaks a limit is faint."""
    item, tint_at = found[0], len(read.axes)
    figure = new_figure(11.0, 5.6, cut(f"Points of the sweep · {read.title}", LONGEST_TITLE))
    axes = figure.add_axes((0.08, 0.24, 0.84, 0.54))
    plain(axes, "", "", "")
    axes.set_title(cut(f"Colour: {item.label}, {item.units}", 100), fontsize=10, loc="left", color=INK, pad=24)
    axes.grid(False)
    axes.set_yticks([])
    columns = np.column_stack([read.values, *(one.values for one in found)])
    low, high = np.nanmin(columns, axis=0), np.nanmax(columns, axis=0)
    spread = (columns - low) / np.where(high > low, high - low, 1.0)
    shown = np.flatnonzero((read.status == DONE) & np.isfinite(columns).all(axis=1))
    from matplotlib import colormaps

    for point in sorted((int(n) for n in shown), key=lambda n: bool(kept is None or kept[n])):
        faint = kept is not None and not kept[point]
        tint = FAINT if faint else colormaps["cividis"](spread[point, tint_at])
        axes.plot(spread[point], color=tint, lw=0.5 if faint else 1.1, alpha=0.35 if faint else 0.8)
    for point in chosen:
        axes.plot(spread[point], color="#D55E00", lw=2.6, label="best within limits")
        axes.legend(fontsize=8, frameon=False, loc="lower right", bbox_to_anchor=(1.0, 1.06))
    labels = [f"{one.label}, {one.units}".strip(", ") for one in found]
    labels = [*(_axis_label(read, n, 64) for n in range(len(read.axes))), *labels]
    names = [textwrap.fill(cut(label, 64), max(12, 110 // len(labels))) for label in labels]
    axes.set_xticks(range(len(names)), names, fontsize=8 if len(names) < 8 else 7, ha="center")
    axes.tick_params(axis="x", pad=16)
    for n in range(len(names)):
        axes.axvline(n, color=INK, lw=0.8)
        axes.text(n, 1.02, f"{high[n]:.4g}", fontsize=8, ha="center", va="bottom", color=INK)
        axes.text(n, -0.02, f"{low[n]:.4g}", fontsize=8, ha="center", va="top", color=INK)
    axes.set_ylim(-0.02, 1.02)
    axes.set_xlim(-0.1, len(names) - 0.9)
    return figure


def _importance(read: Read, found: list[Quantity]) -> Figure:
    """Bars: how much of each quantity's variance each axis explains by itself."""
    figure = new_figure(10.0, 1.9 + 0.34 * len(found) * len(read.axes), cut(f"What matters · {read.title}", 90))
    height = figure.get_figheight()
    axes = figure.add_axes((0.42, 0.95 / height, 0.55, 1.0 - 1.7 / height))
    how = "first-order effect" if read.grid else "squared rank correlation"
    plain(axes, f"Share of the variance explained by each key alone ({how})", "share", "")
    wide = 0.8 / len(read.axes)
    for k, name in enumerate(read.names):
        shares = [importance(read, item.word)[name] for item in found]
        places = np.arange(len(found)) + (k - 0.5 * (len(read.axes) - 1)) * wide
        axes.barh(places, shares, 0.9 * wide, color=colour(k), label=cut(_axis_label(read, k), 44))
    axes.set_yticks(range(len(found)), [cut(item.label, 58) for item in found], fontsize=8)
    axes.invert_yaxis()
    axes.set_xlim(0.0, 1.0)
    figure.legend(*axes.get_legend_handles_labels(), fontsize=8, loc="lower right", ncols=2, frameon=False)
    return figure
