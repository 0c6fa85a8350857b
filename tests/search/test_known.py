"""Known best layouts are found, limits are kept, and what is shown can be built."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from tests.cases import with_angles
from vibsim.engine.layout import resolve_layout
from vibsim.engine.leftover import measure, yardstick
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import CaseFile, parse_case
from vibsim.studies.balance import find_balance
from vibsim.studies.new_case import new_case
from vibsim.studies.search.choose import ALL_ROUND, WORDS
from vibsim.studies.search.find import Candidate, Search, find_search
from vibsim.studies.search.refine import nearby, refine, values_at
from vibsim.studies.search.scan import Limits
from vibsim.studies.search.space import find_space

DEGREE = math.pi / 180.0
FREE = Limits()


def case_of(name: str) -> CaseFile:
    return parse_case(new_case(name, 900.0))


def best(found: Search, words: str) -> Candidate:
    return next(row for row in found.rows if words in row.words)


def offsets(row: Candidate) -> list[float]:
    """Pins from the first one, degrees in [0, 360)."""
    return np.mod(np.round(np.degrees(row.pins - row.pins[0]), 6), 360.0).tolist()


def test_three_in_line_stand_at_120_degrees():
    """CHECKS section 4: no free force, even firing; found as best at both."""
    found = find_search(case_of("inline-3"), FREE, step=5 * DEGREE)
    row = best(found, "least force")
    assert sorted(offsets(row)) == [0.0, 120.0, 240.0]
    assert row.words[:2] == ("least force", "most even")
    assert row.values[:3] == pytest.approx([0.0, math.hypot(math.sqrt(3) / 2, row_second(found)), 1.0], abs=2e-3)


def row_second(found: Search) -> float:
    """The second-order couple of an inline three over F·a as a root mean square: √3·A2/√2, A2 by the mechanism."""
    parts = found.yard.parts
    return math.sqrt(1.5) * 2.0 * abs(parts.stroke_form[0, 1]) / (2.0 * abs(parts.stroke_form[0, 0]))


def test_twin_gets_the_offset_of_the_published_rule():
    """CHECKS section 4: at 60° the second bank's pin set back by 60°; first order alone, as the rule is."""
    found = find_search(case_of("v2-60"), FREE, step=5 * DEGREE, most_splay=90 * DEGREE, highest=1)
    row = best(found, "least force")
    # the first bank leads in that case file, so that its partner's pin goes ahead
    assert offsets(row) == [0.0, 60.0]
    assert row.values[0] < 1e-6
    assert best(found, "most even").values[2] == pytest.approx(1.0)


def test_three_with_a_heavier_single_is_set_back_by_20_degrees():
    """CHECKS section 4, derived; first order alone. With equal masses half of F is left at best (README)."""
    heavy = find_search(case_of("v3-80-heavy-single"), FREE, step=10 * DEGREE, highest=1)
    row = best(heavy, "least force")
    assert offsets(row) == [0.0, 20.0, 0.0]
    assert max(row.values[:2]) < 3e-3  # masses are written in whole grams
    assert "least couple" in row.words
    equal = find_search(case_of("v3-80"), FREE, step=10 * DEGREE, highest=1)
    held = [row for row in equal.rows if offsets(row)[2] == 0.0]
    assert held and min(row.values[0] for row in held) >= 0.5 - 1e-6


