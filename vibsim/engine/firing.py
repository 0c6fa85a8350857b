"""How evenly a layout can fire: each cylinder of a four-stroke may fire at either of its two top dead centres."""

from __future__ import annotations

import itertools
import math

import numpy as np

TURN = 2.0 * math.pi


def longest_interval(tops: np.ndarray, cycle: float) -> np.ndarray:
    """Longest firing interval (...) rad of the most even choice, for top dead centres (..., cylinders), rad.

    `cycle` 2π or 4π rad. Over many layouts at once, by the cylinders in order of their top dead centres instead of by
    all choices (derived): a choice is told by who fires in which turn, the intervals of a turn are those between
    neighbours in it, so of all ways to share out the first few only the last cylinder of each turn matters.
    """
    tops = np.sort(np.mod(tops - tops[..., :1], TURN), axis=-1)
    places = [np.array(tops[..., n]) for n in range(tops.shape[-1])]
    gaps = [after - before for before, after in itertools.pairwise(places)]
    within = np.max(gaps, axis=0) if gaps else np.zeros(tops.shape[:-1])
    best = np.maximum(within, cycle - places[-1])  # all in one turn
    if cycle < 1.5 * TURN:
        return best
    before = np.zeros_like(best)
    for first in range(1, len(places)):
        if first > 1:
            before = np.maximum(before, gaps[first - 2])
        best = np.minimum(best, _from_second_turn(places, gaps, first, before))
    return best


def _from_second_turn(places: list[np.ndarray], gaps: list[np.ndarray], first: int, before: np.ndarray) -> np.ndarray:
    """The same when cylinder `first` is the earliest of the second turn; `before` the longest interval before it."""
    # longest so far by (turn of the latest cylinder, latest cylinder of the other turn)
    states = {(1, first - 1): before}
    for n in range(first + 1, len(places)):
        following: dict[tuple[int, int], np.ndarray] = {}
        for (turn, other), longest in states.items():
            following[turn, other] = np.maximum(longest, gaps[n - 1])
            key, switched = (1 - turn, n - 1), np.maximum(longest, places[n] - places[other])
            following[key] = np.minimum(following[key], switched) if key in following else switched
        states = following
    best, latest = None, len(places) - 1
    for (turn, other), longest in states.items():
        last, last_second = (other, latest) if turn else (latest, other)
        longest = np.maximum(longest, TURN + places[first] - places[last])
        longest = np.maximum(longest, TURN - places[last_second])
        best = longest if best is None else np.minimum(best, longest)
    assert best is not None
    return best


def most_even_firing(tops: np.ndarray, cycle: float) -> np.ndarray:
    """Firing angles (cylinders), rad, of the most even choice of one layout, from the first cylinder's on.

    Every choice is tried, 2^(cylinders − 1) of them for a four-stroke.
    """
    tops = tops[0] + np.mod(tops - tops[0] + 1e-9, TURN) - 1e-9  # a hair before is the same place, not a turn later
    if cycle < 1.5 * TURN:
        return tops
    choices = np.arange(2 ** (len(tops) - 1))[:, None] >> np.arange(len(tops) - 1) & 1
    fired = tops + TURN * np.column_stack([np.zeros(len(choices)), choices])
    inner = np.sort(fired, axis=1)
    intervals = np.diff(inner, axis=1, append=inner[:, :1] + cycle)
    return fired[int(np.argmin(np.round(intervals.max(axis=1), 9)))]


def intervals_of(fired: np.ndarray, cycle: float) -> tuple[np.ndarray, np.ndarray]:
    """Order of firing (cylinders, indices) and the intervals (cylinders) rad from each to the next."""
    order = np.argsort(np.round(fired, 9), kind="stable")
    angles = fired[order]
    return order, np.diff(angles, append=angles[0] + cycle)
