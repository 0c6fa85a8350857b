"""From keys to packed parts: what the kernels read is what the case says, compiled or plain."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from numba import config

from tests.engine.charging import maps
from vibsim.engine.charging import pack
from vibsim.engine.charging.charge_air import delivered
from vibsim.engine.charging.compressor import compressor_flow
from vibsim.engine.charging.electric import electric_point, motor_torque_limit
from vibsim.engine.charging.thermal import thermal_rates
from vibsim.engine.charging.turbine import rotor_rate, turbine_point, wastegate_opening
from vibsim.inputs.charging_models import DrivenCharging, ElectricCharging, Intercooler, NoCharging, TurbineCharging
from vibsim.jit import kernel

AMBIENT = 101325.0
PLAIN = "import json; from tests.engine.charging.test_pack import numbers; print(json.dumps(numbers()))"
HERE = Path(__file__).parent
ELECTRIC = ElectricCharging(source="electric", boost_pressure=33e3, intercooler=Intercooler())
TURBO = TurbineCharging(source="exhaust_turbine", pressure_ratio=1.4)
DRIVEN = DrivenCharging(source="engine_driven", boost_pressure=33e3)


@kernel
def _rates(charger, out):
    """A few rates of each kind of part, taken from the record as the solver does."""
    p = charger.parts[0]
    air = p.air
    if charger.kind == pack.ELECTRIC:
        charge = delivered(9e3, air.target, air.ambient, air.inlet_temperature, charger.compressor, p.cooler)
        limit = motor_torque_limit(9e3, 420.0, 350.0, 3e3, p.motor)
        point = electric_point(limit, 9e3, 420.0, 300.0, p.motor, p.supply)
        heating = thermal_rates(420.0, 350.0, point.motor_loss, point.inverter_loss, p.thermal)
        out[0], out[1], out[2], out[3] = charge.mass_flow, limit, heating[0], heating[1]
    elif charger.kind == pack.EXHAUST_TURBINE:
        turbine = turbine_point(9e3, 1.4e5, 1050.0, 1.05e5, p.turbine, charger.curve)
        compressor = compressor_flow(9e3, 1.3, air.ambient, air.inlet_temperature, charger.compressor)
        out[0], out[1] = turbine.torque, rotor_rate(turbine.torque, compressor.torque, 9e3, p.turbine)
        out[2] = wastegate_opening(4e4, p.turbine)
    else:
        out[0] = p.drive.ratio * 500.0
        out[1] = compressor_flow(out[0], 1.2, air.ambient, air.inlet_temperature, charger.compressor).torque


def numbers() -> list[list[float]]:
    found = []
    for charging in (ELECTRIC, TURBO, DRIVEN):
        out = np.zeros(4)
        _rates(pack.pack_charging(charging, AMBIENT, HERE), out)
        found.append(out.tolist())
    return found


def test_compiled_parts_equal_plain_ones():
    """Law: compiling changes no formula; every source has one type, so that one compilation serves all."""
    assert not config.DISABLE_JIT
    compiled = numbers()
    assert len(_rates.signatures) == 1
    done = subprocess.run(
        [sys.executable, "-c", PLAIN],
        env=os.environ | {"NUMBA_DISABLE_JIT": "1"},
        cwd=HERE.parents[2],
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    )
    # fused multiply–adds round once where plain code rounds twice, and a root of the map is found from them
    np.testing.assert_allclose(compiled, json.loads(done.stdout), rtol=1e-10)


def test_record_and_tuples_hold_the_same():
    charger = pack.pack_charging(ELECTRIC, AMBIENT, HERE)
    parts = charger.parts[0]
    assert charger.kind == pack.ELECTRIC
    for name, part in (
        ("air", pack.air_of(ELECTRIC, AMBIENT)),
        ("cooler", pack.cooler_of(ELECTRIC.intercooler)),
        ("motor", pack.motor_of(ELECTRIC)),
        ("supply", pack.supply_of(ELECTRIC)),
        ("thermal", pack.thermal_of(ELECTRIC)),
    ):
        assert tuple(getattr(parts, name)) == tuple(part)
    assert parts.air.target == pytest.approx(AMBIENT + 33e3, rel=1e-14)


def test_targets_and_wastegate_follow_the_boost():
    charger = pack.pack_charging(TURBO, AMBIENT, HERE)
    boost = 0.4 * AMBIENT
    assert charger.parts[0].air.target == pytest.approx(1.4 * AMBIENT, rel=1e-14)
    assert charger.parts[0].turbine.wastegate_opens == pytest.approx(0.9 * boost, rel=1e-12)
    assert charger.parts[0].turbine.wastegate_fully_open == pytest.approx(1.2 * boost, rel=1e-12)
    early = pack.turbine_of(TURBO.turbine.model_copy(update={"wastegate_opens": 6e4}), boost)
    assert early.wastegate_fully_open == pytest.approx(6e4 + 0.3 * boost, rel=1e-12)
    late = pack.turbine_of(TURBO.turbine.model_copy(update={"wastegate_fully_open": 6e4}), boost)
    assert late.wastegate_opens == pytest.approx(6e4 - 0.3 * boost, rel=1e-12)
    assert pack.pack_charging(NoCharging(), AMBIENT, HERE).kind == pack.NONE


def test_a_map_beside_the_case_is_read(tmp_path):
    maps.write_map(tmp_path / "map.csv")
    charging = DRIVEN.model_copy(update={"compressor": DRIVEN.compressor.model_copy(update={"file": "map.csv"})})
    charger = pack.pack_charging(charging, AMBIENT, tmp_path)
    assert charger.compressor.lines.size == len(maps.SPEEDS)
