"""Figures of frequency-domain responses: orders over speed, and size and phase over frequency."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from vibsim.show.style import FAINT, LONGEST_TITLE, colour, cut, into_folder, line, new_figure, plain
from vibsim.studies.response import AXES, ForceResponse, OrderLevels

MOST_CURVES = 4  # orders in one plot
MOST_PANELS = 3


def draw_orders(found: OrderLevels, folder: Path) -> list[Path]:
    """Write orders.png: the worst sensors and mounts, each with its strongest orders over speed."""
    figure = new_figure(12.0, 6.6, cut(f"Engine orders over speed · {found.title}", LONGEST_TITLE))
    rows = [
        (names, np.linalg.norm(felt, axis=-1), words)
        for names, felt, words in (
            (found.sensors, found.sensor, "acceleration, m/s²"),
            (found.mounts, found.mount, "mount force, N"),
        )
        if names
    ]
    grid = figure.add_gridspec(
        len(rows), MOST_PANELS, left=0.06, right=0.985, top=0.87, bottom=0.09, wspace=0.22, hspace=0.42
    )
    for r, (names, size, words) in enumerate(rows):
        ranked = np.argsort(size.max(axis=(0, 1)))[::-1][:MOST_PANELS]
        top = 1.05 * float(size[..., ranked].max())
        for c, n in enumerate(ranked):
            axes = figure.add_subplot(grid[r, c])
            plain(axes, cut(names[n], 40), "rpm" if r == len(rows) - 1 else "", words if c == 0 else "")
            _curves(axes, found, size[..., n])
            axes.set_ylim(0.0, top or 1.0)
            axes.set_xlim(found.speeds[0] * 30.0 / math.pi, found.speeds[-1] * 30.0 / math.pi)
            if c == 0:
                axes.legend(fontsize=8, frameon=False, loc="upper right", ncols=2)
    return into_folder({"orders.png": figure}, folder)


def _curves(axes: Axes, found: OrderLevels, size: np.ndarray) -> None:
    """The strongest orders (columns of `size`), told apart by their number so that all panels agree."""
    strongest = sorted(np.argsort(size.max(axis=0))[::-1][:MOST_CURVES])
    for o in strongest:
        axes.plot(
            found.speeds * 30.0 / math.pi,
            size[:, o],
            line(o),
            color=colour(o),
            lw=1.8,
            label=f"order {found.orders[o]:g}",
        )


def draw_shaken(found: ForceResponse, folder: Path) -> list[Path]:
    """Write response.png: size and phase of the sensors that answer most, and what mounts hand on."""
    ground = found.shake.body == "ground"
    shaken = "the ground" if ground else found.shake.body
    title = f"Shaking {shaken} along {found.shake.along} · {found.title}"
    figure = new_figure(12.0, 6.6, cut(title, LONGEST_TITLE))
    grid = figure.add_gridspec(2, 2, left=0.07, right=0.985, top=0.87, bottom=0.09, wspace=0.2, hspace=0.25)
    per = "of the ground" if ground else "per N"
    panels = (
        ("Sensors", found.sensors, found.sensor, f"m/s² {per}" if not ground else f"m/s² per m/s² {per}"),
        ("Mounts", found.mounts, found.mount, "N per N" if not ground else f"N per m/s² {per}"),
    )
    for column, (name, names, felt, unit) in enumerate(panels):
        top, low = figure.add_subplot(grid[0, column]), figure.add_subplot(grid[1, column])
        plain(top, f"{name}: those that answer most", "", unit)
        plain(low, "Phase", "Hz", "degrees ahead of the shake")
        flat = felt.reshape(len(felt), -1)
        labels = [f"{item} {axis}" for item in names for axis in AXES]
        for k, n in enumerate(np.argsort(np.abs(flat).max(axis=0))[::-1][:MOST_CURVES]):
            style: dict[str, Any] = {"color": colour(k), "ls": line(k), "lw": 1.6}
            top.plot(found.frequencies, np.abs(flat[:, n]), label=cut(labels[n], 30), **style)
            low.plot(found.frequencies, np.degrees(np.angle(flat[:, n])), **style)
        if column == 1 and found.passed is not None:
            top.plot(found.frequencies, np.abs(found.passed), color="#000000", lw=2.4, alpha=0.6, label="all handed on")
            top.axhline(1.0, color=FAINT, lw=1.0, label="as much as comes in")
        top.set(xscale="log", yscale="log")
        low.set(xscale="log", ylim=(-180.0, 180.0), yticks=(-180, -90, 0, 90, 180))
        for axes in (top, low):
            axes.xaxis.set_major_formatter("{x:g}")
            axes.tick_params(which="minor", length=0.0)
        top.legend(fontsize=8, framealpha=0.9, edgecolor="none", loc="upper right")
    return into_folder({"response.png": figure}, folder)
