"""Cures for what is felt: forecasts of the linear model held against the time-domain run, before and after.

The linear model is good to about 2 % of the larger levels (see test_order_response); what a cure takes away is a
difference of two of them.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.conftest import DEMO
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import load_case, parse_case
from vibsim.studies.cures.cure import Aim, by_counterweights, by_shafts, cured, felt, sensor_goal
from vibsim.studies.run import run_case

CASE = load_case(DEMO)
SPEED = CASE.case.run.speed


def levels(results):
    mounts, sensors = results.groups["mount_forces"], results.groups["sensors"]
    return np.concatenate([mounts["resultant_rms"], sensors["resultant_rms"]])


def forecast(case):
    found = felt(case, SPEED)
    return np.array([*found["mounts"].values(), *found["sensors"].values()])


def check(before_case, before, after_case):
    """Every level of note, absolute and as a share of what it was."""
    after = levels(run_case(after_case))
    said_before, said_after = forecast(before_case), forecast(after_case)
    assert said_before == pytest.approx(before, rel=0.03)
    assert said_after == pytest.approx(after, rel=0.04)
    assert said_after / said_before == pytest.approx(after / before, abs=0.03)
    return after / before


def test_a_shaft_against_the_crank(demo_results):
    after = cured(CASE, by_shafts(CASE, Aim("force", (SPEED,)), 1.0, 1))
    share = check(CASE, levels(demo_results), after)
    seat = len(CASE.case.mount) + [sensor.name for sensor in CASE.case.sensor].index("seat")
    assert share[:4].max() < 0.65  # the four engine mounts
    assert share[seat] < 0.4


def test_counterweights_of_a_v3_they_can_balance():
    """The demo with the single's pin set back by 20° and its piston as heavy as it takes, crank unbalance left out."""
    text = CASE.text.replace("pin_deg = 100.0", "piston = { mass_g = 663.7 }\npin_deg = 20.0")
    text = "\n".join(line for line in text.splitlines() if not line.startswith("unbalance_kg_mm"))
    before = parse_case(text, CASE.folder)
    after = cured(before, by_counterweights(before, Aim("force", (SPEED,))))
    share = check(before, levels(run_case(before)), after)
    assert share[:4].max() < 0.5


@pytest.mark.parametrize("contact", ["plain", "seat"])
def test_no_other_counterweights_are_felt_less(contact):
    """Least squares has no better neighbour."""
    aim = Aim("sensor", (SPEED, 0.7 * SPEED), "seat", contact)
    goal = sensor_goal(CASE, aim, 1.0)
    weights = by_counterweights(CASE, aim).counterweights
    effect = [goal.effect(1.0, np.array(weight.place)) for weight in weights]
    now = goal.now + sum(e * w.unbalance * np.exp(1j * w.angle) for e, w in zip(effect, weights, strict=True))
    least = np.linalg.norm(now)
    assert least < np.linalg.norm(goal.now)
    for step in 1e-4 * np.exp(2j * np.pi * np.arange(8) / 8.0):
        for one in effect:
            assert np.linalg.norm(now + step * one) >= least


def test_the_goal_is_met_in_the_cured_case():
    """The level forecast for the goal is that of the written case, to the rounding of its numbers."""
    aim = Aim("sensor", (SPEED,), "seat", "plain")
    goal = sensor_goal(CASE, aim, 1.0)
    cure = by_counterweights(CASE, aim)
    left = goal.now + sum(
        goal.effect(1.0, np.array(w.place)) * w.unbalance * np.exp(1j * w.angle) for w in cure.counterweights
    )
    again = sensor_goal(cured(CASE, cure), aim, 1.0).now
    assert again == pytest.approx(left, abs=2e-2 * np.abs(goal.now).max())  # the mean inertia moves with the weights


def test_an_unknown_sensor_is_named():
    with pytest.raises(InputError, match="--sensor: got 'saddle'"):
        by_counterweights(CASE, Aim("sensor", (SPEED,), "saddle"))
