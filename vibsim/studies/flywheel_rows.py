"""What a flywheel study found, in the units of tables and JSON."""

from __future__ import annotations

import math
from typing import Any

from vibsim.studies.flywheel import Flywheel, FlywheelPoint, Proof

RPM = 30.0 / math.pi


def point_row(point: FlywheelPoint) -> dict[str, Any]:
    """One operating point."""
    return {
        "speed_rpm": point.speed * RPM,
        "load": point.load,
        "energy_swing_J": point.excess.swing,
        "energy_fluctuation": point.excess.coefficient,
        "fluctuation_now": point.now.fluctuation,
        "inertia_by_energy_kg_m2": point.estimate,
        "inertia_needed_kg_m2": point.needed,
        "steps": point.steps,
    }


def proof_row(proof: Proof) -> dict[str, Any]:
    return {"inertia_kg_m2": proof.inertia, "fluctuation": proof.fluctuation, "settled": proof.settled}


def as_dict(found: Flywheel) -> dict[str, Any]:
    """What `--json` prints."""
    return {
        "fluctuation_wanted": found.wanted,
        "load_line": found.line,
        "present_inertia_kg_m2": found.present_inertia,
        "inertia_kg_m2": found.inertia,
        "hardest": point_row(found.hardest),
        "points": [point_row(point) for point in found.points],
        "run_as_given": None if found.present is None else proof_row(found.present),
        "runs": [proof_row(proof) for proof in found.proofs],
        "notes": list(found.notes),
    }
