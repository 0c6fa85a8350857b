"""One crank position against the revolution: exact at any angle, and what a counterweight chosen for it does."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from tests.cases import single
from tests.conftest import DEMO
from tests.references.test_balance import PAIR, RODS, _case_file, _vee
from vibsim.engine.balance import forces_at
from vibsim.inputs.errors import InputError
from vibsim.studies.balance import Balance, find_balance
from vibsim.studies.position import (
    explain_position,
    first_order_words,
    position_row,
    remaining_words,
    with_counterweights,
)

V3_AT_BOTTOM = _vee([*PAIR, (80, -100, 0, 800 * 2 * math.cos(math.radians(80)))])


def _series(balance: Balance, angle: float) -> complex:
    """The force from its orders, free of any grid."""
    turns = np.exp(1j * balance.force.order * angle)
    return complex(np.sum(balance.force.forward * turns + balance.force.backward / turns))


@pytest.mark.parametrize("degrees", [40.0, 40.5, 123.4567, -319.5])
def test_force_is_that_of_the_very_angle(degrees):
    # independent: summed from its orders up to 12; the next ones are below (throw / rod)^12 of the first
    balance = find_balance(_case_file(V3_AT_BOTTOM))
    position = explain_position(balance, math.radians(degrees))
    assert position.angle == pytest.approx(math.radians(degrees % 360.0), abs=1e-12)
    assert position.force_at == pytest.approx(_series(balance, math.radians(degrees)), abs=1e-6 * balance.unit)


def test_least_and_greatest_are_those_of_a_finer_grid():
    # the least of an inline four lies between whole degrees, at a crossing of zero
    balance = find_balance(_case_file(_vee([(0, pin, 90.0 * n, 400) for n, pin in enumerate((0, 180, 180, 0))])))
    position = explain_position(balance, 0.0)
    sizes = np.abs(forces_at(balance.train, balance.about_crank.speed, np.linspace(0.0, 2.0 * math.pi, 36001)).force)
    assert len(position.least_angles) == 4
    assert position.force_least <= sizes.min()
    assert position.force_greatest >= sizes.max() * (1.0 - 1e-12)
    assert position.force_least < 1e-5 * position.force_greatest  # the zoom ends at 1e-5 degrees
    for angle in position.least_angles:
        assert abs(_series(balance, angle)) < 1e-5 * position.force_greatest


def test_claim_of_a_counterweight_that_cancels_at_the_dead_centres():
    # CHECKS section 4, derived: with the counterweight that makes it vanish where the pair is at top (crank angle 0),
    # the first order vanishes at 0° and 180° and is twice the backward part, here the pair's primary force, between
    case_file = _case_file(V3_AT_BOTTOM)
    before = explain_position(find_balance(case_file), 0.0)
    assert np.degrees(before.cancel_angles) == pytest.approx([90.0, 270.0], abs=1e-6)
    balance = find_balance(with_counterweights(case_file, (before.cancelling,)))
    position = explain_position(balance, 0.0)
    assert abs(position.first_order_at) < 1e-9 * balance.unit
    assert np.degrees(position.cancel_angles) % 180.0 == pytest.approx([0.0, 0.0], abs=1e-6)
    quarter = explain_position(balance, 0.5 * math.pi)
    assert abs(quarter.first_order_at) / balance.unit == pytest.approx(2.0, abs=1e-9)
    assert position.backward / balance.unit == pytest.approx(1.0, abs=1e-9)
    words = first_order_words(balance, position)
    assert words == (
        "first-order forces cancel at two angles (0°, 180°); with the best counterweights a backward-rotating force of "
        "1 F (half the primary force of 2 cylinders) remains at every angle"
    )


def test_best_counterweights_leave_the_backward_force_all_round():
    case_file = _case_file(V3_AT_BOTTOM)
    best = find_balance(case_file).counterweights
    balance = find_balance(with_counterweights(case_file, best))
    sizes = [abs(explain_position(balance, angle).first_order_at) for angle in np.linspace(0.0, 6.0, 7)]
    assert sizes == pytest.approx([balance.unit] * 7, rel=1e-9)
    assert "cancel at no angle" in first_order_words(balance, explain_position(balance, 0.0))
    assert all(weight.unbalance < 1e-12 for weight in balance.counterweights)


@pytest.mark.parametrize(
    ("cylinders", "expected"),
    [
        ([(0, 180.0 * n, 90.0 * n, 400) for n in range(2)], "first-order forces cancel at every angle"),
        ([(-45, 0, 0, 400), (45, 0, 0, 400)], "counterweights can take it"),
        ([(0, 0, 0, 400)], "first-order forces cancel at two angles (90°, 270°)"),
    ],
)
def test_words_of_usual_layouts(cylinders, expected):
    # textbook: a twin of opposite pins has no first-order force, that of a 90° twin turns with the crank, and a
    # single's passes zero at a quarter turn from its dead centres
    balance = find_balance(_case_file(_vee(cylinders)))
    position = explain_position(balance, 0.3)
    assert expected in first_order_words(balance, position)
    assert all(not clause.startswith("a counterweight can") for clause in remaining_words(balance, position)) == (
        position.backward < 1e-3 * balance.unit
    )


def test_force_that_stays_the_same_all_round():
    # derived: a single of a very long rod with half its mass balanced is a force turning backwards
    raw = single()
    raw["engine"] |= {"stroke_mm": 60.0, "rod_length_mm": 2e4, "rod": {"mass_g": 0.0}}
    raw["body"][0]["moving_parts"] = "separate"
    raw["engine"]["crank"]["unbalance_kg_mm"] = 0.5 * 0.280 * 30.0
    balance = find_balance(_case_file(raw))
    position = explain_position(balance, 1.0)
    for size in (position.force_least, position.force_greatest):  # the second order is throw / rod = 0.0015 of F
        assert size == pytest.approx(0.5 * balance.unit, abs=0.0016 * balance.unit)


def test_row_has_units_and_is_json():
    balance = find_balance(_case_file(_vee([(0, 0, 0, 500)])))
    row = json.loads(json.dumps(position_row(balance, explain_position(balance, 0.0))))
    # published: m·r·ω²·(1 + λ) at top dead centre
    assert row["force_N"] == pytest.approx(balance.unit * (1.0 + RODS), rel=1e-9)
    assert row["force_greatest_at_deg"] == pytest.approx(0.0, abs=1e-4)


def test_no_number_is_refused():
    balance = find_balance(_case_file(_vee([(0, 0, 0, 500)])))
    with pytest.raises(InputError, match="--explain: got nan; must be a crank angle"):
        explain_position(balance, math.nan)


def test_command_with_counterweights(command):
    code, out, err = command("balance", DEMO, "--explain", 40.5, "--with-counterweights")
    assert (code, err) == (0, "")
    words = " ".join(out.split())
    assert "added to the case, counterweight on the crank" in words
    assert "at crank angle 40.5° the free force" in words
    assert "cancel at no angle; a backward-rotating force of 1.04 F remains at every angle" in words
    found = json.loads(command("balance", DEMO, "--with-counterweights", "--json")[1])
    assert len(found["counterweights_added"]) == 2
    assert found["orders"][0]["force_N"]["forward"] < 1e-6
