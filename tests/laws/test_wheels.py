"""What wheels, anti-roll bars and occupants may not break: energy, momentum, passivity; a tyre only pushes."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.cases import packed
from tests.vehicle_cases import SEAT, car, energy, quarter_car
from vibsim.inputs.vehicle_models import SEATED_SHARE
from vibsim.solver.motion import derivatives, scratch
from vibsim.solver.observe import observe
from vibsim.solver.packed import Packed
from vibsim.solver.start import equilibrium, error_control, state_at
from vibsim.solver.stepper import MOST_STEPS, advance, grid, no_grid, start_stepper
from vibsim.structure.rotation import matrix_of
from vibsim.structure.vertical_parts import TURNING_SPEED, suspension, tyre

UNDAMPED = {"bump_damping_N_s_per_mm": 0.0, "rebound_damping_N_s_per_mm": 0.0, "tyre_damping_N_s_per_mm": 0.0}
STOPS = {
    "bump_stop_gap_mm": 25.0,
    "bump_stop_stiffness_N_per_mm": 90.0,
    "rebound_stop_gap_mm": 30.0,
    "rebound_stop_stiffness_N_per_mm": 70.0,
}


def _thrown(vehicle: Packed, speeds: np.ndarray, lift: float, duration: float, tolerance: float) -> np.ndarray:
    """States of a car let go above its rest at speeds (6: m/s, rad/s)."""
    moved = equilibrium(vehicle).displacement.copy()
    moved[0, 2] += lift
    y = state_at(vehicle, moved)
    parts = vehicle.model.parts
    assert parts is not None
    y[7:13] = parts.mass[0] @ speeds  # own axes but for the small tilt at rest
    stepper = start_stepper(y, vehicle.model, 1e-5)
    points = grid(0.0, 0.01, round(duration / 0.01) + 1, vehicle.state_size)
    control = error_control(vehicle, tolerance, MOST_STEPS)
    assert advance(stepper, vehicle.model, control, duration, math.inf, points, no_grid()) == 0
    return points.states


def test_a_car_without_dampers_keeps_its_energy_through_leaps_and_stops():
    raw = car(**UNDAMPED, **STOPS)
    del raw["occupant"]
    _, vehicle = packed(raw)
    states = _thrown(vehicle, np.array([0.3, 0.2, 0.8, 0.6, 0.5, 0.2]), 0.25, 2.0, 1e-10)
    force = observe(states, vehicle, ()).parts["tyre_force"][:, :, 2]
    assert (force == 0.0).any() and (force > 0.0).any()  # it left the road and came back
    level = np.array([energy(y, vehicle) for y in states])
    # the largest energy about is that of the fall, some 2 kJ; a tolerance of 1e-10 a step, kinks met at the road
    assert np.ptp(level) <= 1e-5 * 2e3


@settings(max_examples=8, deadline=None)
@given(
    speeds=st.lists(st.floats(-0.8, 0.8), min_size=6, max_size=6),
    lift=st.floats(-0.03, 0.2),
    bump=st.floats(0.0, 2.0),
    rebound=st.floats(0.0, 4.0),
)
def test_nothing_makes_energy(speeds, lift, bump, rebound):
    changes = {"bump_damping_N_s_per_mm": bump, "rebound_damping_N_s_per_mm": rebound}
    _, vehicle = packed(car(**changes, **STOPS))
    states = _thrown(vehicle, np.array(speeds), lift, 0.6, 1e-8)
    level = np.array([energy(y, vehicle) for y in states])
    assert np.diff(level).max() <= 1e-3  # J, of some kJ


def test_momentum_changes_by_weight_and_road_alone():
    _, vehicle = packed(car())
    states = _thrown(vehicle, np.array([0.4, -0.3, 0.5, 0.4, 0.3, 0.2]), 0.05, 0.3, 1e-8)
    parts = vehicle.model.parts
    assert parts is not None
    tyres = observe(states, vehicle, ()).parts["tyre_force"].sum(axis=1)
    weight = np.array([0.0, 0.0, -(600.0 + 4 * 30.0 + 75.0) * vehicle.model.gravity])
    heights = [wheel["state"] for wheel in parts.wheels]
    heights += [parts.occupants[0]["state"] + 2 * n for n in range(3)]
    masses = [30.0] * 4 + [parts.occupants[0][key] for key in ("frame", "first_mass", "second_mass")]
    for y, tyre_force in zip(states, tyres, strict=True):
        out, (w, e) = np.zeros_like(y), scratch(1)
        derivatives(y, vehicle.model, w, e, out)
        own = matrix_of(y[3:7])
        rate = own @ (out[7:10] + np.cross(w[0, 12:15], y[7:10]))
        rate[2] += sum(mass * out[height + 1] for mass, height in zip(masses, heights, strict=True))
        assert rate == pytest.approx(tyre_force + weight, abs=1e-8 * abs(weight[2]))


def test_the_body_carries_its_passengers_along_and_not_up():
    # derived: a push along X moves all that the car holds, one along Z the car and the passenger's legs alone
    raw = quarter_car()
    raw["occupant"] = [SEAT | {"at_mm": [0.0, 0.0, 700.0]}]
    parts = packed(raw)[1].model.parts
    assert parts is not None
    legs, seated = (1.0 - SEATED_SHARE) * 75.0, SEATED_SHARE * 75.0
    assert parts.mass[0][0, 0] == pytest.approx(320.0 + legs + seated + 30.0, rel=1e-12)
    assert parts.mass[0][2, 2] == pytest.approx(320.0 + legs, rel=1e-12)


def _wheel(**changes: Any) -> np.recarray:
    parts = packed(quarter_car(**changes))[1].model.parts
    assert parts is not None
    return parts.wheels.view(np.recarray)[0]


def test_a_damper_goes_smoothly_from_bump_to_rebound():
    wheel = _wheel(bump_damping_N_s_per_mm=0.5, rebound_damping_N_s_per_mm=2.0)
    drag = [suspension.py_func(wheel, 0.0, v)[0] - wheel.preload for v in (1e-6, -1e-6, 3.0, -3.0)]
    assert drag[0] == pytest.approx(-drag[1], rel=1e-4) and drag[0] == pytest.approx(1e-6 * 1250.0, rel=1e-4)
    # far from zero the rates are those asked for, but for a constant of their difference times the turning speed
    constant = 750.0 * TURNING_SPEED
    assert drag[2:] == pytest.approx([500.0 * 3.0 + constant, -2000.0 * 3.0 + constant], rel=1e-4)


def test_a_tyre_off_the_road_holds_nothing():
    wheel = _wheel()
    assert tyre.py_func(wheel, -1e-3, 1.0, 0.01, 0.01, 1.0, 1.0) == (0.0, 0.0, 0.0)
    assert tyre.py_func(wheel, 1e-3, -1e3, 0.0, 0.0, 0.0, 0.0)[2] == 0.0
