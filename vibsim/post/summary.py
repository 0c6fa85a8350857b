"""The answer on one screen: worst mount, worst sensor, dominant orders, ripple."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from vibsim.results.labelled import Group

NAMED_ORDERS = 3


def summarise(results: Group) -> dict[str, Any]:
    """Plain numbers and names of post-processed results, fit for a table or JSON."""
    torque = results.groups["torque"]
    summary: dict[str, Any] = {
        "title": results.attributes["title"],
        "run_kind": results.attributes["run_kind"],
        "mean_speed_rpm": torque.attributes["mean_speed_rad_per_s"] * 30.0 / math.pi,
        "least_speed_rpm": float(results["crank_speed"].min()) * 30.0 / math.pi,
        "greatest_speed_rpm": float(results["crank_speed"].max()) * 30.0 / math.pi,
        "load": results.attributes["load"],
        "speed_fluctuation": torque.attributes["speed_fluctuation"],
        "torque": _torque_rows(torque),
        "mounts": _rows(results, "mount", "mount_forces", "mount_force", "N"),
        "sensors": _rows(results, "sensor", "sensors", "sensor_acceleration", "m_per_s2"),
        "peak_pressure_bar": float(results["cylinder_pressure"].max()) * 1e-5,
        "mean_load_torque_N_m": float(results["load_torque"].mean()),
    }
    summary["mean_power_kW"] = float(np.mean(results["load_torque"] * results["crank_speed"])) * 1e-3
    if "settled" in results.attributes:
        names = ("settled", "settling_cycles", "settling_residual", "settling_tolerance", "settling_slowest")
        summary["settling"] = {name: results.attributes[name] for name in names}
    return summary


def dominant_orders(order: np.ndarray, amplitude: np.ndarray, count: int = NAMED_ORDERS) -> list[dict[str, float]]:
    """The strongest orders of an amplitude (n), mean left out, strongest first."""
    ranked = np.argsort(amplitude[1:])[::-1][:count] + 1
    return [{"order": float(order[n]), "amplitude": float(amplitude[n])} for n in ranked]


def _torque_rows(torque: Group) -> list[dict[str, Any]]:
    rows = []
    for index, name in enumerate(torque.labels("torque")):
        row = {"name": name, "mean_N_m": float(torque["mean"][index]), "swing_N_m": float(torque["swing"][index])}
        if "amplitude" in torque:
            row["orders"] = dominant_orders(torque["order"], torque["amplitude"][:, index])
        rows.append(row)
    return rows


def _rows(results: Group, dimension: str, group: str, variable: str, unit: str) -> list[dict[str, Any]]:
    """One row per mount or sensor, worst first, with its strongest orders over all axes."""
    if group not in results.groups:
        return []
    levels, rows = results.groups[group], []
    for index, name in enumerate(results.labels(dimension)):
        axis = int(levels["rms"][index].argmax())
        row: dict[str, Any] = {
            "name": name,
            f"rms_{unit}": float(levels["resultant_rms"][index]),
            f"peak_{unit}": float(levels["resultant_peak"][index]),
            "worst_axis": results.labels("axis")[axis],
        }
        if f"orders/{variable}_amplitude" in results:
            amplitude = np.linalg.norm(results[f"orders/{variable}_amplitude"][:, index], axis=1)
            row["orders"] = dominant_orders(results["orders/order"], amplitude)
        rows.append(row)
    return sorted(rows, key=lambda row: -row[f"rms_{unit}"])
