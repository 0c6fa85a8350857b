"""The frequency map: modes as level lines, engine orders as rays, marked where they meet."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from vibsim.show.style import FAINT, INK, LONGEST_TITLE, colour, cut, into_folder, new_figure, plain
from vibsim.studies.frequency_map import RPM, WEAK, FrequencyMap
from vibsim.studies.modes import DIRECTIONS

STRONG, RAY = colour(1), colour(0)
NOTE = "Circles: force on the most loaded mount by that mode in resonance, area in proportion · grey: weak"


def draw_frequency_map(found: FrequencyMap, title: str, folder: Path) -> list[Path]:
    """Write frequency-map.png into a folder, made if absent."""
    figure = new_figure(12.5, 6.6, cut(f"Engine orders against modes · {title}", LONGEST_TITLE))
    figure.text(0.01, 1.0 - 0.42 / 6.6, NOTE, fontsize=8.5, color=INK, va="top")
    axes = figure.add_axes((0.06, 0.14, 0.74, 0.73))
    plain(axes, "", "crank speed, rpm", "frequency, Hz")
    low, high = found.low * RPM, found.high * RPM
    top = 1.12 * float(found.modes.frequency.max())
    axes.set_xlim(low, high)
    axes.set_ylim(0.0, top)
    _draw_modes(axes, found, top)
    _draw_orders(axes, found, top)
    _draw_crossings(axes, found)
    return into_folder({"frequency-map.png": figure}, folder)


def _draw_modes(axes: Axes, found: FrequencyMap, top: float) -> None:
    """Level lines with their names to the right, pushed apart where they would overlap."""
    least, last = 0.034 * top, -math.inf
    for n, frequency in enumerate(found.modes.frequency):
        axes.axhline(float(frequency), color=FAINT, lw=1.1, zorder=1)
        moves = _moves_most(found, n)
        last = max(float(frequency), last + least)
        words = f"{n + 1}  {frequency:.1f} Hz  {moves}"
        place = {"xycoords": ("axes fraction", "data"), "textcoords": ("axes fraction", "data")}
        axes.annotate(
            words,
            (1.0, float(frequency)),
            (1.025, last),
            fontsize=8.5,
            color=INK,
            va="center",
            annotation_clip=False,
            arrowprops={"arrowstyle": "-", "color": FAINT, "lw": 0.7, "relpos": (0.0, 0.5), "shrinkA": 2.0},
            **place,
        )


def _moves_most(found: FrequencyMap, mode: int) -> str:
    shares, own = found.modes.energy[mode], found.modes.elastic_energy[mode]
    if own.size and own.max() > shares.max():
        return cut(found.elastic[int(own.argmax())], 21)
    body, direction = np.unravel_index(int(shares.argmax()), shares.shape)
    return f"{cut(found.bodies[int(body)], 14)} {DIRECTIONS[int(direction)]}"


def _draw_orders(axes: Axes, found: FrequencyMap, top: float) -> None:
    """Rays, those that drive some mode hard drawn bold."""
    low, high = found.low * RPM, found.high * RPM
    for order in found.orders:
        shares = [crossing.share for crossing in found.crossings if crossing.order == order]
        if not shares:
            continue
        strong = max(shares) >= WEAK
        ink = RAY if strong else FAINT
        ends = np.array([low, high])
        axes.plot(ends, order * ends / 60.0, color=ink, lw=2.0 if strong else 1.0, ls="-" if strong else ":", zorder=2)
        at = min(high, 60.0 * top / order)
        inside = at < high
        style = {"fontsize": 9, "color": ink if strong else "#888888", "fontweight": "bold" if strong else "normal"}
        shift, side = ((0, 3), "center") if inside else ((-3, 2), "right")
        axes.annotate(
            f"{order:g}",
            (at, order * at / 60.0),
            xytext=shift,
            textcoords="offset points",
            ha=side,
            va="bottom",
            annotation_clip=False,
            **style,  # type: ignore[arg-type]
        )


def _draw_crossings(axes: Axes, found: FrequencyMap) -> None:
    strongest = max(found.crossings, key=lambda crossing: crossing.share, default=None)
    for crossing in found.crossings:
        at = crossing.speed * RPM, float(found.modes.frequency[crossing.mode])
        ink = FAINT if crossing.weak else STRONG
        axes.scatter(*at, s=18.0 + 420.0 * crossing.share, color=ink, alpha=0.75, ec="white", lw=0.8, zorder=4)
        if crossing.share >= 0.3:
            axes.annotate(
                f"{crossing.mount_force:.0f} N",
                at,
                xytext=(2 + 9 * math.sqrt(crossing.share), -2),
                textcoords="offset points",
                ha="left",
                va="top",
                fontsize=8.5,
                color=INK,
                zorder=5,
            )
    entries = [
        Line2D([], [], color=RAY, lw=2.0, label="order that drives a mode"),
        Line2D([], [], color=FAINT, lw=1.0, ls=":", label=f"weak order: below {100 * WEAK:.0f} % of the strongest"),
        Line2D([], [], color=FAINT, lw=1.1, label="mode"),
    ]
    if strongest is None:
        axes.text(0.5, 0.5, "no order meets a mode in this range", transform=axes.transAxes, ha="center", color=INK)
    axes.legend(handles=entries, loc="upper left", bbox_to_anchor=(0.0, -0.08), ncols=3, fontsize=8.5, frameon=False)
