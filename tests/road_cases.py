"""Vehicles driven over roads, as dictionaries with unit-suffixed keys; invented numbers."""

from __future__ import annotations

from typing import Any

from tests.cases import mount, single
from tests.vehicle_cases import car, quarter_car

ROUGH: dict[str, Any] = {"profile": "iso_8608", "road_class": "C"}


def run_over(road: dict[str, Any], **changes: Any) -> dict[str, Any]:
    run = {"kind": "road", "speed_rpm": 3000.0, "vehicle_speed_km_per_h": 36.0, "duration_s": 1.0, "road": road}
    return run | {"sample_rate_Hz": 1000.0} | changes


def quarter_over(road: dict[str, Any], contact_mm: float = 150.0, **changes: Any) -> dict[str, Any]:
    """A quarter car without an engine; its model alone can be driven."""
    return quarter_car(contact_length_mm=contact_mm) | {"run": run_over(road, **changes)}


def vehicle_over(road: dict[str, Any], **changes: Any) -> dict[str, Any]:
    """An engine with one cylinder and no gas on three mounts, on a car."""
    raw, vehicle = single(), car()
    raw["body"] += vehicle.pop("body")
    raw |= vehicle
    damped = {"between": ["powertrain", "chassis"], "damping_N_s_per_mm": [2.0, 2.0, 2.0]}
    places = ([-200.0, 0.0, 0.0], [200.0, 0.0, 0.0], [0.0, 200.0, 0.0])
    raw["mount"] = [mount(f"m{n}", at_mm=at, **damped) for n, at in enumerate(places)]
    raw["sensor"] = [{"name": "hip", "body": "driver", "at_mm": [100.0, 300.0, 500.0], "contact": "seat"}]
    raw["run"] = run_over(road, settle_tolerance=1e-3, **changes)
    return raw
