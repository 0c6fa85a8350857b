"""How far a misfire's dip in crank speed stands above the scatter of cycles that burn."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vibsim.post.tooth_wheel import Wheel, passing_times, stamped

CLEAR, DOUBTFUL = 6.0, 3.0  # index from which a misfire is told for sure, and below which not at all; no source
BEFORE = (math.radians(-60.0), 0.0)  # from firing top dead centre
AFTER = (math.radians(120.0), math.radians(180.0))  # where nearly all of a burn's work is done


@dataclass(frozen=True)
class Detection:
    """Index (mean change of speed where it burns − where it misfires) over the standard deviation where it burns, with
    its standard deviation; `dip` and `scatter` rad/s; how many cycles of either."""

    index: float
    deviation: float
    dip: float
    scatter: float
    burning: int
    misfiring: int

    @property
    def word(self) -> str:
        return "clear" if self.index >= CLEAR else "doubtful" if self.index >= DOUBTFUL else "hidden"


def detection_of(burning: np.ndarray, misfiring: np.ndarray) -> Detection:
    """Index from changes of speed (n and m, rad/s) over a cylinder's stroke in cycles that burn and that misfire.

    It is a difference of means over the standard deviation of one group; its variance for large samples is
    (s_m²/s²)/m + 1/n + D²/(2(n − 1)) (Glass's and Hedges's effect size, Hedges 1981, from memory; derived by the delta
    method). Raises ValueError with fewer than three of either, or no scatter.
    """
    n, m = len(burning), len(misfiring)
    scatter = float(burning.std(ddof=1)) if n > 2 else 0.0
    if n < 3 or m < 3 or scatter <= 0.0:
        raise ValueError("too few cycles, or none that scatter")
    dip = float(burning.mean() - misfiring.mean())
    index = dip / scatter
    spread = float(misfiring.std(ddof=1)) / scatter
    deviation = math.sqrt(spread**2 / m + 1.0 / n + index**2 / (2.0 * (n - 1)))
    return Detection(index, deviation, dip, scatter, n, m)


def speed_changes(
    time: np.ndarray, angle: np.ndarray, speed: np.ndarray, firing: float, cycle: float, wheel: Wheel
) -> np.ndarray:
    """Change of mean speed (cycles) rad/s over a cylinder's stroke, from BEFORE its firing at `firing` (rad, of the
    cycle) to AFTER it; the windows' ends at the nearest edge of the wheel, timed in whole ticks.

    From time, crank angle and speed of a record (n); whole cycles alone. Raises ValueError for a wheel too coarse.
    """
    first = math.ceil((angle[0] - firing - BEFORE[0]) / cycle)
    last = math.floor((angle[-1] - firing - AFTER[1]) / cycle)
    fired = np.arange(first, last + 1) * cycle + firing
    edges, _ = wheel.edges_between(float(angle[0]), float(angle[-1]))
    ends = np.array([_nearest(edges, fired + offset) for offset in (*BEFORE, *AFTER)])
    turned = np.diff(ends, axis=0)[::2]
    if turned.size and turned.min() <= 0.0:
        raise ValueError("the tooth wheel is too coarse")
    stamps = stamped(passing_times(time, angle, speed, ends.ravel()), wheel.clock).reshape(ends.shape)
    before, after = turned / np.maximum(np.diff(stamps, axis=0)[::2], 1.0 / wheel.clock)
    return after - before


def _nearest(edges: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    after = np.clip(np.searchsorted(edges, wanted), 1, len(edges) - 1)
    return np.where(wanted - edges[after - 1] < edges[after] - wanted, edges[after - 1], edges[after])
