"""Load cases at a glance: the force on every mount in every case, the greatest of each mount framed."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.patches import Rectangle

from vibsim.show.style import INK, LONGEST_TITLE, colour, cut, into_folder, new_figure, short
from vibsim.solver.packed import STANDARD_GRAVITY
from vibsim.studies.statics import Standing, Statics

SHADES = LinearSegmentedColormap.from_list("size", ["#F4F7FA", colour(0)])
FRAME = colour(1)
NOTE = "Size of the force on each mount, N · orange frame: the greatest of that mount"


def draw_statics(statics: Statics, title: str, folder: Path) -> list[Path]:
    """Write statics.png into a folder, made if absent."""
    cases = statics.gears + statics.loads
    width, height = 4.6 + 1.15 * max(len(statics.mounts), 4), 1.8 + 0.34 * (len(cases) + 1)
    figure = new_figure(width, height, cut(f"Mount forces · {title}", int(LONGEST_TITLE * width / 13.0)))
    figure.text(0.01, 1.0 - 0.42 / height, NOTE, fontsize=8, color=INK, va="top")
    left = 2.3 / width
    axes = figure.add_axes((left, 0.12 / height, 1.0 - left - 1.6 / width, 1.0 - 1.35 / height))
    _draw_table(axes, statics, cases)
    return into_folder({"statics.png": figure}, folder)


def _draw_table(axes: Axes, statics: Statics, cases: list[Standing]) -> None:
    sizes = np.array([[np.linalg.norm(force) for force in standing.force] for standing in cases])
    gap = len(statics.gears)
    rows = [n + (0.5 if n >= gap else 0.0) for n in range(len(cases))]
    worst = sizes.argmax(axis=0)
    top = float(sizes.max()) or 1.0
    for n, row in enumerate(rows):
        for m in range(len(statics.mounts)):
            share = sizes[n, m] / top
            axes.add_patch(Rectangle((m - 0.5, row - 0.5), 1.0, 1.0, fc=SHADES(share), ec="white", lw=1.0))
            ink = "white" if share > 0.55 else INK
            axes.text(m, row, f"{sizes[n, m]:.0f}", ha="center", va="center", fontsize=9, color=ink)
    for m, n in enumerate(worst):
        axes.add_patch(Rectangle((m - 0.46, rows[n] - 0.45), 0.92, 0.9, fill=False, ec=FRAME, lw=2.4, zorder=5))
    for row, standing in zip(rows, cases, strict=True):
        axes.text(len(statics.mounts) - 0.4, row, _felt(standing), va="center", fontsize=8, color=INK)
    axes.text(len(statics.mounts) - 0.4, -0.8, "X / Y / Z felt, g\ntorque leaving", va="bottom", fontsize=8, color=INK)
    axes.set_xlim(-0.5, len(statics.mounts) - 0.5)
    axes.set_ylim(rows[-1] + 0.5, -0.5)
    axes.set_xticks(range(len(statics.mounts)), [name.replace(" ", "\n", 1) for name in short(statics.mounts)])
    axes.set_yticks(rows, short([standing.case.name for standing in cases]))
    axes.xaxis.tick_top()
    axes.tick_params(labelsize=9, length=0.0)
    for side in axes.spines.values():
        side.set_visible(False)


def _felt(standing: Standing) -> str:
    felt = np.array([0.0, 0.0, -1.0]) - np.array(standing.case.acceleration) / STANDARD_GRAVITY
    words = " / ".join(f"{value + 0.0:g}".replace("-", "−") for value in np.round(felt, 2))
    if standing.delivery is not None:
        words += f" · {standing.delivery.torque:.0f} N m".replace("-", "−")
    return words
