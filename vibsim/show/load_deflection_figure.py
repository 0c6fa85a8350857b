"""Load against deflection of every mount along its own axes, with the points where the load cases leave it."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from vibsim.inputs.loader import CaseFile
from vibsim.show.style import INK, LONGEST_TITLE, colour, cut, into_folder, new_figure, plain
from vibsim.studies.mount_curves import MountCurve, mount_curves
from vibsim.studies.statics import Statics

NOTE = "Lines: each mount's law along its own axes · dots: gears and load cases · named: the greatest force"
AXES, STYLES = ("x", "y", "z"), ("-", "--", "-.")
MOST_COLUMNS = 4


def draw_load_deflection(statics: Statics, case_file: CaseFile, title: str, folder: Path) -> list[Path]:
    """Write load-deflection.png into a folder, made if absent."""
    curves = mount_curves(case_file, statics)
    columns = min(len(curves), MOST_COLUMNS)
    rows = math.ceil(len(curves) / columns)
    width, height = max(3.5 * columns, 9.0), 1.4 + 3.1 * rows
    figure = new_figure(width, height, cut(f"Load and deflection · {title}", int(LONGEST_TITLE * width / 13.0)))
    figure.text(0.01, 1.0 - 0.42 / height, NOTE, fontsize=8.5, color=INK, va="top")
    edges = {"left": 0.75 / width, "right": 1.0 - 0.15 / width, "top": 1.0 - 0.95 / height, "bottom": 0.85 / height}
    grid = figure.add_gridspec(rows, columns, **edges, wspace=0.28, hspace=0.45)
    for n, curve in enumerate(curves):
        _draw_mount(figure.add_subplot(grid[divmod(n, columns)]), statics, n, curve)
    entries = [Line2D([], [], color=colour(k), ls=STYLES[k], label=f"along own {axis}") for k, axis in enumerate(AXES)]
    figure.legend(handles=entries, loc="lower left", ncols=3, fontsize=8.5, frameon=False)
    return into_folder({"load-deflection.png": figure}, folder)


def _draw_mount(axes: Axes, statics: Statics, n: int, curve: MountCurve) -> None:
    plain(axes, cut(curve.name, 30), "deflection, mm", "restoring force, N" if n % MOST_COLUMNS == 0 else "")
    standings = statics.gears + statics.loads
    for k in range(3):
        axes.plot(1e3 * curve.deflection[k], curve.force[k], color=colour(k), ls=STYLES[k], lw=1.4, zorder=2)
        points = np.array([(standing.own_deflection[n, k], -standing.own_force[n, k]) for standing in standings])
        axes.plot(1e3 * points[:, 0], points[:, 1], "o", ms=4.5, color=colour(k), mec="white", mew=0.6, zorder=3)
    forces = np.abs([standing.own_force[n] for standing in standings])
    worst, axis = divmod(int(forces.argmax()), 3)
    found = standings[worst]
    at = 1e3 * float(found.own_deflection[n, axis]), -float(found.own_force[n, axis])
    right = at[0] > 0.0
    axes.annotate(
        f"{found.case.name}\n{forces.max():.0f} N, {abs(at[0]):.1f} mm",
        at,
        xytext=(-8, 0) if right else (8, 0),
        textcoords="offset points",
        ha="right" if right else "left",
        va="center",
        fontsize=8,
        color=INK,
        zorder=4,
    )
    axes.axhline(0.0, color="#999999", lw=0.7, zorder=1)
    axes.axvline(0.0, color="#999999", lw=0.7, zorder=1)
