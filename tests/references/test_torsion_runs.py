"""Runs with rotors against the linear torsional model and against power balances."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from tests.cases import CONFIGS, as_file, mount, single
from tests.rotor_cases import rotor, shaft
from vibsim.inputs.loader import build_case, load_case
from vibsim.inputs.models import Case
from vibsim.solver.crank_torque import mean_torque
from vibsim.solver.frequency import gyroscopic
from vibsim.solver.linearise import linearise
from vibsim.solver.order_response import order_response
from vibsim.solver.packed import pack
from vibsim.solver.push_parts import push_parts
from vibsim.solver.simulate import simulate
from vibsim.studies.alike import run_at
from vibsim.studies.sizing.bench import Bench, Needs
from vibsim.studies.torsion import torsion_of

SPEED = 3000.0 * math.pi / 30.0


def geared(inertia_free: bool) -> dict[str, Any]:
    """A mounted single with a twisting crank, a soft clutch and a heavy wheel behind a gear that carries the load."""
    raw = single()
    raw["engine"] |= {"gas": {"source": "motored"}, "load": {"law": "none", "rotor": "wheel"}}
    raw["engine"]["crank"] |= {
        "inertia_kg_m2": 0.06,
        "torsion": {"throw_inertia_kg_m2": 0.006, "nose_inertia_kg_m2": 0.002, "stiffness_N_m_per_rad": [4e4, 6e4]},
    }
    if inertia_free:
        raw["engine"] |= {"piston": {"mass_g": 0.0}, "rod": {"mass_g": 0.0}}
    raw["rotor"] = [rotor("pulley", 0.003), rotor("wheel", 20.0, ratio=0.1, body="ground")]
    raw["shaft"] = [
        shaft("nose", "pulley", 6e3, damping_N_m_s_per_rad=1.2),
        shaft("flywheel", "wheel", 900.0, damping_N_m_s_per_rad=4.0),
    ]
    raw["mount"] = [
        mount(f"m{n}", at_mm=at, damping_N_s_per_mm=[1.5, 1.5, 1.5])
        for n, at in enumerate(([300, 200, 0], [-300, 200, 0], [0, -200, 0]))
    ]
    raw["run"] |= {"kind": "steady", "speed_rpm": 3000.0, "settle_tolerance": 1e-5, "start": "drawn", "gravity": False}
    return raw


def with_sensor() -> Case:
    raw = geared(inertia_free=True)
    raw["sensor"] = [{"name": "bracket", "body": raw["body"][0]["name"], "at_mm": [200.0, 100.0, 50.0]}]
    return build_case(raw)


@pytest.fixture(scope="module")
def settled():
    return simulate(with_sensor(), CONFIGS)


def test_orders_of_twist_and_torque_are_those_of_the_linear_model(settled) -> None:
    """Reference: with massless pistons and a heavy block the run is the linear model at constant speed, but for the
    crank's own swing in speed (a share of 2e-3) and the block's roll."""
    answer = torsion_of(as_file(geared(inertia_free=True)), (0.9 * SPEED, 1.1 * SPEED)).answer
    assert answer is not None and settled.settling.settled
    at = int(np.abs(answer.speeds - SPEED).argmin())
    torque = settled.over_angle.shaft_torque
    found = 2.0 * np.abs(np.fft.rfft(torque, axis=0))[1 : 1 + len(answer.orders)] / len(torque)
    wanted = np.abs(answer.torque[at])
    assert found == pytest.approx(wanted, abs=0.01 * wanted.max(axis=0).min() + 0.02 * wanted.max())
    strongest = wanted.argmax(axis=0)
    for link, order in enumerate(strongest):
        assert found[order, link] == pytest.approx(wanted[order, link], rel=0.02)


def orders_of(course: np.ndarray) -> np.ndarray:
    return 2.0 * np.fft.fft(course, axis=0)[:25] / len(course)


def test_mounts_and_sensors_feel_a_twisting_crank_as_in_a_run(settled) -> None:
    """Reference: the linear model with rotors. On a heavy block and with massless pistons what is left is second order
    in its roll and in the swing of the speed (2e-4 and 1.4e-2 squared); a crank rigid in it misses by 3e-3 and more."""
    case, load = with_sensor(), settled.settling.load_torque
    response = order_response(settled.packed, case.sensor, SPEED, load, case.mount)
    sensors, mounts = response.over_angle()
    seen = settled.over_angle
    for found, course in ((sensors, seen.sensor_acceleration), (mounts, seen.mount_force)):
        wanted = orders_of(course)
        for step in range(1, 7):
            assert np.abs(found[step] - wanted[step]).max() < 1e-3 * np.abs(wanted[step]).max()
    speed = seen.crank_speed
    assert response.push.swing == pytest.approx(np.ptp(speed) / speed.mean(), rel=0.05)  # orders up to 24


def test_rotors_that_turn_freely_leave_their_inertia_behind(settled) -> None:
    """Law: a block that rolls about the axis of rotors in bearings moves none of them and twists no shaft, wherever its
    ends are carried, so the bodies' matrices are those of a free crank."""
    case = with_sensor()
    model = order_response(settled.packed, case.sensor, SPEED, 0.0, case.mount).model
    free, rate = linearise(settled.packed, 0.0, crank="free", speed=SPEED), 2.0 * SPEED
    assert model.rotors is not None and np.abs(model.linear.mass - free.mass).max() > 0.05  # kg m², the whole crank
    turning = model.dynamic_stiffness(rate) - 1j * rate * gyroscopic(settled.packed, SPEED)
    wanted = free.stiffness + 1j * rate * free.damping - rate**2 * free.mass
    assert np.abs(turning - wanted).max() < 1e-9 * np.abs(wanted).max()  # rounding