def test_four_in_line_trades_force_for_couple():
    """CHECKS section 4. Flat: all its second order as force, even, no couple. Pins a quarter turn apart: no force of
    orders 1 and 2, a couple, uneven. Of their two orders along the crank 0/180/90/270 leaves less couple after
    counterweights than 0/90/270/180 (derived: √(½·½ + ½·16·A2²) against √(½·5), in F·a)."""
    found = find_search(case_of("inline-4"), FREE, step=15 * DEGREE, highest=3)
    flat, quarter = best(found, "least couple"), best(found, "least force")
    assert offsets(flat) == [0.0, 180.0, 180.0, 0.0]
    assert flat.words[:2] == ("least couple", "most even")
    assert sorted(offsets(quarter)) == [0.0, 90.0, 180.0, 270.0]
    assert quarter.values[0] < 1e-6
    assert quarter.values[2] == pytest.approx(1.5)
    second = abs(found.yard.parts.stroke_form[0, 1] / found.yard.parts.stroke_form[0, 0])
    assert flat.values[0] == pytest.approx(4.0 * second / math.sqrt(2.0), rel=1e-6)
    # places are written to 0.1 mm
    assert quarter.values[1] == pytest.approx(math.sqrt(0.5 + 8.0 * second**2), rel=5e-3)


def test_leaving_the_grid_finds_the_known_bank_angle():
    """CHECKS section 4: two pairs on shared pins and a single are balanced at cos(bank) = 1/4; from 77° and 105°."""
    engine = case_of("v5-75").case.engine
    assert engine is not None
    layout = resolve_layout(engine)
    space = find_space(layout, (60 * DEGREE, 90 * DEGREE), 5 * DEGREE, None)
    yard = yardstick(engine, layout, 1)
    bank, pins = 77 * DEGREE, np.array([0.0, 0.0, 0.0, 0.0, 105 * DEGREE])
    near = nearby(space, yard, bank, space.bank_angles(bank), pins)
    near = replace(near, low=near.start.copy(), high=near.start.copy())
    near.low[[0, 2]] -= 5 * DEGREE  # the bank and the single's pin are free
    near.high[[0, 2]] += 5 * DEGREE
    x = refine(near, np.array([1.0, 0.0, 0.0, 0.0]), np.full(4, np.inf))
    assert math.degrees(x[0]) == pytest.approx(75.522, abs=0.02)
    assert math.degrees(x[2]) == pytest.approx(104.478, abs=0.02)
    assert values_at(near, x)[0] < 1e-4
    assert values_at(near, near.start)[0] > 0.02


def test_rows_off_the_grid_are_no_worse_than_the_grid():
    case_file = case_of("v3-80")
    found = find_search(case_file, FREE, step=24 * DEGREE)
    assert any(row.refined for row in found.rows)
    for number, words in enumerate(WORDS):
        if any(words in row.words for row in found.rows):
            assert best(found, words).values[number] <= found.front.values[:, number].min() + 1e-9
    assert sum(ALL_ROUND in row.words for row in found.rows) == 1
    assert len(found.rows) <= 12
    force = [row.values[0] for row in found.rows]
    assert force == sorted(force)


LIMITED = {
    "uneven": Limits(uneven=1.1),
    "bearings": Limits(bearings=4),
    "width": Limits(width=0.225),
    "added": Limits(added=0.45),
    "all": Limits(1.3, 4, 0.24, 0.6),
}


@pytest.mark.parametrize("limits", LIMITED.values(), ids=LIMITED)
def test_limits_are_kept(limits):
    """By every layout shown, on the grid or off it, with each quantity worked out anew; and each limit does bind."""
    case_file = case_of("v6-60")
    arguments = {"bank_range": (60 * DEGREE, 120 * DEGREE), "step": 60 * DEGREE, "most_splay": 90 * DEGREE}
    found = find_search(case_file, limits, **arguments)
    engine = case_file.case.engine
    assert engine is not None
    yard = yardstick(engine, resolve_layout(engine), 4)
    for row in found.rows:
        values = measure(yard, row.banks, row.pins)
        assert values == pytest.approx(row.values, abs=1e-9)
        assert values[2] <= limits.uneven * (1 + 1e-6)
        assert values[3] <= limits.added * (1 + 1e-6)
        assert row.bearings <= limits.bearings
        assert row.width <= limits.width * (1 + 1e-6)
        for first, other in ((0, 1), (2, 3), (4, 5)):
            assert abs(math.remainder(row.pins[first] - row.pins[other], 2 * math.pi)) <= 90 * DEGREE + 1e-6
    assert 0 < found.passed < found.tried


