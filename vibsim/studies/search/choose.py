"""Which of many unbeaten layouts to show: those best at something, the best all round, some between."""

from __future__ import annotations

import numpy as np

from vibsim.studies.search.front import FINE, best_at_each, empty_front

SHOWN = 12
WORDS = ("least force", "least couple", "most even", "lightest")
ALL_ROUND = "best all round"


def spans(values: np.ndarray, cell: np.ndarray) -> np.ndarray:
    """How far the front reaches in each objective (objectives); at least a cell."""
    return np.maximum(np.ptp(values, axis=0), cell)


def named(values: np.ndarray, cell: np.ndarray) -> dict[int, tuple[str, ...]]:
    """Layouts (rows of values (k, objectives)) that are best at something, and at what.

    For each objective that varies the best one, of equal ones the best in the rest; and the one nearest to the best of
    everything at once, all scaled by their spans.
    """
    found: dict[int, tuple[str, ...]] = {}
    best = best_at_each(empty_front(len(cell)), values, np.arange(len(values)), cell).key
    for row, words, reach in zip(best, WORDS, np.ptp(values, axis=0), strict=True):
        if reach > FINE * cell[WORDS.index(words)] or len(values) == 1:
            found[int(row)] = (*found.get(int(row), ()), words)
    row = int(np.argmin(_distance(values, cell)))
    found[row] = (*found.get(row, ()), ALL_ROUND)
    return found


def _distance(values: np.ndarray, cell: np.ndarray) -> np.ndarray:
    """Of each layout from the best of everything at once, scaled by the spans."""
    return np.linalg.norm((values - values.min(axis=0)) / spans(values, cell), axis=1)


def choose(values: np.ndarray, cell: np.ndarray, most: int = SHOWN) -> dict[int, tuple[str, ...]]:
    """Rows of the front (k, objectives) to show, with what each is best at.

    Those with a name; then, of the half nearer to the best of everything at once, those furthest from what is already
    chosen, as long as they differ by more than a cell.
    """
    scaled, distance = values / spans(values, cell), _distance(values, cell)
    near = distance <= np.median(distance)
    chosen = named(values, cell)
    while len(chosen) < most:
        gap = np.min([np.linalg.norm(scaled - scaled[row], axis=1) for row in chosen], axis=0)
        apart = np.min([np.max(np.abs(values - values[row]) / cell, axis=1) for row in chosen], axis=0)
        pool = np.where(near & (apart > 1.0), gap, 0.0)
        if not pool.any():
            break
        chosen[int(np.argmax(pool))] = ()
    return chosen
