"""Curves of a record so long that a line through every point is a solid block: the mean within least and greatest."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.axes import Axes

from vibsim.results.labelled import Group
from vibsim.show.style import colour

MOST_TURNS = 60.0  # of the crank that a line is still told by
STRETCHES = 300  # over the record, at most
CYCLE = 4.0 * math.pi  # of the crank: one working cycle of a four-stroke, two of a two-stroke


def is_long(results: Group) -> bool:
    """Whether a record, not a cycle, is drawn, over more turns than a line can tell."""
    if "cycle" in results.groups or "crank_angle" not in results:
        return False
    return float(np.ptp(results["crank_angle"])) > MOST_TURNS * 2.0 * math.pi


def draw_band(axes: Axes, x: np.ndarray, values: np.ndarray, angle: np.ndarray, tint: int, label: str) -> None:
    """The mean of values (n) at x (n) over stretches of whole cycles of the crank, at `angle` (n) rad, within the least
    and greatest in each: shorter stretches would show the beat of the cycle against them."""
    edges = _stretches(angle)
    count = np.diff(np.append(edges, len(x)))
    middle, mean = (np.add.reduceat(item, edges) / count for item in (x, values))
    least, greatest = np.minimum.reduceat(values, edges), np.maximum.reduceat(values, edges)
    axes.fill_between(middle, least, greatest, color=colour(tint), alpha=0.3, lw=0.0)
    whole = slice(max(len(edges) - 1, 1))  # the last holds what is left over
    axes.plot(middle[whole], mean[whole], color=colour(tint), lw=1.6, label=label)


def _stretches(angle: np.ndarray) -> np.ndarray:
    """Where stretches of whole cycles begin, what is left over with the last; a crank that turns back begins none."""
    turned = np.maximum.accumulate(angle - angle[0])
    cycles = max(math.ceil(turned[-1] / (CYCLE * STRETCHES)), 1)
    begins = 1 + np.flatnonzero(np.diff(np.floor(turned / (CYCLE * cycles))))
    return np.concatenate([[0], begins[:-1]])


def draw_speed(axes: Axes, x: np.ndarray, speed: np.ndarray, angle: np.ndarray | None) -> None:
    """Crank speed (rpm); as a band where the angle (n) rad of a long record is given."""
    if angle is not None:
        draw_band(axes, x, speed, angle, 0, "")
        axes.set_title("Crank speed: mean of cycles; shaded: least to greatest", loc="left", fontsize=10)
    else:
        axes.plot(x, speed, color=colour(0), lw=1.4)
