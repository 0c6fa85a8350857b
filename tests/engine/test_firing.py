"""The most even firing against trying every choice of dead centres, one by one."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from vibsim.engine.firing import intervals_of, longest_interval, most_even_firing
from vibsim.engine.layout_table import LAYOUTS, LayoutPlan, most_even_order

TURN = 2.0 * math.pi


def by_trying(tops: np.ndarray, cycle: float) -> float:
    """Longest interval of the most even choice, all choices tried (derived)."""
    found = math.inf
    for turns in itertools.product(range(round(cycle / TURN)), repeat=len(tops)):
        fired = sorted((top + turn * TURN) % cycle for top, turn in zip(tops, turns, strict=True))
        longest = max(after - before for before, after in itertools.pairwise([*fired, fired[0] + cycle]))
        found = min(found, longest)
    return found


@pytest.mark.parametrize("cycle", [TURN, 2.0 * TURN])
@pytest.mark.parametrize("cylinders", [1, 2, 3, 4, 5, 6, 7])
def test_longest_interval_is_that_of_every_choice_tried(cylinders, cycle):
    """At random, and on a grid so coarse that several fire at once; equal to rounding."""
    rng = np.random.default_rng(cylinders)
    tops = np.concatenate(
        [rng.uniform(-10.0, 10.0, (12, cylinders)), math.radians(30.0) * rng.integers(-12, 24, (12, cylinders))]
    )
    found = longest_interval(tops, cycle)
    assert found == pytest.approx([by_trying(row, cycle) for row in tops], abs=1e-9)
    one_by_one = [float(longest_interval(row, cycle)) for row in tops]
    assert found.tolist() == one_by_one  # whatever stands beside it
    for row, longest in zip(tops, found, strict=True):
        fired = most_even_firing(row, cycle)
        assert np.abs(np.sin(0.5 * (fired - row))).max() < 1e-9  # each at a top dead centre of its own
        order, intervals = intervals_of(fired, cycle)
        assert sorted(order) == list(range(cylinders))
        assert (intervals.max(), intervals.sum()) == pytest.approx((longest, cycle), abs=1e-8)


@pytest.mark.parametrize("strokes", [2, 4])
def test_usual_layouts_fire_as_their_case_files_say(strokes):
    for plan in LAYOUTS.values():
        assert uneven(plan, strokes) == pytest.approx(longest_of(plan, strokes), abs=1e-6)


def longest_of(plan: LayoutPlan, strokes: int) -> float:
    _, angles = most_even_order(plan, strokes)
    return max(after - before for before, after in itertools.pairwise([*angles, angles[0] + 180.0 * strokes]))


def uneven(plan: LayoutPlan, strokes: int) -> float:
    tops = np.radians([bank - pin for bank, pin, _ in plan.cylinders])
    return math.degrees(float(longest_interval(tops, strokes * math.pi)))