def test_parts_of_the_push_add_up_with_rotors(settled) -> None:
    """Law: gas and masses of every cylinder, each through the rotors it turns, give the whole push to rounding."""
    case, load = with_sensor(), settled.settling.load_torque
    response = order_response(settled.packed, case.sensor, SPEED, load, case.mount)
    parts = push_parts(settled.packed, case.engine, SPEED, load)
    assert response.model.rotors is response.push.rotors is not None
    for step in (1, 2, 5):
        rate = step / response.turns * SPEED
        each = parts.amplitude[:, step].T + response.model.rotors.handed(rate, parts.torque[:, step].T)
        whole = response.excitation(step / response.turns)
        assert np.abs(each.sum(axis=1) - whole).max() < 1e-9 * np.abs(whole).max()
        kinds = [source.kind for source in parts.sources]
        # massless pistons: what the block feels is the gas
        assert np.abs(each[:, kinds.index("gas")] - whole).max() < 1e-3 * np.abs(whole).max()


@pytest.mark.slow  # rest of many sets of mounts compiles anew with rotors
def test_sizing_answers_orders_with_rotors_as_one_case_does() -> None:
    """Reference: the bench of `vibsim size` against the linear model of the case, one set of mounts."""
    raw = geared(inertia_free=True)
    raw["sensor"] = [{"name": "bracket", "body": raw["body"][0]["name"], "at_mm": [200.0, 100.0, 50.0]}]
    file = as_file(raw)
    needs = Needs(mounts=True)
    lanes = [needs.lane(SPEED, order) for order in (0.5, 1.0, 2.0)]
    found = Bench(file, needs).answer([file.case.mount])
    packed = pack(run_at(file, SPEED).case, file.folder)
    response = order_response(packed, file.case.sensor, SPEED, mean_torque(packed, SPEED), file.case.mount)
    for lane, order in zip(lanes, (0.5, 1.0, 2.0), strict=True):
        moved = response.displacement(order, response.excitation(order))
        for mine, wanted in (
            (found.felt[0, lane], response.sensors(order, moved)),
            (found.mount[0, lane], response.mounts(order, moved)),
        ):
            assert np.abs(mine - wanted).max() < 1e-5 * np.abs(wanted).max()  # slopes by differences


@pytest.mark.slow  # a run of the van: 200 cycles until it settles
def test_what_a_driveline_hands_on_to_the_chassis() -> None:
    """Reference: the run of the shipped van, whose clutch rubs dry near resonance. Equivalent damping is good to some
    per cent of the order that rubs most; a rigid crank misses the chassis by a third and more."""
    file = load_case(CONFIGS / "inline-4-van-driveline.toml")
    ran = simulate(file.case, file.folder)
    response = order_response(
        ran.packed, file.case.sensor, file.case.run.speed, ran.settling.load_torque, file.case.mount
    )
    wanted, found = orders_of(ran.over_angle.sensor_acceleration), response.over_angle()[0]
    for order in (2, 4):
        assert np.abs(found[2 * order] - wanted[2 * order]).max() < 0.08 * np.abs(wanted[2 * order]).max()


def test_a_settled_run_passes_the_mean_torque_through_its_shafts(settled) -> None:
    """Law: over a whole cycle the mean torque of the driveline is that of the load, and behind the gear ten times."""
    seen = settled.over_angle
    # mean over equal steps of the angle of what turns at constant speed; settled to 1e-5 of its swing
    swing = float(np.ptp(seen.shaft_torque[:, -1]))
    assert seen.shaft_torque[:, -1].mean() == pytest.approx(settled.settling.load_torque, abs=1e-3 * swing)
    assert seen.shaft_torque[:, -2].mean() == pytest.approx(0.0, abs=1e-3 * swing)
    assert settled.settling.mean_speed == pytest.approx(SPEED, rel=1e-4)
    assert seen.rotor_speed[:, -1].mean() == pytest.approx(0.1 * SPEED, rel=1e-4)


def test_run_stays_where_it_settled(settled) -> None:
    """Law: a periodic state repeats: the record's first and last cycle have the same shaft torques."""
    turn = round(4.0 * math.pi / SPEED * 10000.0)
    torque = settled.over_time.shaft_torque
    assert torque[-1 - turn] == pytest.approx(torque[-1], abs=2e-3 * float(np.ptp(torque)))
