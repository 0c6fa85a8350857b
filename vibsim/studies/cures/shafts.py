"""Balance shafts for one order: one or two, within the space there is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize
from scipy.stats import qmc

from vibsim.studies.balance import Balance, outer_planes
from vibsim.studies.cures.goals import Eccentric, Goal, best_unbalances, eccentric, residual

STARTS = 8
LEAST = 1e-9  # kg m: a milligram a metre out is no shaft
BETTER = 1e-6  # of what there is: less is no reason for the other arrangement
SIZE_COUNTS = 1e-9  # share by which a smaller unbalance decides between places that do the same


@dataclass(frozen=True)
class Box:
    """Where shafts may lie, engine axes about the crank, m: (from, to) along x, y and z."""

    along: tuple[float, float]
    across: tuple[float, float] = (0.0, 0.0)
    up: tuple[float, float] = (0.0, 0.0)

    @property
    def low(self) -> np.ndarray:
        return np.array([self.along[0], self.across[0], self.up[0]])

    @property
    def size(self) -> np.ndarray:
        return np.array([self.along[1], self.across[1], self.up[1]]) - self.low


def block_length(balance: Balance) -> tuple[float, float]:
    """The places along the crank that the cylinders cover, m."""
    low, high = outer_planes(balance.layout, balance.middle)
    half = 0.5 * balance.layout.cylinders[0].bore
    return low - half, high + half


def find_shafts(goal: Goal, order: float, count: int, box: Box, most: float | None = None) -> list[Eccentric]:
    """At most `count` (1 or 2) shafts at ± an order that make a goal least, each up to `most` kg m, inside a box.

    A second shaft is taken where it gains something. Every choice of senses is tried; at the first order only shafts
    against the crank, since with it turns the crank itself. Places come from
    bounded descents from several starts, unbalances from linear least squares at each place.
    """
    best: tuple[float, list[Eccentric]] | None = None
    scale = float(np.linalg.norm(goal.now))
    for ratios in _senses(order, count):
        left, shafts = _placed(goal, ratios, box, most)
        if best is None or left < best[0] - BETTER * scale:
            best = left, shafts
    assert best is not None
    return [shaft for shaft in best[1] if shaft.unbalance > LEAST]


def _senses(order: float, count: int) -> list[list[float]]:
    one = [[-1.0]] if order == 1.0 else [[order], [-order]]
    if count == 1:
        return one
    return [*one, [-1.0, -1.0]] if order == 1.0 else [*one, [order, -order], [order, order], [-order, -order]]


def _placed(goal: Goal, ratios: list[float], box: Box, most: float | None) -> tuple[float, list[Eccentric]]:
    """Residual and shafts at the best places of given senses."""
    free = np.tile(box.size > 0.0, len(ratios))
    scale = max(float(np.linalg.norm(goal.now)), 1e-300)

    def places(x: np.ndarray) -> np.ndarray:
        share = np.full(3 * len(ratios), 0.5)
        share[free] = x
        return box.low + box.size * share.reshape(-1, 3)

    def value(x: np.ndarray) -> float:
        spots = places(x)
        found = best_unbalances(goal, ratios, spots, most)
        left = residual(goal, ratios, spots, found) / scale
        return left + SIZE_COUNTS * float(np.sum(np.abs(found) ** 2)) / reference

    middle = np.full(int(free.sum()), 0.5)
    reference = max(float(np.sum(np.abs(best_unbalances(goal, ratios, places(middle), None)) ** 2)), 1e-24)
    best = middle
    if free.any():
        best = min((_descend(value, start) for start in _starts(len(middle))), key=value)
    spots = places(best)
    found = best_unbalances(goal, ratios, spots, most)
    shafts = [eccentric(ratio, u, spot) for ratio, u, spot in zip(ratios, found, spots, strict=True)]
    return residual(goal, ratios, spots, found), shafts


def _descend(value, start: np.ndarray) -> np.ndarray:
    found = minimize(
        value, start, method="Powell", bounds=[(0.0, 1.0)] * len(start), options={"xtol": 1e-7, "ftol": 1e-14}
    )
    return np.clip(found.x, 0.0, 1.0)


def _starts(free: int) -> np.ndarray:
    """The middle, the two ends pairwise, and points spread evenly over the box."""
    spread = qmc.Sobol(free, scramble=False).random(STARTS) if free else np.zeros((1, 0))
    ends = np.where(np.arange(free) < (free + 1) // 2, 0.0, 1.0)
    return np.vstack([np.full(free, 0.5), ends, spread])
