"""What wheels and seats carry where the bodies stand, and how a wheel bounces and hops by itself."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from vibsim.inputs.models import Case
from vibsim.solver.observe import Observed
from vibsim.solver.packed import STANDARD_GRAVITY


@dataclass(frozen=True)
class WheelLoad:
    """A wheel at rest: force of the road (3) N and its `share` of all wheels' vertical ones, rise against the body and
    compression of the tyre (m); `bounce` (Hz) of what it carries on spring and tyre in series, `hop` (Hz) of the wheel
    between them, either with the other mass still."""

    name: str
    body: str
    force: np.ndarray
    share: float
    travel: float
    compression: float
    bounce: float
    hop: float

    def as_dict(self) -> dict[str, Any]:
        return {
            "name": self.name,
            "body": self.body,
            "load_N": float(self.force[2]),
            "force_N": self.force.tolist(),
            "share": self.share,
            "travel_mm": 1e3 * self.travel,
            "tyre_compression_mm": 1e3 * self.compression,
            "bounce_estimate_Hz": self.bounce,
            "hop_estimate_Hz": self.hop,
        }


@dataclass(frozen=True)
class SeatLoad:
    """An occupant at rest: what the cushion carries (N) and gives (m)."""

    name: str
    body: str
    model: str
    mass: float
    force: float
    compression: float

    def as_dict(self) -> dict[str, Any]:
        return {
            "name": self.name,
            "body": self.body,
            "model": self.model,
            "mass_kg": self.mass,
            "seat_force_N": self.force,
            "cushion_compression_mm": 1e3 * self.compression,
        }


def wheel_loads(case: Case, seen: Observed) -> list[WheelLoad]:
    """Loads of wheels in the first of some observed states, which is at rest."""
    if not case.wheel:
        return []
    force, travel = seen.parts["tyre_force"][0], seen.parts["wheel_travel"][0]
    total = float(force[:, 2].sum()) or 1.0
    found = []
    for n, wheel in enumerate(case.wheel):
        spring, tyre, mass = wheel.suspension_stiffness, wheel.tyre_stiffness, wheel.unsprung_mass
        carried = float(seen.parts["suspension_force"][0, n]) / STANDARD_GRAVITY
        bounce = math.sqrt(spring * tyre / (spring + tyre) / carried) / (2.0 * math.pi) if carried > 0.0 else 0.0
        hop = math.sqrt((spring + tyre) / mass) / (2.0 * math.pi)
        load, share = force[n], float(force[n, 2]) / total
        squeezed = float(load[2]) / tyre
        found.append(WheelLoad(wheel.name, wheel.body, load, share, float(travel[n]), squeezed, bounce, hop))
    return found


def seat_loads(case: Case, seen: Observed) -> list[SeatLoad]:
    """Loads of seats in the first of some observed states, which is at rest."""
    return [
        SeatLoad(
            occupant.name,
            occupant.body,
            occupant.model,
            occupant.mass,
            float(seen.parts["occupant_force"][0, n]),
            float(seen.parts["cushion_compression"][0, n]),
        )
        for n, occupant in enumerate(case.occupant)
    ]
