"""Small cases with a flexible body; invented numbers."""

from __future__ import annotations

import copy
from typing import Any

from tests.cases import mount, single

FIRST = {"e1": [0.01, 0, 0.05], "e2": [0, 0.01, -0.03], "e3": [0.02, 0, -0.04], "seat": [0, 0, -0.06]}
FIRST |= {"s1": [0, 0, -0.03], "s2": [0, 0, 0.02], "s3": [0, 0, 0.04], "s4": [0, 0, 0.03]}
SECOND = {"e1": [0, 0.1, 0.05], "e2": [0, 0.05, 0.06], "e3": [0, 0.03, -0.04], "seat": [0, 0.05, 0.03]}
SECOND |= {"s1": [0, 0.03, -0.08], "s2": [0, 0, 0.07], "s3": [0, 0, -0.08], "s4": [0, 0, 0.07]}
CORNERS = ((-500, 400), (-500, -400), (1200, 400), (1200, -400))


def mode(frequency: float, damping: float, shape: dict[str, list[float]], mass: float = 1.0) -> dict[str, Any]:
    return {
        "frequency_Hz": frequency,
        "damping_ratio": damping,
        "modal_mass_kg": mass,
        "shape": copy.deepcopy(shape),
    }


def on_flexible(damped: float = 1.0, ground: bool = True) -> dict[str, Any]:
    """A single on three mounts in a flexible chassis, which stands on four or floats; damping times `damped`."""
    raw = single()
    raw["body"].append(
        {
            "name": "chassis",
            "mass_kg": 250.0,
            "centre_of_mass_mm": [300, 0, 100],
            "inertia_kg_m2": [20, 60, 70, 0, 0, 0],
            "mode": [mode(32.0, 0.02 * damped, FIRST), mode(110.0, 0.02 * damped, SECOND, 4.0)],
        }
    )

    def held(name: str, between: list[str], at: list[float], rates: list[float], damping: list[float], **more: Any):
        damping = [damped * value for value in damping]
        return mount(name, between=between, at_mm=at, stiffness_N_per_mm=rates, damping_N_s_per_mm=damping, **more)

    engine, rates, damping = ["powertrain", "chassis"], [200, 150, 250], [0.2, 0.2, 0.3]
    raw["mount"] = [
        held("e1", engine, [0, 200, 0], rates, damping, axes_deg=[10, 20, 30]),
        held("e2", engine, [0, -200, 0], rates, damping, law="progressive", doubling_deflection_mm=[20, 20, 20]),
        held("e3", engine[::-1], [-200, 0, 50], rates, damping),
    ]
    stands = [
        held(f"s{n + 1}", ["chassis", "ground"], [x, y, 0], [60, 60, 40], [0.5, 0.5, 1.0])
        for n, (x, y) in enumerate(CORNERS)
    ]
    if ground:
        raw["mount"] += stands
    else:
        for entry in raw["body"][1]["mode"]:
            for n in range(4):
                del entry["shape"][f"s{n + 1}"]
    raw["sensor"] = [{"name": "seat", "body": "chassis", "at_mm": [500, 100, 300]}]
    return raw


def rigid(raw: dict[str, Any]) -> dict[str, Any]:
    """The same without elastic modes."""
    raw = copy.deepcopy(raw)
    for body in raw["body"]:
        body.pop("mode", None)
    return raw
