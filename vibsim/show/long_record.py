"""Curves of a record so long that a line through every point is a solid block: the mean within least and greatest."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.axes import Axes

from vibsim.results.labelled import Group
from vibsim.show.style import colour

MOST_TURNS = 60.0  # of the crank that a line is still told by
STRETCHES = 300  # over the record


def is_long(results: Group) -> bool:
    """Whether a record, not a cycle, is drawn, over more turns than a line can tell."""
    if "cycle" in results.groups or "crank_angle" not in results:
        return False
    return float(np.ptp(results["crank_angle"])) > MOST_TURNS * 2.0 * math.pi


def draw_band(axes: Axes, x: np.ndarray, values: np.ndarray, tint: int, label: str) -> None:
    """The mean of values (n) over stretches of x (n), within the least and greatest in each."""
    edges = np.linspace(0, len(x), min(STRETCHES, len(x)) + 1).astype(int)[:-1]
    count = np.diff(np.append(edges, len(x)))
    middle, mean = (np.add.reduceat(item, edges) / count for item in (x, values))
    least, greatest = np.minimum.reduceat(values, edges), np.maximum.reduceat(values, edges)
    axes.fill_between(middle, least, greatest, color=colour(tint), alpha=0.3, lw=0.0)
    axes.plot(middle, mean, color=colour(tint), lw=1.6, label=label)


def draw_speed(axes: Axes, x: np.ndarray, speed: np.ndarray, long: bool) -> None:
    """Crank speed (rpm), of a long record as a band."""
    if long:
        draw_band(axes, x, speed, 0, "")
        axes.set_title("Crank speed: mean; shaded: least to greatest", loc="left", fontsize=10)
    else:
        axes.plot(x, speed, color=colour(0), lw=1.4)
