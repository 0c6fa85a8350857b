"""The colour map with order lines and mode lines, and the order cuts with the overall level below it."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import LogNorm
from matplotlib.figure import Figure
from matplotlib.patheffects import withStroke

from vibsim.show.style import FAINT, INK, LONGEST_TITLE, colour, cut, into_folder, line, new_figure, plain
from vibsim.studies.colour_map import RPM, ColourMap

MOST_CURVES, MOST_ORDER_LINES = 5, 8
MEETS = 0.9  # of the lowest order's lowest frequency: modes below are met by none
FAINTEST = 0.02  # of the strongest order: less is no curve
CLOSEST = 0.025  # of the width between numbers of orders
SMALL: dict[str, Any] = {"textcoords": "offset points", "va": "bottom", "fontsize": 8.5}
DECADES = 3.0  # of level from the darkest to the brightest
LEFT, WIDTH = 0.06, 0.68
HEIGHT = 8.2


def draw_colour_map(found: ColourMap, folder: Path) -> list[Path]:
    """Write colour-map.png into a folder, made if absent."""
    figure = new_figure(
        12.5, HEIGHT, cut(f"Level over frequency and speed · {found.of} · {found.title}", LONGEST_TITLE)
    )
    words = f"{found.how}\nlines {found.map.resolution:.3g} Hz apart, up to {found.map.frequency[-1]:.0f} Hz"
    words += " (--up-to-Hz for more) · dashed: engine orders, by number; dotted: modes"
    figure.text(0.01, 1.0 - 0.36 / HEIGHT, words, fontsize=8.5, color=INK, va="top", linespacing=1.3)
    axes = figure.add_axes((LEFT, 0.41, WIDTH, 0.47))
    _draw_map(figure, axes, found)
    below = figure.add_axes((LEFT, 0.075, WIDTH, 0.26))
    _draw_cuts(below, found)
    below.set_xlim(axes.get_xlim())
    return into_folder({"colour-map.png": figure}, folder)


def _draw_map(figure: Figure, axes: Axes, found: ColourMap) -> None:
    plain(axes, "", "", "frequency, Hz")
    axes.grid(False)
    level, speed = found.map.level.T, found.map.speed * RPM
    top = float(np.nanmax(level)) or 1.0
    bottom = top * 10.0**-DECADES
    floor = np.where(np.isnan(level), np.nan, np.maximum(level, bottom))
    norm = LogNorm(bottom, top)
    mesh = axes.pcolormesh(speed, found.map.frequency, floor, norm=norm, cmap="viridis", shading="nearest")
    axes.set_xlim(float(speed[0]), float(speed[-1]))
    axes.set_ylim(0.0, float(found.map.frequency[-1]))
    bar = figure.colorbar(mesh, cax=figure.add_axes((0.93, 0.41, 0.015, 0.47)))
    bar.ax.set_title(f"amplitude\n{found.unit}", fontsize=8.5, loc="left")
    bar.ax.tick_params(labelsize=8)
    _order_lines(axes, found)
    _mode_lines(axes, found)


def _order_lines(axes: Axes, found: ColourMap) -> None:
    """Thin rays of the strongest orders, their number where they leave the map and there is room for it."""
    (low, high), top = axes.get_xlim(), axes.get_ylim()[1]
    taken = math.inf
    for o in found.strongest(MOST_ORDER_LINES):
        order, ends = float(found.orders[o]), np.array([low, high])
        axes.plot(ends, order * ends / 60.0, color="white", lw=0.7, ls=(0, (6, 5)), alpha=0.75)
        at = 60.0 * top / order
        if at >= high:
            words = axes.annotate(
                f"{order:g}", (high, order * high / 60.0), (-3, 2), ha="right", color="white", **SMALL
            )
            words.set_path_effects([withStroke(linewidth=2.0, foreground=INK)])
        elif low < at < taken - CLOSEST * (high - low):
            axes.annotate(f"{order:g}", (at, top), (0, 3), ha="center", color=INK, **SMALL)
            taken = at


def _mode_lines(axes: Axes, found: ColourMap) -> None:
    """Level lines of modes that an order may meet, names to the right, pushed apart where they would overlap."""
    top = axes.get_ylim()[1]
    least = MEETS * float(found.orders[0] * found.cut_speed[0]) / (2.0 * math.pi)
    shown = [(n, mode) for n, mode in enumerate(found.modes) if least < mode.frequency < top]
    if not shown:
        words = "no order meets a mode here" if found.modes else cut(found.no_modes, 34)
        axes.text(1.01, 0.02, words, transform=axes.transAxes, fontsize=8, color=INK)
        return
    apart = 0.042 * top
    places: list[float] = []
    for _, mode in shown:
        places.append(max(mode.frequency, (places[-1] + apart) if places else 0.0))
    over = max(places[-1] - top, 0.0)
    for (n, mode), place in zip(shown, places, strict=True):
        axes.axhline(mode.frequency, color="white", lw=0.8, ls=":", alpha=0.65)
        axes.annotate(
            f"mode {n + 1}  {mode.frequency:.1f} Hz  {cut(mode.name, 17)}",
            (1.0, mode.frequency),
            (1.02, place - over),
            xycoords=("axes fraction", "data"),
            textcoords=("axes fraction", "data"),
            fontsize=7.5,
            color=INK,
            va="center",
            annotation_clip=False,
            arrowprops={"arrowstyle": "-", "color": FAINT, "lw": 0.7, "relpos": (0.0, 0.5), "shrinkA": 1.0},
        )


def _draw_cuts(axes: Axes, found: ColourMap) -> None:
    plain(axes, "Order cuts and overall level", "crank speed, rpm", f"rms, {found.unit}")
    speed = found.cut_speed * RPM
    axes.plot(speed, found.overall, color="#000000", lw=2.4, alpha=0.55, label="overall")
    least = FAINTEST * found.rms.max()
    for k, o in enumerate(o for o in found.strongest(MOST_CURVES) if found.rms[:, o].max() >= least):
        style = line(k)
        axes.plot(speed, found.rms[:, o], style, color=colour(k), lw=1.7, label=f"order {found.orders[o]:g}")
    axes.set_ylim(0.0)
    axes.legend(fontsize=8.5, frameon=False, loc="upper left", bbox_to_anchor=(1.005, 1.03))
