"""Small cases the tests share, as dictionaries with unit-suffixed keys; invented numbers."""

from __future__ import annotations

import copy
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from vibsim.inputs.loader import CaseFile, build_case
from vibsim.inputs.models import Case
from vibsim.solver.packed import Packed, pack

CONFIGS = Path(__file__).parent.parent / "configs"

SINGLE: dict[str, Any] = {
    "engine": {
        "strokes": 4,
        "bore_mm": 72.0,
        "stroke_mm": 58.5,
        "rod_length_mm": 118.0,
        "compression_ratio": 11.5,
        "body": "powertrain",
        "origin_mm": [0.0, 0.0, 0.0],
        "crank_direction": [0, 1, 0],
        "reference_direction": [0, 0, 1],
        "piston": {"mass_g": 280.0},
        "rod": {"mass_g": 340.0, "centre_of_mass_mm": 36.0, "inertia_kg_mm2": 700.0},
        "crank": {"inertia_kg_m2": 0.02},
        "cylinder": [{"name": "1", "bank_deg": 0.0, "pin_deg": 0.0, "at_mm": 0.0}],
    },
    "body": [
        {
            "name": "powertrain",
            "mass_kg": 62.0,
            "centre_of_mass_mm": [0.0, 0.0, 50.0],
            "inertia_kg_m2": [1.5, 1.2, 1.4, 0.0, 0.0, 0.0],
        }
    ],
    "run": {"kind": "free", "speed_rpm": 3000.0, "duration_s": 0.2, "start": "drawn", "gravity": False},
}

MOUNT: dict[str, Any] = {
    "name": "mount",
    "between": ["powertrain", "ground"],
    "at_mm": [0.0, 0.0, 0.0],
    "stiffness_N_per_mm": [200.0, 150.0, 250.0],
    "damping_N_s_per_mm": [0.0, 0.0, 0.0],
}


def without_engine(text: str) -> str:
    """A case's text without its engine and what takes on the engine's torque."""
    text = text[: text.index("[engine]")] + text[text.index("[[body]]") :]
    return text[: text.index("[driveline]")] + text[text.index("[[point]]") :]


def single() -> dict[str, Any]:
    """A floating single, to be changed freely."""
    return copy.deepcopy(SINGLE)


def mount(name: str, **changes: Any) -> dict[str, Any]:
    return copy.deepcopy(MOUNT) | {"name": name} | changes


def skewed() -> dict[str, Any]:
    """Three unlike cylinders with pin offsets, a counterweight and two odd balance shafts on a tilted crank."""
    raw = single()
    engine = raw["engine"]
    crank = np.array([0.3, 0.8, 0.1])
    engine["crank_direction"] = crank.tolist()
    engine["reference_direction"] = np.cross(crank, [1.0, 0.2, 0.3]).tolist()
    engine["origin_mm"] = [30.0, -20.0, -70.0]
    engine["cylinder"] = [
        {"name": "1", "pin_deg": 10.0, "bank_deg": 20.0, "at_mm": -40.0, "piston_pin_offset_mm": 3.0},
        {"name": "2", "pin_deg": 130.0, "bank_deg": -50.0, "at_mm": 30.0, "piston_pin_offset_mm": -5.0},
        {"name": "3", "pin_deg": 200.0, "at_mm": 60.0, "stroke_mm": 70.0, "piston": {"mass_g": 410.0}},
    ]
    engine["cylinder"][1]["rod_length_mm"] = 100.0
    engine["crank"]["counterweight"] = [{"at_mm": -50.0, "angle_deg": 40.0, "unbalance_kg_mm": 8.0}]
    engine["balance_shaft"] = [
        {
            "ratio": ratio,
            "angle_deg": 30.0,
            "unbalance_kg_mm": unbalance,
            "position_mm": place,
            "at_mm": at,
            "inertia_kg_mm2": 300.0,
        }
        for ratio, unbalance, place, at in ((-2.0, 3.0, [40.0, -30.0], 20.0), (1.5, 2.0, [-40.0, 60.0], -20.0))
    ]
    return raw


def accessories() -> list[dict[str, Any]]:
    """One of every kind, felt at the crank with some newton metres each at thousands of rpm."""
    return [
        {"name": "water", "kind": "water_pump", "ratio": 1.2, "rated_power_kW": 0.8, "rated_speed_rpm": 4000.0},
        {"name": "oil", "kind": "oil_pump", "ratio": -0.7, "displacement_cm3": 12.0, "relief_pressure_bar": 5.0},
        {
            "name": "alternator",
            "kind": "alternator",
            "ratio": 2.5,
            "electrical_power_W": 700.0,
            "torque_limit_N_m": 3.0,
        },
        {"name": "fan", "kind": "constant", "ratio": 1.5, "torque_N_m": 0.6},
    ]


def packed(raw: dict[str, Any]) -> tuple[Case, Packed]:
    case = build_case(raw)
    return case, pack(case, CONFIGS)


def with_angles(case_file: CaseFile, banks: np.ndarray, pins: np.ndarray) -> CaseFile:
    """The case with other bank and pin angles (cylinders), rad; when they fire is left to the top dead centres."""
    engine = case_file.case.engine
    assert engine is not None
    cylinders = tuple(
        cylinder.model_copy(update={"bank": float(bank), "pin": float(pin), "fires_at": None})
        for cylinder, bank, pin in zip(engine.cylinder, banks, pins, strict=True)
    )
    engine = engine.model_copy(update={"cylinder": cylinders, "firing_order": ()})
    return replace(case_file, case=case_file.case.model_copy(update={"engine": engine}))


def as_file(raw: dict[str, Any]) -> CaseFile:
    """A case as studies take it, with no text behind it."""
    return CaseFile(build_case(raw), "", CONFIGS, "case")
