"""Laws of a clutch that closes: momentum at lock, work lost in slipping, no chatter; two inertias by themselves.

Two inertias J1 at Ω and J2 at rest under a constant clutch torque C (derived): they meet at J1·Ω/(J1 + J2) after
t = J·Ω/C with J = J1·J2/(J1 + J2), and ½·J·Ω² is lost.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numba import njit

from tests.cases import packed, single
from tests.rotor_cases import rotor
from vibsim.engine.shaft_law import FRICTION_RATE
from vibsim.inputs.loader import build_case
from vibsim.solver.clutch_motion import BITING, CLOSED, OPEN, capacity_at, slipping, transmitted
from vibsim.solver.clutch_pack import behind, biting, opened
from vibsim.solver.clutch_seen import see_clutch
from vibsim.solver.simulate import simulate

FIRST, SECOND, SPEED = 0.2, 0.3, 200.0  # kg m², kg m², rad/s
STIFFNESS, DAMPING = 4e4, 30.0  # N m/rad, N m s/rad
REDUCED = FIRST * SECOND / (FIRST + SECOND)
MET = FIRST * SPEED / (FIRST + SECOND)


@njit
def _close(points, step, limits, push, friction, found):
    """Two inertias joined by a clutch, a torque `push` (points) on the second; explicit midpoint at constant steps."""
    y = np.array([SPEED, 0.0, 0.0, 0.0])  # speeds, twist, work lost
    for n in range(points):
        found[n, 0], found[n, 1], found[n, 3] = y[0], y[1], y[3]
        kept, rate = y.copy(), np.zeros(4)
        for half in (0.5, 1.0):
            way = y[0] - y[1]
            torque = STIFFNESS * y[2] + DAMPING * way + friction * np.tanh(way / 0.2)
            held, turns = transmitted(y[2], way, STIFFNESS * y[2], torque, DAMPING, friction, 0.0, 0.0, limits[n])
            rate[0], rate[1], rate[2] = -held / FIRST, (held + push[n]) / SECOND, turns
            rate[3] = held * (way - turns)
            found[n, 2], found[n, 4] = held, way - turns
            y = kept + half * step * rate
    return y


def close(
    capacity: float, seconds: float, push: float = 0.0, friction: float = 0.0, rise: float = 0.0
) -> tuple[np.ndarray, np.ndarray]:
    """Times (n) and columns: speeds, torque, work lost, slip speed."""
    step = 1e-5
    time = np.arange(round(seconds / step)) * step
    limits = np.array([capacity_at.py_func(at, BITING, capacity, 0.0, rise) for at in time])
    found = np.zeros((time.size, 5))
    _close(time.size, step, limits, np.where(time > 0.5 * seconds, push, 0.0), friction, found)
    return time, found


@pytest.mark.parametrize("friction", [0.0, 12.0], ids=["spring and damper", "with dry friction"])
def test_two_inertias_lock_with_the_momentum_and_loss_of_the_closed_form(friction: float) -> None:
    capacity = 150.0
    time, found = close(capacity, 0.4, friction=friction)
    locked = time[np.flatnonzero(np.abs(found[:, 4]) > 1e-9)[-1]]
    # the disc winds up by C/k first, which the speed of slipping lacks: C²/(2k) of the work and as much time
    wound = capacity / STIFFNESS
    assert locked == pytest.approx(REDUCED * SPEED / capacity, rel=2e-3)
    assert found[-1, :2] == pytest.approx([MET, MET], rel=1e-4)
    assert FIRST * found[:, 0] + SECOND * found[:, 1] == pytest.approx(FIRST * SPEED, rel=1e-9)
    assert found[-1, 3] == pytest.approx(0.5 * REDUCED * SPEED**2, abs=2.0 * capacity * wound)
    assert np.all(np.diff(found[:, 3]) >= -1e-12)  # slipping only loses


def test_a_locked_clutch_neither_chatters_nor_creeps() -> None:
    """Once locked it slips no more and the speeds stay together, to what is left of the shaft's own swing."""
    time, found = close(150.0, 0.8)
    after = time > 0.5
    assert np.all(found[after, 4] == 0.0)
    turns = np.count_nonzero(np.diff(np.abs(found[:, 4]) > 0.0))
    assert turns <= 3  # from holding in the first step to slipping, then locked
    assert np.ptp(found[after, 0] - found[after, 1]) < 1e-6


def test_it_slips_again_where_more_is_asked_than_it_holds() -> None:
    """Locked, J2 is driven by 600 N m: to keep together takes J1/(J1 + J2)·600 = 240 N m, more than the 150 it holds;
    driven by 300 N m, 120, it holds."""
    for push, slips in ((600.0, True), (300.0, False)):
        time, found = close(150.0, 0.8, push=push)
        late = time > 0.6
        assert np.all(np.abs(found[late, 4]) > 0.0) == slips
        assert found[late, 2] == pytest.approx(-150.0 if slips else -120.0, rel=1e-6)


