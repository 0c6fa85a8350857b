"""Cures against brute force, closed forms and limits: no counterweight, shaft or mass found may leave anything better.

Angles run over 360 points a turn, so a peak between points is missed by up to (π/360)²/2·n² of an order n: 4e-5 for the
first, 4e-4 for the third.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize

from tests.cases import single
from tests.conftest import DEMO
from vibsim.engine.balance import cancellation_sums
from vibsim.engine.layout import resolve_layout
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import build_case, load_case, parse_case
from vibsim.studies.balance import find_balance
from vibsim.studies.cures.counterweights import peak_centre
from vibsim.studies.cures.cure import Aim, by_counterweights, by_mass, by_shafts, cured, cured_text
from vibsim.studies.cures.goals import FreeGoal, best_unbalances, residual
from vibsim.studies.cures.shafts import Box, block_length
from vibsim.studies.new_case import new_case

SPEED = 300.0
FORCE, COUPLE = Aim("force", (SPEED,)), Aim("couple", (SPEED,))


def layout(name):
    return parse_case(new_case(name, 900.0).replace('source = "cycle"', 'source = "none"'), name=name)


def test_peak_centre_is_the_smallest_circle():
    """Brute force: a simplex search for the centre with the least greatest distance ends no lower, and there."""
    balance = find_balance(load_case(DEMO), SPEED)
    free = balance.about_crank
    found = peak_centre(free.force, free.angle, balance.unit)
    points = free.force * np.exp(-1j * free.angle)

    def peak(x):
        return np.abs(points - balance.unit * complex(x[0], x[1])).max()

    brute = minimize(peak, [0.0, 0.0], method="Nelder-Mead", options={"xatol": 1e-10, "fatol": 1e-10, "maxiter": 5000})
    assert np.abs(points - found).max() == pytest.approx(brute.fun, rel=1e-7)
    assert found / balance.unit == pytest.approx(complex(*brute.x), abs=1e-4)


def test_peak_centre_of_one_order_is_its_forward_part():
    angle = np.linspace(0.0, 2.0 * np.pi, 360, endpoint=False)
    values = (3.0 + 4.0j) * np.exp(1j * angle) + 2.0 * np.exp(-1j * angle)
    assert peak_centre(values, angle, 1.0) == pytest.approx(3.0 + 4.0j, abs=1e-7)


ANGLES = st.lists(st.tuples(st.floats(-180, 180), st.floats(-180, 180), st.floats(0.3, 2.0)), min_size=1, max_size=4)


@settings(deadline=None, max_examples=25)
@given(cylinders=ANGLES)
def test_cancellation_sum_is_what_no_counterweight_reaches(cylinders):
    """Brute force over counterweights on long rods, where the first order is all there is: the least greatest force is
    ½·r·ω²·|Σ m·e^{i(2·bank − pin)}| (derived). Rods of 1000 throws leave 1e-3 of other orders per unit of mass."""
    raw = single()
    engine = raw["engine"]
    engine |= {"rod_length_mm": 20_000.0, "stroke_mm": 40.0, "rod": {"mass_g": 0.0}}
    engine["cylinder"] = [
        {"name": str(n), "bank_deg": bank, "pin_deg": pin, "at_mm": 200.0 * n, "piston": {"mass_g": 1000.0 * mass}}
        for n, (bank, pin, mass) in enumerate(cylinders)
    ]
    layout = resolve_layout(build_case(raw).engine)
    theta = np.linspace(0.0, 2.0 * np.pi, 180, endpoint=False)
    total = np.zeros(180, dtype=complex)
    for bank, pin, mass in cylinders:
        beta, alpha = np.radians(bank), np.radians(pin)
        total += mass * 0.02 * np.exp(1j * beta) * np.cos(theta + alpha - beta)

    def peak(x):
        return np.abs(total + 0.02 * complex(x[0], x[1]) * np.exp(1j * theta)).max()

    brute = minimize(
        peak, [0.0, 0.0], method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-12, "maxiter": 4000}
    ).fun
    sums = cancellation_sums(layout)
    assert 0.5 * 0.02 * abs(sums.force) == pytest.approx(brute, abs=2e-3 * 0.02 * sums.scale)


@pytest.mark.parametrize("name", ["v3-80", "v2-60", "inline-3", "v6-90-split"])
def test_no_other_counterweights_have_a_lower_peak(name):
    case = layout(name)
    after = find_balance(cured(case, by_counterweights(case, FORCE)), SPEED)
    free = after.about_crank
    couple = free.about(np.array([after.middle, 0.0, 0.0])).couple
    turning = np.exp(1j * free.angle)
    for values, scale in ((free.force, after.unit), (couple, after.couple_unit)):
        least = np.abs(values).max()
        for step in 1e-3 * scale * np.exp(2j * np.pi * np.arange(12) / 12.0):
            assert np.abs(values + step * turning).max() >= least - 1e-6 * scale


def test_one_plane_serves_what_is_asked():
    case = layout("inline-3")
    place = np.array([0.05])
    balance = find_balance(case, SPEED)
    force = find_balance(cured(case, by_counterweights(case, FORCE, place)), SPEED)
    couple = find_balance(cured(case, by_counterweights(case, COUPLE, place)), SPEED)
    assert np.abs(force.about_crank.force).max() <= np.abs(balance.about_crank.force).max() + 1e-6
    two = find_balance(cured(case, by_counterweights(case, COUPLE)), SPEED)
    peaks = [np.abs(one.about_crank.couple).max() for one in (couple, two)]
    assert peaks[0] == pytest.approx(peaks[1], rel=1e-6)
    assert abs(couple.force.at(1.0)[0]) > 0.1 * balance.unit
    with pytest.raises(InputError, match="middle of the throws"):
        by_counterweights(case, COUPLE, np.array([balance.middle]))


def test_shaft_against_the_crank_takes_the_backward_force():
    case = load_case(DEMO)
    before = find_balance(case, SPEED)
    shafts = by_shafts(case, FORCE, 1.0, 2).shafts
    assert len(shafts) == 1  # a second one gains nothing
    expected = abs(before.force.at(1.0)[1]) / SPEED**2
    assert shafts[0].unbalance == pytest.approx(expected, rel=1e-5)
    after = find_balance(cured(case, by_shafts(case, FORCE, 1.0, 1)), SPEED)
    assert abs(after.force.at(1.0)[1]) < 1e-5 * before.unit
    assert after.force.at(1.0)[0] == pytest.approx(before.force.at(1.0)[0])


def test_two_shafts_take_the_backward_couple_of_an_inline_three():
    """Its force is balanced, so one shaft can only trade couple for force (derived: U must vanish)."""
    case = layout("inline-3")
    one = find_balance(cured(case, by_shafts(case, FORCE, 1.0, 1)), SPEED)
    two = find_balance(cured(case, by_shafts(case, FORCE, 1.0, 2)), SPEED)
    before = find_balance(case, SPEED)
    assert abs(before.couple.at(1.0)[1]) > 0.8 * before.couple_unit
    assert abs(one.couple.at(1.0)[1]) > 0.8 * before.couple_unit
    assert abs(two.couple.at(1.0)[1]) < 1e-4 * before.couple_unit
    assert abs(two.force.at(1.0)[1]) < 1e-4 * before.unit


def test_second_order_pair_of_an_inline_four():
    """Two shafts at ±2, each half of the force: U·(2ω)² = ½·4·m·r·ω²·A₂ (derived; the classical pair)."""
    case = layout("inline-4")
    before = find_balance(case, SPEED)
    shafts = by_shafts(case, FORCE, 2.0, 2).shafts
    assert sorted(shaft.ratio for shaft in shafts) == [-2.0, 2.0]
    expected = before.force.major[1] / 2.0 / (2.0 * SPEED) ** 2
    assert [shaft.unbalance for shaft in shafts] == pytest.approx([expected] * 2, rel=1e-5)
    after = find_balance(cured(case, by_shafts(case, FORCE, 2.0, 2)), SPEED)
    assert after.force.major[1] < 1e-4 * before.unit


@pytest.mark.parametrize("order", [0.5, 1.5, 2.5])
def test_nothing_to_add_where_there_is_no_force(order):
    """Inertia has whole orders alone (derived: the mechanism repeats every turn)."""
    assert by_shafts(layout("v3-80"), FORCE, order, 1).shafts == ()


def test_heights_of_the_pair_take_the_roll():
    """Shafts a height h apart make a roll of order 2 (derived: 2·h·U·(2ω)²·…); given room it vanishes too."""
    case = layout("inline-4")
    room = Box(block_length(find_balance(case, SPEED)), (-0.1, 0.1), (-0.1, 0.1))
    before, after = find_balance(case, SPEED), find_balance(cured(case, by_shafts(case, FORCE, 2.0, 2, room)), SPEED)
    assert abs(after.roll[1]) < 0.02 * abs(before.roll[1])
    for shaft in by_shafts(case, FORCE, 2.0, 2, room).shafts:
        assert all(
            low - 1e-12 <= at <= low + size + 1e-12
            for at, low, size in zip(shaft.place, room.low, room.size, strict=True)
        )


def test_a_limit_that_binds():
    """One shaft, too small: all of it against the force (derived: the nearest point of a disc)."""
    case = load_case(DEMO)
    balance = find_balance(case, SPEED)
    goal = FreeGoal(balance, 1.0, "force")
    whole = abs(balance.force.at(1.0)[1]) / SPEED**2
    place = np.array([[balance.middle, 0.0, 0.0]])
    found = best_unbalances(goal, [-1.0], place, 0.4 * whole)
    assert abs(found[0]) == pytest.approx(0.4 * whole, rel=1e-6)
    left = residual(goal, [-1.0], place, found)
    assert left**2 == pytest.approx(0.6**2 * abs(goal.now[1]) ** 2 + abs(goal.now[0]) ** 2, rel=1e-3)


def test_mass_the_single_of_a_v3_needs():
    """A pair on one pin and a single 80° on, its pin set back by 180° − 2·80° = 20°: the single must reciprocate the
    pair's sum (derived in CHECKS section 4). Found from equal pistons."""
    text = new_case("v3-80-heavy-single", 900.0).replace('source = "cycle"', 'source = "none"')
    lines = [line for line in text.splitlines() if not line.startswith("piston = ")]
    case = parse_case("\n".join(lines))
    before = find_balance(case, SPEED)
    cure = by_mass(case, FORCE, ["1", "2", "3"], 5.0)
    first = before.layout.cylinders[0]
    reciprocating = first.piston_mass + first.small_end_mass
    assert [name for name, _ in cure.masses] == ["2"]
    assert cure.masses[0][1] == pytest.approx(reciprocating, rel=1e-4)
    after = find_balance(cured(case, cure), SPEED)
    assert abs(before.force.at(1.0)[1]) > 0.4 * before.unit
    assert abs(after.force.at(1.0)[1]) < 1e-4 * before.unit


def test_mass_does_not_help_where_the_pin_is_wrong():
    """With the pin at 180° − bank a heavier single adds to what is left, so none is proposed."""
    assert by_mass(load_case(DEMO), FORCE, ["2"], 2.0).masses == ()


def test_the_case_keeps_its_words_and_what_it_had():
    case = load_case(DEMO)
    first = by_counterweights(case, FORCE)
    text = cured_text(case.text, first, find_balance(case, SPEED).layout)
    assert "# at bottom dead centre when the front pair is at top" in text
    again = parse_case(cured_text(text, first, find_balance(case, SPEED).layout))
    assert len(again.case.engine.crank.counterweight) == 4
    assert again.case.engine.crank.unbalance == case.case.engine.crank.unbalance
    assert again.case.mount == case.case.mount
