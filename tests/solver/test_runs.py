"""Runs: grids, steady settling, and runs that cannot be carried through."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.cases import CONFIGS, accessories, mount, single
from vibsim.engine.packed_gas import cylinder_pressure
from vibsim.inputs.errors import InputError, RunFailure
from vibsim.inputs.loader import build_case, parse_case
from vibsim.solver.packed import pack
from vibsim.solver.simulate import simulate
from vibsim.solver.steady import SPEED_GAIN, TREND_GAIN
from vibsim.studies.new_case import new_case


def _mounted(**run) -> dict:
    raw = single()
    raw["body"][0]["centre_of_mass_mm"] = [0.0, 0.0, 0.0]
    places = {"rubber": [0.0, -250.0, 0.0], "left": [200.0, 200.0, 0.0], "right": [-200.0, 200.0, 50.0]}
    raw["mount"] = [mount(name, at_mm=at, damping_N_s_per_mm=[0.5, 0.5, 0.5]) for name, at in places.items()]
    raw["run"] |= run
    return raw


def test_free_run_keeps_its_grids():
    solution = simulate(build_case(_mounted(duration_s=0.25, sample_rate_Hz=2000.0)))
    assert len(solution.time) == 501
    assert solution.time[-1] == 0.25
    assert solution.over_time.crank_angle[0] == 0.0
    assert solution.over_time.crank_speed[0] == pytest.approx(100.0 * math.pi, rel=1e-12)
    turned = solution.over_time.crank_angle[-1]
    assert len(solution.angle) == 720 * int(turned / (4.0 * math.pi))
    # the angle grid is met to the root finder's tolerance
    np.testing.assert_allclose(solution.over_angle.crank_angle, solution.angle, rtol=0, atol=1e-9)


def test_free_run_of_nothing_turning_has_no_cycles():
    solution = simulate(build_case(_mounted(speed_rpm=0.0)))
    assert solution.angle is None


def test_free_run_may_turn_backwards():
    solution = simulate(build_case(_mounted(speed_rpm=-3000.0)))
    assert solution.over_time.crank_angle[-1] < -50.0


@pytest.mark.parametrize(
    ("gas", "driven"),
    [({"source": "motored"}, []), ({"source": "cycle"}, accessories()), ({"source": "none"}, accessories())],
)
def test_steady_run_settles_at_its_mean_speed(gas, driven):
    raw = _mounted(kind="steady", duration_s=0.1, settle_tolerance=1e-4, start="static", gravity=True)
    raw["engine"]["gas"] = gas
    raw["engine"] |= {"friction": {"torque_N_m": 2.0}, "accessory": driven}
    solution = simulate(build_case(raw))
    settling = solution.settling
    assert settling.settled
    assert settling.residual < 1e-4
    assert settling.mean_speed == pytest.approx(100.0 * math.pi, rel=1e-4)
    # law: over a settled cycle the load takes what gas gives less friction, accessories and what shakes the mounts
    # (inertia torque). Left out is crank inertia times the block's roll acceleration (0.02 kg m^2, some 200 rad/s^2),
    # which does work only on the fluctuation of speed, about a hundredth
    over = solution.over_angle
    accessory = over.accessory_torque if driven else 0.0
    assert (over.accessory_torque is not None) == bool(driven)
    work = np.mean(over.gas_torque + over.inertia_torque - over.friction_torque - accessory)
    assert settling.load_torque == pytest.approx(work, abs=0.04)
    assert np.mean(over.inertia_torque) < 0.0
    np.testing.assert_allclose(solution.over_angle.crank_angle, solution.angle, rtol=0, atol=1e-9)


def test_steady_load_law_stays_in_force():
    raw = _mounted(kind="steady", duration_s=0.05)
    raw["engine"]["gas"] = {"source": "cycle"}
    raw["engine"]["load"] = {"law": "dynamometer", "speed_rpm": 3000.0, "slope_N_m_s": 0.5}
    over = simulate(build_case(raw)).over_angle
    slope = np.polyfit(over.crank_speed, over.load_torque, 1)[0]
    assert slope == pytest.approx(0.5, rel=1e-6)


def test_half_the_load_gives_less_torque():
    torques = []
    for load in (1.0, 0.4):
        raw = _mounted(kind="steady", duration_s=0.02, load=load)
        raw["engine"]["gas"] = {"source": "cycle"}
        torques.append(simulate(build_case(raw)).settling.load_torque)
    assert 0.0 < torques[1] < 0.6 * torques[0]


@pytest.mark.parametrize("index", [0, 2])
def test_stiff_run_names_quantity_time_and_key(index):
    raw = _mounted(start="drawn", gravity=True)
    raw["mount"][index]["damping_N_s_per_mm"] = [1e9, 1e9, 1e9]
    name = raw["mount"][index]["name"]
    key = rf"mount\[{index + 1}\].damping \('{name}'\)"
    with pytest.raises(RunFailure, match=rf"stiff or diverging: .* at .* s \(crank revolution .*check {key}"):
        simulate(build_case(raw))


def test_runaway_engine_is_stopped():
    raw = _mounted(speed_rpm=3000.0, duration_s=60.0)
    raw["engine"]["crank"]["inertia_kg_m2"] = 0.0005
    raw["engine"]["gas"] = {"source": "cycle"}
    with pytest.raises(RunFailure, match=r"crank .* ran away at .*check engine.load"):
        simulate(build_case(raw))


def test_engine_too_weak_to_turn_over_stalls():
    raw = _mounted(kind="steady", speed_rpm=60.0)
    raw["engine"]["crank"]["inertia_kg_m2"] = 0.001
    raw["engine"]["gas"] = {"source": "motored"}
    with pytest.raises(RunFailure, match=r"stalled: it cannot turn a cycle at run.speed 60 rpm"):
        simulate(build_case(raw))


def test_case_without_a_run_table():
    raw = single()
    del raw["run"]
    with pytest.raises(InputError, match=r"run: is missing"):
        simulate(build_case(raw))


def test_road_load_stops_the_engine_and_does_not_drive_it():
    raw = _mounted(speed_rpm=300.0, duration_s=2.0, sample_rate_Hz=1000.0)
    raw["engine"]["load"] = {"law": "road", "torque_N_m": 20.0}
    speed = simulate(build_case(raw)).over_time.crank_speed
    assert np.abs(speed[-100:]).max() < 0.5


def test_angle_grid_grows_with_an_engine_that_speeds_up():
    raw = _mounted(speed_rpm=800.0, duration_s=1.0)
    raw["engine"]["load"] = {"law": "constant", "torque_N_m": -20.0}
    solution = simulate(build_case(raw))
    turned = solution.over_time.crank_angle[-1]
    assert turned > 4.0 * 800.0 / 60.0 * 2.0 * math.pi
    assert len(solution.angle) == 720 * int(turned / (4.0 * math.pi))


def test_free_run_past_the_speeds_of_its_gas_is_refused():
    raw = _mounted(speed_rpm=1000.0, duration_s=1.5)
    raw["engine"]["gas"] = {"source": "cycle"}
    with pytest.raises(RunFailure, match=r"past the 3000 rpm that engine.gas was computed for; check engine.load"):
        simulate(build_case(raw))


def test_gas_that_depends_on_speed_is_the_same_turning_backwards():
    raw = _mounted(speed_rpm=3000.0)
    raw["engine"]["gas"] = {"source": "cycle"}
    gas = pack(build_case(raw), CONFIGS).model.gas
    assert cylinder_pressure(0, 0.1, -300.0, gas) == cylinder_pressure(0, 0.1, 300.0, gas)


def test_record_shorter_than_a_cycle_still_has_the_whole_cycle():
    raw = _mounted(kind="steady", duration_s=0.004)
    raw["engine"]["gas"] = {"source": "cycle"}
    solution = simulate(build_case(raw))
    assert len(solution.time) == 41
    assert solution.over_angle.cylinder_pressure.max() > 30e5


def test_unstable_equilibrium_is_refused():
    raw = _mounted(start="static", gravity=True)
    raw["body"][0] |= {"centre_of_mass_mm": [0.0, 0.0, 3000.0], "moving_parts": "separate"}
    for item in raw["mount"]:
        item["stiffness_N_per_mm"] = [15.0, 15.0, 15.0]
    with pytest.raises(RunFailure, match=r"static equilibrium is unstable: body 'powertrain' tips over in"):
        simulate(build_case(raw))


def test_well_balanced_engine_settles_with_tightened_integration():
    # the mounts of an inline four carry a few newtons, which the errors of integration at 1e-6 drown
    case = parse_case(new_case("inline-4", 1400.0)).case
    assert case.run is not None
    case = case.model_copy(update={"run": case.run.model_copy(update={"settle_tolerance": 3e-5})})
    settling = simulate(case).settling
    assert settling.settled
    assert settling.relative_tolerance < 1e-6
    assert settling.cycles < 400


def test_governor_on_a_rigid_rotor_converges_as_stated():
    # derived: with u the speed gained per cycle at the present torque, the mean speed's error e follows
    # u' = u − trend·(u + u₋)/2 − speed·e and e' = e + (u' + u)/2; the size of its slowest root is the rate
    trend, speed = TREND_GAIN, SPEED_GAIN
    step = [[1 - speed / 2, 1 - trend / 4, -trend / 4], [-speed, 1 - trend / 2, -trend / 2], [0, 1, 0]]
    assert np.abs(np.linalg.eigvals(step)).max() == pytest.approx(0.61, abs=0.005)
