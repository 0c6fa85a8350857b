"""The answer on one screen: worst mount, worst sensor, dominant orders, ripple."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from vibsim.post.exposure_rules import comfort_words, daily_values
from vibsim.post.levels import exact_values
from vibsim.post.road import road_rows
from vibsim.post.steps import summarise_steps
from vibsim.results.labelled import Group

NAMED_ORDERS = 3
JUDGED = (("a8", "health_factor"), ("comfort_total", "comfort_factor"))


def summarise(results: Group) -> dict[str, Any]:
    """Plain numbers and names of post-processed results, fit for a table or JSON."""
    if "steps" in results.groups:
        return summarise_steps(results)
    torque = results.groups["torque"]
    summary: dict[str, Any] = {
        "title": results.attributes["title"],
        "run_kind": results.attributes["run_kind"],
        "mean_speed_rpm": torque.attributes["mean_speed_rad_per_s"] * 30.0 / math.pi,
        "load": results.attributes["load"],
        "first_speed_rpm": float(results["crank_speed"][0]) * 30.0 / math.pi,
        "last_speed_rpm": float(results["crank_speed"][-1]) * 30.0 / math.pi,
        "duration_s": float(results["time"][-1]),
        "speed_fluctuation": torque.attributes["speed_fluctuation"],
        "torque": _torque_rows(torque),
        "mounts": _mount_rows(results),
        "sensors": _sensor_rows(results),
        "people": _people_rows(results),
        "peak_pressure_bar": float(exact_values(results, "cylinder_pressure").max()) * 1e-5,
        "gas": bool(np.ptp(results["cylinder_pressure"]) > 0.0),
    }
    load, speed = exact_values(results, "load_torque"), exact_values(results, "crank_speed")
    summary["mean_load_torque_N_m"] = float(load.mean())
    # over equal steps of angle mean power is mean torque times angle over time
    steady = "cycle" in results.groups
    power = load.mean() * torque.attributes["mean_speed_rad_per_s"] if steady else np.mean(load * speed)
    summary["mean_power_kW"] = float(power) * 1e-3
    if "load_step" in results.groups:
        summary["load_step"] = results.groups["load_step"].attributes | {
            name: results.attributes[name] for name in ("load", "load_after", "step_at_s", "speed_held")
        }
    if "clutch" in results.groups:
        summary["clutch"] = results.groups["clutch"].attributes | {"shaft": results.attributes["clutch_shaft"]}
    if "road" in results.groups:
        summary["road"] = road_rows(results)
    if "settled" in results.attributes:
        names = ("settled", "settling_cycles", "settling_residual", "settling_tolerance", "settling_slowest")
        summary["settling"] = {name: results.attributes[name] for name in names}
        more = ("solve", "settling_departure", "floquet_largest", "floquet_crank_speed", "settling_cycles_forecast")
        summary["settling"] |= {name: results.attributes[name] for name in more if name in results.attributes}
    return summary


def dominant_orders(
    order: np.ndarray, amplitude: np.ndarray, units: str, count: int = NAMED_ORDERS
) -> list[dict[str, Any]]:
    """The strongest orders of an amplitude (n) in `units`, mean left out, strongest first."""
    ranked = np.argsort(amplitude[1:])[::-1][:count] + 1
    return [{"order": float(order[n]), "amplitude": float(amplitude[n]), "units": units} for n in ranked]


def _torque_rows(torque: Group) -> list[dict[str, Any]]:
    rows = []
    for index, name in enumerate(torque.labels("torque")):
        row = {"name": name, "mean_N_m": float(torque["mean"][index]), "swing_N_m": float(torque["swing"][index])}
        if "amplitude" in torque:
            row["orders"] = dominant_orders(torque["order"], torque["amplitude"][:, index], "N m")
        rows.append(row)
    return rows


def _mount_rows(results: Group) -> list[dict[str, Any]]:
    """One row per mount, most varying force first."""
    if "mount_forces" not in results.groups:
        return []
    levels, rows = results.groups["mount_forces"], []
    for index, name in enumerate(results.labels("mount")):
        row = {
            "name": name,
            "mean_N": float(levels["resultant_mean"][index]),
            "rms_N": float(levels["resultant_rms"][index]),
            "peak_N": float(levels["varying_peak"][index]),
            "peak_with_mean_N": float(levels["resultant_peak"][index]),
            "worst_axis": results.labels("axis")[int(levels["rms"][index].argmax())],
        }
        rows.append(row | _strongest(results, "mount_force", index))
    return sorted(rows, key=lambda row: -row["rms_N"])


def _sensor_rows(results: Group) -> list[dict[str, Any]]:
    """One row per sensor, highest acceleration first."""
    if "sensors" not in results.groups:
        return []
    levels, rows = results.groups["sensors"], []
    for index, name in enumerate(results.labels("sensor")):
        row = {
            "name": name,
            "rms_m_per_s2": float(levels["resultant_rms"][index]),
            "peak_m_per_s2": float(levels["resultant_peak"][index]),
            "worst_axis": results.labels("axis")[int(levels["rms"][index].argmax())],
        }
        rows.append(row | _strongest(results, "sensor_acceleration", index))
    return sorted(rows, key=lambda row: -row["rms_m_per_s2"])


def _people_rows(results: Group) -> list[dict[str, Any]]:
    """One row per sensor that someone touches: what counts for health (A(8) of 8 h) and comfort, m/s²; None where the
    rules judge nothing."""
    if "exposure" not in results.groups:
        return []
    felt, rows = results.groups["exposure"], []
    for index, name in enumerate(felt.labels("felt_at")):
        health, comfort = (felt[what][index] if felt[which][index].any() else None for what, which in JUDGED)
        row = {
            "name": name,
            "contact": str(felt["contact"][index]),
            "a8_m_per_s2": None if health is None else float(health),
            "action_m_per_s2": None if health is None else daily_values(str(felt["contact"][index])).action,
            "comfort_m_per_s2": None if comfort is None else float(comfort),
            "comfort": "" if comfort is None else comfort_words(float(comfort)),
        }
        rows.append(row)
    return rows


def _strongest(results: Group, variable: str, index: int) -> dict[str, Any]:
    """Strongest orders over all axes (root sum of squares), if the run has orders."""
    if f"orders/{variable}_amplitude" not in results:
        return {}
    found = results.groups["orders"].variables[f"{variable}_amplitude"]
    amplitude = np.linalg.norm(found.data[:, index], axis=1)
    return {"orders": dominant_orders(results["orders/order"], amplitude, found.units)}
