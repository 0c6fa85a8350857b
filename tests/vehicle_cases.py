"""Small vehicles on wheels, as dictionaries with unit-suffixed keys; invented numbers. Their energy, derived anew."""

from __future__ import annotations

import copy
from typing import Any

import numpy as np

from vibsim.solver.invariants import kinetic_energy, weight_energy
from vibsim.solver.packed import STATES_PER_BODY, Packed
from vibsim.structure.rotation import matrix_of
from vibsim.structure.vertical_parts import CONTACT, ONSET

WHEEL: dict[str, Any] = {
    "body": "chassis",
    "radius_mm": 300.0,
    "unsprung_mass_kg": 30.0,
    "suspension_stiffness_N_per_mm": 22.0,
    "bump_damping_N_s_per_mm": 1.0,
    "rebound_damping_N_s_per_mm": 1.0,
    "tyre_stiffness_N_per_mm": 190.0,
    "tyre_damping_N_s_per_mm": 0.1,
    "tyre_lateral_stiffness_N_per_mm": 90.0,
    "tyre_longitudinal_stiffness_N_per_mm": 110.0,
}
CHASSIS: dict[str, Any] = {
    "name": "chassis",
    "mass_kg": 600.0,
    "centre_of_mass_mm": [100.0, 20.0, 550.0],
    "inertia_kg_m2": [120.0, 500.0, 560.0, 5.0, -8.0, 3.0],
}
GUIDE: dict[str, Any] = {  # holds all but the vertical
    "name": "guide",
    "between": ["ground", "chassis"],
    "at_mm": [0.0, 0.0, 600.0],
    "stiffness_N_per_mm": [100.0, 100.0, 0.0],
    "torsional_stiffness_N_m_per_rad": [1e5, 1e5, 1e5],
}
SEAT: dict[str, Any] = {
    "name": "driver",
    "body": "chassis",
    "at_mm": [100.0, 300.0, 500.0],
    "mass_kg": 75.0,
    "cushion_stiffness_N_per_mm": 60.0,
    "cushion_damping_N_s_per_mm": 0.4,
}


def wheel(name: str, at: list[float], **changes: Any) -> dict[str, Any]:
    return copy.deepcopy(WHEEL) | {"name": name, "at_mm": at} | changes


def quarter_car(**changes: Any) -> dict[str, Any]:
    """A body that moves up and down on one wheel."""
    body = CHASSIS | {
        "mass_kg": 320.0,
        "centre_of_mass_mm": [0.0, 0.0, 600.0],
        "inertia_kg_m2": [40, 100, 110, 0, 0, 0],
    }
    own = wheel("corner", [0.0, 0.0, 300.0], suspension_preload_N=2900.0) | changes
    return {"body": [copy.deepcopy(body)], "mount": [copy.deepcopy(GUIDE)], "wheel": [own]}


def car(**changes: Any) -> dict[str, Any]:
    """A body on four wheels alone, with a driver and an anti-roll bar in front."""
    places = {
        "front left": (1300, 700),
        "front right": (1300, -700),
        "rear left": (-1200, 680),
        "rear right": (-1200, -680),
    }
    wheels = [wheel(name, [float(x), float(y), 300.0], **changes) for name, (x, y) in places.items()]
    bar = {"name": "front", "between": ["front left", "front right"], "stiffness_N_per_mm": 12.0}
    return {
        "body": [copy.deepcopy(CHASSIS)],
        "wheel": wheels,
        "anti_roll_bar": [bar],
        "occupant": [copy.deepcopy(SEAT)],
    }


def energy(y: np.ndarray, packed: Packed) -> float:
    """Energy (J) of a state: bodies, masses that move up and down, springs, stops and weight (derived: integrals of the
    laws), over a level road."""
    parts, gravity = packed.model.parts, packed.model.gravity
    assert parts is not None
    total, travels = kinetic_energy(y, packed) + weight_energy(y, packed), []
    for w in parts.wheels:
        at = w["state"]
        hub, foot = (place(y, packed, int(w["body"]), np.array([w[p + a] for a in "xyz"])) for p in ("", "foot_"))
        travel, depth = y[at] - hub[2], w["height"] - y[at]
        travels.append(travel)
        total += 0.5 * w["mass"] * y[at + 1] ** 2 + w["mass"] * gravity * y[at]
        total += w["preload"] * travel + 0.5 * w["stiffness"] * travel**2
        total += _stop(travel - w["bump_gap"], w["bump_stiffness"])
        total += _stop(-travel - w["rebound_gap"], w["rebound_stiffness"])
        total += 0.5 * w["tyre_stiffness"] * max(depth, 0.0) ** 2
        s = min(max(depth / CONTACT, 0.0), 1.0)
        off = foot[:2] - np.array([w["stand_x"], w["stand_y"]])
        held = 0.5 * (w["along_stiffness"] * off[0] ** 2 + w["side_stiffness"] * off[1] ** 2)
        total += (3.0 * s**2 - 2.0 * s**3) * held
    for bar in parts.bars:
        total += 0.5 * bar["stiffness"] * (travels[bar["first"]] - travels[bar["second"]]) ** 2
    for o in parts.occupants:
        at = o["state"]
        seat = place(y, packed, int(o["body"]), np.array([o[a] for a in "xyz"]))
        total += 0.5 * o["stiffness"] * max(seat[2] - y[at], 0.0) ** 2
        for n, key in enumerate(("frame", "first_mass", "second_mass")):
            total += 0.5 * o[key] * y[at + 2 * n + 1] ** 2 + o[key] * gravity * y[at + 2 * n]
        total += 0.5 * o["first_stiffness"] * (y[at + 2] - y[at]) ** 2
        total += 0.5 * o["second_stiffness"] * (y[at + 4] - y[at]) ** 2
    return float(total)


def _stop(depth: float, stiffness: float) -> float:
    """∫ of a stop's force: stiffness·onset²·(s⁴/4 − s⁵/10) over the onset, then of a straight line."""
    if depth <= 0.0:
        return 0.0
    s = min(depth / ONSET, 1.0)
    beyond = max(depth - ONSET, 0.0)
    return stiffness * (ONSET**2 * (s**4 / 4 - s**5 / 10) + 0.5 * beyond**2 + 0.5 * ONSET * beyond)


def place(y: np.ndarray, packed: Packed, body: int, point: np.ndarray) -> np.ndarray:
    at = STATES_PER_BODY * body
    return y[at : at + 3] + matrix_of(y[at + 3 : at + 7]) @ point
