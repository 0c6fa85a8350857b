"""What a clutch does, from states of a run."""

from __future__ import annotations

import numpy as np

from vibsim.solver.clutch_motion import CLOCK, LOST, capacity_at
from vibsim.solver.packed import Packed

HELD = 1e-9  # of its capacity, that a clutch which holds stays below it

# name: dimensions after the first, units, description
SEEN: dict[str, tuple[tuple[str, ...], str, str]] = {
    "clutch_torque": ((), "N m", "torque through the clutch, positive drives what lies behind it"),
    "clutch_capacity": ((), "N m", "torque that the clutch holds"),
    "clutch_slip_speed": ((), "rad s-1", "speed between the ends of the clutch's shaft"),
    "clutch_slips": ((), "1", "1 while the clutch slips, 0 while it is open or holds"),
    "clutch_lost_energy": ((), "J", "work lost in the slipping clutch so far"),
}


def see_clutch(states: np.ndarray, packed: Packed, speed: np.ndarray, torque: np.ndarray) -> dict[str, np.ndarray]:
    """Quantities of SEEN at states (n, state), speeds (n, rotors) and torques (n, shafts); none without a clutch."""
    rotors = packed.model.rotors
    if rotors is None or rotors.clutch is None:
        return {}
    clutch = rotors.clutch
    shaft = rotors.shafts[clutch.shaft]
    first, second, ratio = int(shaft["first"]), int(shaft["second"]), float(shaft["ratio"])
    sign = 1.0 if clutch.behind[second] else -1.0
    clock = states[:, clutch.at + CLOCK]
    numbers = clutch.mode, clutch.capacity, clutch.begins, clutch.rise
    capacity = np.array([capacity_at.py_func(at, *numbers) for at in clock])
    carried = torque[:, clutch.shaft]
    return {
        "clutch_torque": sign * carried,
        "clutch_capacity": capacity,
        "clutch_slip_speed": sign * (speed[:, first] - ratio * speed[:, second]),
        "clutch_slips": ((capacity > 0.0) & (np.abs(carried) >= (1.0 - HELD) * capacity)).astype(float),
        "clutch_lost_energy": states[:, clutch.at + LOST],
    }