def test_capacity_comes_on_over_its_time() -> None:
    _, quick = close(150.0, 0.6)
    _, slow = close(150.0, 0.6, rise=0.2)
    assert slow[:, 2].max() < quick[:, 2].max() * (1.0 + 1e-9)
    assert slow[1000, 2] == pytest.approx(150.0 * 0.01 / 0.2, rel=1e-9)
    assert slow[-1, 3] == pytest.approx(quick[-1, 3], rel=5e-3)  # the loss does not hang on how it closes
    assert capacity_at.py_func(1.0, OPEN, 150.0, 0.0, 0.0) == capacity_at.py_func(0.1, BITING, 9.0, 0.2, 0.0) == 0.0


@pytest.mark.parametrize("limit", [0.0, 40.0, -300.0])
def test_slipping_rate_is_the_one_at_which_spring_damper_and_friction_carry_the_limit(limit: float) -> None:
    """By the torque itself at the rate found; friction turns over within a hundredth of what the damper may take."""
    for spring in (0.0, 5.0, -80.0, 200.0):
        for friction in (0.0, 6.0, 90.0):
            for rate in (62.0, -400.0, 0.0):
                found = slipping.py_func(spring, 0.3, friction, rate, limit)
                carried = spring + 0.3 * found + friction * np.tanh(found / FRICTION_RATE)
                assert carried == pytest.approx(limit, abs=1e-9 * (abs(spring) + friction + 1.0))


def clutched(**clutch: Any) -> dict[str, Any]:
    """A floating single without gas, friction or load, and two rotors behind its flywheel."""
    raw = single()
    raw["engine"]["crank"]["inertia_kg_m2"] = 0.15
    raw["rotor"] = [rotor("gearbox", 0.01), rotor("vehicle", 0.3, body="ground")]
    damped = {"damping_N_m_s_per_rad": 20.0}
    raw["shaft"] = [
        {"name": "disc", "between": ["flywheel", "gearbox"], "stiffness_N_m_per_rad": 2e4} | damped,
        {"name": "line", "between": ["gearbox", "vehicle"], "stiffness_N_m_per_rad": 1e4} | damped,
    ]
    raw["run"] |= {"step_at_s": 0.05, "duration_s": 0.6, "sample_rate_Hz": 5000.0}
    raw["run"]["clutch"] = {"shaft": "disc", "capacity_N_m": 150.0, "duration_s": 0.0} | clutch
    return raw


def test_what_lies_behind_the_clutch_is_apart_while_it_is_open() -> None:
    case, model = packed(clutched(driven_speed_rpm=500.0))
    rotors, found = model.model.rotors, model.drivetrain
    assert rotors is not None and rotors.clutch is not None and found is not None
    assert rotors.clutch.mode == CLOSED and behind(found, 0).tolist() == [False, True, True]
    assert behind(found, 1).tolist() == [False, False, True]
    parted = opened(model)
    assert parted.drivetrain is not None and parted.drivetrain.driven_inertia == 0.0
    assert parted.drivetrain.load == 0 and found.driven_inertia == pytest.approx(0.31)
    closing = biting(parted, model, 0.1)
    assert closing.drivetrain is found and closing.model.rotors is not None and closing.model.rotors.clutch is not None
    assert (closing.model.rotors.clutch.mode, closing.model.rotors.clutch.begins) == (BITING, 0.1)
    assert case.run is not None and opened(packed(single())[1]).model.rotors is None


def test_clutch_is_seen_slipping_and_held() -> None:
    model = packed(clutched())[1]
    closing = biting(model, model, 0.0)
    assert closing.model.rotors is not None and closing.model.rotors.clutch is not None
    states = np.zeros((3, closing.state_size))
    states[:, closing.model.rotors.clutch.at] = [0.0, 0.1, 0.2]
    seen = see_clutch(
        states, closing, np.array([[300.0, 0.0, 0.0]] * 3), np.array([[150.0, 0.0], [90.0, 0.0], [-150.0, 0.0]])
    )
    assert seen["clutch_slips"].tolist() == [1.0, 0.0, 1.0]
    assert seen["clutch_capacity"].tolist() == [150.0] * 3 and seen["clutch_slip_speed"].tolist() == [300.0] * 3


@pytest.mark.slow
def test_engine_and_vehicle_meet_and_lose_what_the_closed_form_says() -> None:
    """The whole model: nothing happens before it bites; then the floating engine's crank and the vehicle meet."""
    seen_by, time = simulate(build_case(clutched())), np.arange(3001) / 5000.0
    seen = seen_by.over_time
    slips, lost = seen.parts["clutch_slips"], seen.parts["clutch_lost_energy"]
    assert seen.rotor_speed is not None and np.array_equal(seen_by.time, time)
    # speeds are against the bodies: the floating block rolls a little as its crank's speed swings
    assert np.all(slips[time < 0.05] == 0.0) and np.abs(seen.rotor_speed[time < 0.05, 1:]).max() < 1.0
    assert slips[(time > 0.06) & (time < 0.08)].all() and not slips[time > 0.5].any()
    assert seen.rotor_speed[-1, 1:] == pytest.approx(seen.rotor_speed[-1, [0, 0]], rel=1e-2)
    # felt inertia of the single, the mean over a turn; it swings by 8 % and the block rolls with it
    crank = 0.15 + (0.5 * 0.28 + 0.34 * (1.0 - 0.5 * 36.0 / 118.0)) * 0.02925**2
    expected = 0.5 * crank * 0.31 / (crank + 0.31) * seen.crank_speed[0] ** 2
    assert lost[-1] == pytest.approx(expected, rel=0.03)
