"""Statics as plain rows for machines: SI with mm, one row per load case, mount and point."""

from __future__ import annotations

from typing import Any

import numpy as np

from vibsim.solver.packed import STANDARD_GRAVITY
from vibsim.studies.statics import PointMove, Standing, Statics, envelope


def as_dict(statics: Statics) -> dict[str, Any]:
    """Plain numbers for machines."""
    return {
        "held": statics.held,
        "engine_torque_N_m": statics.engine_torque,
        "engine_torque_source": statics.torque_source,
        "load_cases_source": statics.remark,
        "gears": [case_row(statics, standing) for standing in statics.gears],
        "load_cases": [case_row(statics, standing) for standing in statics.loads],
        "envelope": envelope_rows(statics),
        "clearances": clearance_rows(statics),
    }


def case_row(statics: Statics, standing: Standing) -> dict[str, Any]:
    case, delivery = standing.case, standing.delivery
    row: dict[str, Any] = {
        "name": case.name,
        "acceleration_g": (np.array(case.acceleration) / STANDARD_GRAVITY).tolist(),
        "gear": case.gear,
        "torque_share": case.torque_share,
        "load_N": standing.load.tolist(),
        "force_left_over_N": standing.residual,
    }
    if delivery is not None:
        row |= {
            "torque_leaving_N_m": delivery.torque,
            "torque_direction": delivery.direction.tolist(),
            "torque_at_wheels_N_m": delivery.at_wheels,
            "limited_by_grip": delivery.grip_limits,
        }
    row["bodies"] = [
        {"name": name, "move_mm": (1e3 * move[:3]).tolist(), "turn_deg": np.degrees(move[3:]).tolist()}
        for name, move in zip(statics.bodies, standing.displacement, strict=True)
    ]
    row["mounts"] = [
        {
            "name": name,
            "force_N": standing.force[n].tolist(),
            "size_N": float(np.linalg.norm(standing.force[n])),
            "deflection_mm": (1e3 * standing.deflection[n]).tolist(),
            "force_own_axes_N": standing.own_force[n].tolist(),
            "deflection_own_axes_mm": (1e3 * standing.own_deflection[n]).tolist(),
        }
        for n, name in enumerate(statics.mounts)
    ]
    if len(standing.tyre):
        row["wheels"] = [
            {"name": name, "force_N": force.tolist()} for name, force in zip(statics.wheels, standing.tyre, strict=True)
        ]
    row["points"] = [point_row(point) for point in standing.points]
    return row


def point_row(point: PointMove) -> dict[str, Any]:
    row: dict[str, Any] = {"name": point.name, "move_mm": (1e3 * point.move).tolist()}
    if point.left is not None:
        row |= {"clearance_left_mm": 1e3 * point.left, "towards": point.towards, "touches": point.left < 0.0}
    return row


def envelope_rows(statics: Statics) -> list[dict[str, Any]]:
    """One row per mount over all gears and load cases."""
    return [
        {
            "name": name,
            "least_N": extremes.least.tolist(),
            "least_in": extremes.least_in,
            "greatest_N": extremes.greatest.tolist(),
            "greatest_in": extremes.greatest_in,
            "size_N": extremes.size,
            "size_in": extremes.size_in,
            "deflection_mm": 1e3 * extremes.travel,
            "deflection_in": extremes.travel_in,
        }
        for name, extremes in zip(statics.mounts, envelope(statics), strict=True)
    ]


def clearance_rows(statics: Statics) -> list[dict[str, Any]]:
    """One row per point: where it comes closest, or moves furthest if it has no clearance."""
    cases = statics.gears + statics.loads
    rows = []
    for n in range(len(cases[0].points)):
        moves = [(standing.points[n], standing.case.name) for standing in cases]
        worst, name = min(
            moves,
            key=lambda pair: pair[0].left if pair[0].left is not None else -float(np.linalg.norm(pair[0].move)),
        )
        rows.append(point_row(worst) | {"in": name})
    return rows
