"""Pumps and alternator: the power of their own shaft over crank speed, by hand and by worked examples."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from tests.cases import accessories, packed, single
from vibsim.engine.accessories import accessory_torque, pack_accessory
from vibsim.inputs.models import Engine

RPM = math.pi / 30.0


def record(**accessory: Any) -> Any:
    raw = single()
    raw["engine"]["accessory"] = [{"name": "it", **accessory}]
    engine = packed(raw)[0].engine
    assert isinstance(engine, Engine)
    return pack_accessory(engine.accessory[0], 0)[()]


def power(item: Any, speed: float) -> float:
    return float(accessory_torque(speed, item)) * speed


def test_water_pump_takes_its_rated_power_at_its_rated_speed() -> None:
    """Derived: power with the cube of speed, through a ratio."""
    pump = record(kind="water_pump", ratio=1.25, rated_power_kW=0.8, rated_speed_rpm=5000.0)
    assert power(pump, 4000.0 * RPM) == pytest.approx(800.0, rel=1e-12)
    assert power(pump, 2000.0 * RPM) == pytest.approx(100.0, rel=1e-12)
    assert accessory_torque(-2000.0 * RPM, pump) == pytest.approx(-accessory_torque(2000.0 * RPM, pump), rel=1e-14)


@pytest.mark.parametrize("ratio", [0.7, -0.7])
def test_oil_pump_takes_the_work_of_its_displacement(ratio: float) -> None:
    """Derived: 12 cm³ a turn at 5 bar and 80 % is 7.5 J a turn, at any speed and whichever way it turns."""
    pump = record(kind="oil_pump", ratio=ratio, displacement_cm3=12.0, relief_pressure_bar=5.0, efficiency=0.8)
    for speed in (50.0, 500.0):
        assert 2.0 * math.pi * accessory_torque(speed, pump) == pytest.approx(0.7 * 7.5, rel=1e-12)


def test_alternator_worked_examples() -> None:
    """Published, P+, seen: headlights of 10 A from a 12 V alternator of 80 % take 0.20 hp of 746 W (holooly.com,
    1915302); 3000 W at 1500 rpm is about 19.1 N m (calculatorshub.net, alternator torque; no loss)."""
    lights = record(kind="alternator", electrical_power_W=120.0, efficiency=0.8, ratio=2.0)
    assert power(lights, 3000.0 * RPM) / 746.0 == pytest.approx(0.20, abs=0.005)
    assert power(lights, 3000.0 * RPM) == pytest.approx(150.0, rel=1e-12)
    big = record(kind="alternator", electrical_power_W=3000.0, efficiency=1.0)
    assert accessory_torque(1500.0 * RPM, big) == pytest.approx(19.1, abs=0.05)


def test_alternator_cuts_in_and_keeps_to_its_torque() -> None:
    keys = {"electrical_power_W": 1200.0, "efficiency": 0.6, "ratio": 2.5, "cut_in_speed_rpm": 1000.0}
    free, limited = record(kind="alternator", **keys), record(kind="alternator", torque_limit_N_m=6.0, **keys)
    crank = np.arange(0.0, 4000.0, 0.5) * RPM
    for item in (free, limited):
        torque = np.array([accessory_torque(speed, item) for speed in crank])
        assert not torque[crank <= 400.0 * RPM].any()
        # no jump: the load comes on over 80 rpm of the crank, so a step of 0.5 rpm is no more than its hundredth
        assert np.abs(np.diff(torque)).max() < 0.01 * torque.max()
    assert accessory_torque(700.0 * RPM, limited) == 15.0  # 6 N m on its own shaft
    assert power(free, 700.0 * RPM) == pytest.approx(2000.0, rel=1e-12)
    assert power(limited, 3000.0 * RPM) == pytest.approx(2000.0, rel=1e-12)
    assert power(free, -3000.0 * RPM) == pytest.approx(2000.0, rel=1e-12)  # brakes either way


def test_constant_accessory_through_its_ratio() -> None:
    assert accessory_torque(200.0, record(kind="constant", ratio=-1.5, torque_N_m=0.6)) == pytest.approx(0.9, rel=1e-14)


def test_only_what_needs_it_gets_a_record() -> None:
    raw = single()
    raw["engine"]["accessory"] = accessories()
    assert packed(raw)[1].model.losses.size == 3  # friction, all that the block reacts, the alternator
    raw["engine"]["accessory"][0]["reacted_by"] = "ground"
    model = packed(raw)[1].model
    assert model.losses["body"][2:].tolist() == [-1, 0]
    assert model.losses["dry"][1] > 0.0
    assert model.losses["square"][1] == 0.0


def test_inertia_is_felt_like_that_of_a_balance_shaft() -> None:
    shaft, accessory = single(), single()
    shaft["engine"]["balance_shaft"] = [
        {"ratio": -2.0, "angle_deg": 0.0, "unbalance_kg_mm": 0.0, "inertia_kg_mm2": 500.0}
    ]
    accessory["engine"]["accessory"] = [
        {"name": "a", "kind": "constant", "torque_N_m": 0.0, "ratio": -2.0, "inertia_kg_mm2": 500.0}
    ]
    one, other = packed(shaft)[1].model.train, packed(accessory)[1].model.train
    for name in ("rotor_inertia", "rotor_momentum", "axial_inertia"):
        assert getattr(one, name) == getattr(other, name)
    assert other.rotor_inertia == pytest.approx(0.02 + 4.0 * 5e-4, rel=1e-14)
