"""A run of steps in numbers: what came of each step, and the levels in it."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from vibsim.results.labelled import Group

RPM = 30.0 / math.pi  # per rad/s
WINDOW = 0.25  # s, that a level over time is taken over


def summarise_steps(results: Group) -> dict[str, Any]:
    """Plain numbers and names of a run of steps, fit for a table or JSON."""
    history, steps = results.groups["history"], results.groups["steps"]
    rows = []
    for index in range(int(steps.attributes["count"])):
        found = dict(steps.groups[str(index + 1)].attributes)
        here = history["step"] == index
        rows.append(_in_rpm(found) | _worst(results, history, here))
    return {
        "title": results.attributes["title"],
        "run_kind": results.attributes["run_kind"],
        "duration_s": max(row["end_s"] for row in rows),
        "steps": rows,
    }


def _in_rpm(found: dict[str, Any]) -> dict[str, Any]:
    """Figures with speeds in rpm and angles in degrees, as they are read."""
    shown: dict[str, Any] = {}
    for name, value in found.items():
        if name.endswith("_rad_per_s"):
            shown[name.replace("_rad_per_s", "_rpm")] = float(value) * RPM
        elif name.endswith("_rad"):
            shown[name.replace("_rad", "_deg")] = math.degrees(float(value))
        else:
            shown[name] = value
    return shown


def _worst(results: Group, history: Group, here: np.ndarray) -> dict[str, Any]:
    """The mount and the sensor with the highest level over the blocks in question."""
    found: dict[str, Any] = {}
    for quantity, of, key, unit in (
        ("mount_force", "mount", "mount", "N"),
        ("sensor_acceleration", "sensor", "sensor", "m_per_s2"),
    ):
        if f"{quantity}_mean" not in history or not here.any():
            continue
        level = rms_of(history, quantity, here)
        worst = int(level.argmax())
        found[f"worst_{key}"] = results.labels(of)[worst]
        found[f"worst_{key}_rms_{unit}"] = float(level[worst])
    return found


def rms_of(history: Group, quantity: str, here: np.ndarray) -> np.ndarray:
    """Root mean square about the mean of the vectors (things, 3) of a quantity over blocks: (things)."""
    square = history[f"{quantity}_square"][here].mean(axis=0)
    mean = history[f"{quantity}_mean"][here].mean(axis=0)
    return np.sqrt(np.maximum(square - mean * mean, 0.0).sum(axis=-1))


def levels(history: Group, quantity: str) -> tuple[np.ndarray, np.ndarray]:
    """Times (n) s and rms about the mean (n, things) over windows of the record, of vectors."""
    time = history["block"]
    width = max(round(WINDOW / (time[1] - time[0])), 1) if len(time) > 1 else 1
    starts = np.arange(0, len(time), width)
    rows = [rms_of(history, quantity, np.arange(a, min(a + width, len(time)))) for a in starts]
    return np.array([time[a : a + width].mean() for a in starts]), np.array(rows)