def test_a_row_is_a_case_that_does_what_it_says():
    """Written back into the case, its firing order and first order as `balance` finds them."""
    case_file = case_of("inline-4-cross")
    found = find_search(case_file, FREE, step=30 * DEGREE, highest=1)
    for row in found.rows[:4]:
        turned = with_angles(case_file, row.banks, row.pins)
        engine = turned.case.engine
        assert engine is not None
        order = np.argsort(row.fired)
        names = tuple(engine.cylinder[int(index)].name for index in order)
        at_once = len(set(np.round(row.fired, 6))) < len(names)
        if not at_once:
            engine = engine.model_copy(update={"firing_order": names})
            intervals = resolve_layout(engine).firing_intervals()
            assert max(intervals) == pytest.approx(row.values[2] * math.pi)
        balance = find_balance(turned)
        drawn = find_balance(case_file)
        assert abs(balance.force.backward[0]) / drawn.unit == pytest.approx(row.values[0], abs=1e-6)
        assert abs(balance.couple.backward[0]) / drawn.couple_unit == pytest.approx(row.values[1], abs=1e-6)


def test_the_case_as_drawn_takes_part_where_it_may():
    """A 60° V6 is not on a grid of 80°; shown as drawn it is best at force. With a splay of 40° it may not be shown."""
    case_file = case_of("v6-60")
    free = find_search(case_file, FREE, step=80 * DEGREE, most_splay=60 * DEGREE)
    assert np.array_equal(best(free, "least force").pins, free.drawn.pins)
    held = find_search(case_file, FREE, step=80 * DEGREE, most_splay=40 * DEGREE)
    assert all(row.values[0] > 0.05 or row.values[2] > 1.05 for row in held.rows)
    turned = find_search(case_file, FREE, (70 * DEGREE, 90 * DEGREE), step=80 * DEGREE, most_splay=60 * DEGREE)
    assert all(row.bank >= 70 * DEGREE - 1e-9 for row in turned.rows)


def test_one_pin_and_two_banks():
    found = find_search(case_of("v2-60"), FREE, bank_range=(40 * DEGREE, 120 * DEGREE), highest=1)
    row = best(found, "least force")
    assert math.degrees(row.bank) == pytest.approx(90.0, abs=0.01)  # CHECKS section 4: turns with the crank, no more
    assert row.values[0] < 1e-4


@pytest.mark.parametrize(
    ("name", "limits", "options", "message"),
    [
        ("single", FREE, {}, "one crankpin and nothing to turn"),
        ("inline-4", FREE, {"bank_range": (1.0, 2.0)}, "--bank-deg: is given, but the case has not two banks"),
        ("inline-6", FREE, {"step": 5 * DEGREE}, "--step-deg: got 5; makes 1.93e.09 layouts"),
        ("v3-80", Limits(bearings=3), {}, "--most-bearings: got 3; leaves no layout, the fewest there are is 4"),
        ("v2-60", Limits(uneven=1.1), {"bank_range": (1.0, 1.1)}, "--most-uneven: got 1.1; leaves no layout, the most"),
        ("v3-80", Limits(width=0.1), {}, "--widest-mm: got 100; leaves no layout, the narrowest"),
        ("v3-80", Limits(added=0.1), {}, "--most-added-kg: got 0.1; leaves no layout, the lightest"),
        ("v3-80", Limits(1.1, added=0.52), {}, "--most-uneven 1.1, --most-added-kg 0.52: each leaves some layouts"),
    ],
)
def test_what_leaves_nothing_says_so(name, limits, options, message):
    with pytest.raises(InputError, match=message) as error:
        find_search(case_of(name), limits, **({"step": 20 * DEGREE} | options))
    assert len(error.value.problems) == 1
