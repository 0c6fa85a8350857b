"""Cases with rotors that the tests share; invented numbers."""

from __future__ import annotations

from typing import Any

from tests.cases import skewed

TORSION = {"throw_inertia_kg_m2": 0.003, "nose_inertia_kg_m2": 0.001, "stiffness_N_m_per_rad": [6e4, 9e4, 8e4, 1.2e5]}


def rotor(name: str, inertia: float, **changes: Any) -> dict[str, Any]:
    return {"name": name, "inertia_kg_m2": inertia} | changes


def shaft(first: str, second: str, stiffness: float, **changes: Any) -> dict[str, Any]:
    return {"between": [first, second], "stiffness_N_m_per_rad": stiffness} | changes


def driven(torsion: bool = True) -> dict[str, Any]:
    """The skewed engine afloat with a chassis, damper pulley, clutch, geared wheels on the chassis and a vehicle."""
    raw = skewed()
    raw["body"][0]["moving_parts"] = "separate"
    inertia = [3.0, 4.0, 5.0, 0.2, -0.3, 0.1]
    chassis = {"name": "chassis", "mass_kg": 90.0, "centre_of_mass_mm": [100.0, 20.0, -300.0], "inertia_kg_m2": inertia}
    raw["body"].append(chassis)
    raw["rotor"] = [
        rotor("pulley", 0.004),
        rotor("gearbox", 0.01, ratio=-0.6),
        rotor("wheels", 0.8, ratio=0.15, body="chassis"),
    ]
    raw["shaft"] = [
        shaft("nose", "pulley", 8e3),
        shaft("flywheel", "gearbox", 2e3),
        shaft("gearbox", "wheels", 5e3),
    ]
    if torsion:
        raw["engine"]["crank"]["torsion"] = dict(TORSION)
    return raw
