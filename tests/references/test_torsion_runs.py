"""Runs with rotors against the linear torsional model and against power balances."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from tests.cases import CONFIGS, as_file, mount, single
from tests.rotor_cases import rotor, shaft
from vibsim.inputs.loader import build_case
from vibsim.solver.simulate import simulate
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


@pytest.fixture(scope="module")
def settled():
    return simulate(build_case(geared(inertia_free=True)), CONFIGS)


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
