"""One picture of the scatter: how first-order force and couple are spread, and which tolerance makes it."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes

from vibsim.inputs.errors import VibsimError
from vibsim.show.style import INK, LONGEST_TITLE, colour, cut, new_figure, plain, save
from vibsim.studies.tolerance import Residual, Scatter
from vibsim.studies.tolerance_rows import ranked, size_drawn, sizes_built, source_rows

BINS = 50
NONE = 1e-9  # of one F
ROOM = 0.33  # of a plot's width, for the words at a mark


def draw_scatter(scatter: Scatter, title: str, folder: Path) -> list[Path]:
    """Write tolerance.png into a folder, made if absent."""
    speed = scatter.balance.about_crank.speed * 30.0 / math.pi
    words = f"{scatter.plan.samples} engines as built · {speed:.0f} rpm · {title}"
    figure = new_figure(11.0, 6.0, cut(words, LONGEST_TITLE))
    grid = figure.add_gridspec(
        2, 2, width_ratios=(1.0, 0.9), left=0.07, right=0.985, top=0.87, bottom=0.1, wspace=0.42, hspace=0.5
    )
    first = [residual for residual in scatter.residuals if residual.order == 1]
    for row, residual in enumerate(first):
        _spread(figure.add_subplot(grid[row, 0]), residual, row)
    _shares(figure.add_subplot(grid[:, 1]), scatter)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        return [save(figure, folder / "tolerance.png")]
    except OSError as error:
        raise VibsimError(f"{folder}: figures cannot be written ({error.strerror}); expected a folder") from None


def _spread(axes: Axes, residual: Residual, index: int) -> None:
    """Histogram of the largest size, with the drawing's and the 95 % mark."""
    unit = "N" if residual.what == "force" else "N m"
    sizes, drawn = sizes_built(residual, "largest"), size_drawn(residual, "largest")
    high = float(np.quantile(sizes, 0.95))
    about = "" if residual.what == "force" else " about mid-throws"
    plain(axes, f"First-order {residual.what}{about}, largest", f"{residual.what}, {unit}", "engines, %")
    if float(np.ptp(sizes)) < NONE * residual.unit:
        value = drawn if drawn > NONE * residual.unit else 0.0
        axes.text(0.5, 0.6, f"the same in all: {value:.4g} {unit}", ha="center", transform=axes.transAxes)
        axes.set_xticks([])
        axes.set_yticks([])
        return
    axes.hist(sizes, BINS, weights=np.full(len(sizes), 100.0 / len(sizes)), color=colour(index), alpha=0.55)
    axes.set_ylim(top=1.3 * axes.get_ylim()[1])
    low, wide = min(drawn, float(sizes.min())), max(drawn, float(sizes.max()))
    span = max(wide, high + ROOM * (wide - low)) - low
    axes.set_xlim(low - 0.03 * span, low + 1.03 * span)
    words = f"as drawn {drawn:.4g} {unit}" if drawn > NONE * residual.unit else "as drawn none"
    _mark(axes, drawn, "-", words, 0.97, left=drawn - low > ROOM * span)
    _mark(axes, high, "--", f"95 % below {high:.4g} {unit}", 0.87, left=False)


def _mark(axes: Axes, value: float, style: str, words: str, height: float, left: bool) -> None:
    """An upright line with its words on one side, as high as `height` of the axes."""
    axes.axvline(value, color=INK, lw=1.6, ls=style)
    axes.annotate(
        words,
        (value, height),
        (-6 if left else 6, 0),
        xycoords=("data", "axes fraction"),
        textcoords="offset points",
        ha="right" if left else "left",
        va="top",
        fontsize=8,
        color=INK,
    )


def _shares(axes: Axes, scatter: Scatter) -> None:
    """Bars of every tolerance's share of the variance of first-order force and couple, the greatest on top."""
    rows = ranked(source_rows(scatter))
    plain(axes, "Which tolerance counts, first order", "share of variance, %", "")
    names = [f"{row['source']}\n± {row['half_width']:g} {row['unit']}" for row in rows]
    place, width = np.arange(len(rows)), 0.38
    for index, what in enumerate(("force", "couple")):
        shares = [_first(row, what) for row in rows]
        if all(share is None for share in shares):
            axes.barh(place, 0.0, width, color=colour(index), label=f"{what}: no scatter")
            continue
        values = [100.0 * (share or 0.0) for share in shares]
        bars = axes.barh(place + (index - 0.5) * width, values, width, color=colour(index), alpha=0.75, label=what)
        axes.bar_label(bars, fmt="%.0f", fontsize=8, padding=2, color=INK)
    axes.set_yticks(place, names)
    axes.set_xlim(0.0, 1.08 * max(axes.get_xlim()[1], 1.0))
    axes.invert_yaxis()
    axes.legend(fontsize=8, frameon=False, loc="lower right")


def _first(row: dict, what: str) -> float | None:
    return next(on["share_of_variance"] for on in row["on"] if on["order"] == 1 and on["what"] == what)
