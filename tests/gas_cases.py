"""Engines with a working cycle for the tests, from a few keys."""

from __future__ import annotations

from typing import Any

from tests import cases
from vibsim.engine.layout import ResolvedCylinder, resolve_layout
from vibsim.inputs.loader import build_case
from vibsim.inputs.models import Engine


def engine_with(gas: dict[str, Any], **changes: Any) -> tuple[Engine, ResolvedCylinder]:
    """The single of `cases` with a working cycle of these keys, and other keys of the engine."""
    raw = cases.single()
    raw["engine"] |= {"gas": {"source": "cycle"} | gas} | changes
    engine = build_case(raw).engine
    assert engine is not None
    return engine, resolve_layout(engine).cylinders[0]


def ideal_gas(gamma: float, **changes: Any) -> dict[str, Any]:
    """Constant properties, no loss, all fuel burning, valves that move at the dead centres."""
    return {
        "heat_capacity_ratio": gamma,
        "wall_heat_factor": 0.0,
        "exhaust_port_heat_factor": 0.0,
        "combustion_efficiency": 1.0,
        "intake_pressure_kPa": 100.0,
        "exhaust_pressure_kPa": 100.0,
        "air_fuel_ratio": 40.0,
        "burn_start_deg": -0.125,
        "burn_duration_deg": 0.25,
        "intake_opens_deg": 360.0,
        "intake_closes_deg": 540.0,
        "exhaust_opens_deg": 180.0,
        "exhaust_closes_deg": 360.0,
    } | changes
