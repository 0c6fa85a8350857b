"""One mount of every law, as dictionaries with unit-suffixed keys; invented numbers."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from tests.cases import CONFIGS, mount
from vibsim.inputs.loader import build_case
from vibsim.inputs.mount_models import MountBase

DATA = CONFIGS / "mount-data"
HYDRAULIC: dict[str, Any] = {  # CHECKS section 8: sizes typical, derived values beside it
    "stiffness_N_per_mm": [100.0, 100.0, 225.0],
    "piston_area_mm2": 2500.0,
    "upper_compliance_mm3_per_kPa": 30.0,
    "lower_compliance_mm3_per_kPa": 2600.0,
    "track_inertance_kg_per_m4": 3.8e6,
    "track_resistance_kPa_s_per_L": 105.0,
}
DECOUPLER = {"decoupler_area_mm2": 1500.0, "decoupler_travel_mm": 0.6, "decoupler_resistance_kPa_s_per_L": 20.0}
DAMPED = {"damping_N_s_per_mm": [0.2, 0.1, 0.3]}
LAWS: dict[str, dict[str, Any]] = {
    "linear": {**DAMPED, "cross_stiffness_N_per_mm": [40.0, -30.0, 20.0]},
    "progressive": {"doubling_deflection_mm": [8.0, 5.0, 6.0], "cross_stiffness_N_per_mm": [40.0, -30.0, 20.0]},
    "loss_factor": {"loss_factor": 0.2},
    "bump_stop": {
        "gap_x_mm": [-2.0, 3.0],
        "stop_stiffness_x_N_per_mm": [800.0, 600.0],
        "gap_z_mm": [-1.0, 0.5],
        "stop_stiffness_z_N_per_mm": [500.0, 900.0],
        "onset_mm": 1.5,
    },
    "relaxation": {"relaxation_ratio": [0.3, 0.5], "relaxation_time_ms": [8.0, 1.0]},
    "friction": {
        "friction_stiffness_N_per_mm": [120.0, 80.0, 150.0],
        "yield_deflection_mm": [0.3, 0.2, 0.4],
        "exponent": 1.5,
    },
    "hydraulic": {**HYDRAULIC, **DECOUPLER, "track_quadratic_resistance_kPa_s2_per_L2": 300.0},
    "table": {"file": "force-deflection.csv", **DAMPED},
    "scheduled": {
        "speed_rpm": [1000.0, 2000.0, 4000.0],
        "stiffness_at_speed_N_per_mm": [[100, 80, 60], [100, 80, 60], [300, 200, 150]],
        "damping_at_speed_N_s_per_mm": [[0.5, 0.4, 0.3], [0.5, 0.4, 0.3], [0.1, 0.1, 0.1]],
    },
    "torque_rod": {"to_mm": [150.0, 20.0, 30.0], "bushing_stiffness_N_per_mm": [300.0, 600.0]},
}
DROPPED = {
    "scheduled": ("stiffness_N_per_mm", "damping_N_s_per_mm"),
    "torque_rod": ("stiffness_N_per_mm", "damping_N_s_per_mm"),
}


def law_mount(law: str, **changes: Any) -> dict[str, Any]:
    """A mount of a law as the file says it."""
    raw = mount(law, law=law, **LAWS[law]) | changes
    return {key: value for key, value in raw.items() if key not in DROPPED.get(law, ()) and value is not None}


def model(raw: dict[str, Any]) -> MountBase:
    """The mount as the loader reads it."""
    return build_case(on_ground(raw)).mount[0]


def on_ground(*mounts: dict[str, Any]) -> dict[str, Any]:
    """A case of one body on the ground by mounts."""
    body = {
        "name": "powertrain",
        "mass_kg": 62.0,
        "centre_of_mass_mm": [0.0, 0.0, 0.0],
        "inertia_kg_m2": [1.5, 1.2, 1.4, 0.0, 0.0, 0.0],
    }
    return {"body": [body], "mount": list(mounts)}


def write_curve(folder: Path) -> Path:
    """A measured curve along x and z that stiffens both ways; y is left to the stiffness."""
    d = np.linspace(-10.0, 12.0, 23)
    rows = [f"{x:g},{150.0 * x * (1 + x * x / 90):.6g},{90.0 * x * (1 + x * x / 60):.6g}" for x in d]
    path = folder / "force-deflection.csv"
    path.write_text("deflection_mm,force_x_N,force_z_N\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return path
