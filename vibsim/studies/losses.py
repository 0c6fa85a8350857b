"""What friction and each accessory take at the run's speed, and in what words friction was given."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from vibsim.engine.accessories import accessory_torque, pack_accessory
from vibsim.engine.friction import friction_torque, oil_factors, peak_pressures
from vibsim.engine.node_grid import table_at
from vibsim.engine.oil import ICE_POINT
from vibsim.inputs.friction_models import ChenFlynnFriction, Friction
from vibsim.inputs.models import Case
from vibsim.solver.packed import Packed

SIMPLE = ("torque", "viscous", "mean_effective_pressure", "mean_effective_pressure_rise")


@dataclass(frozen=True)
class Loss:
    """One loss at a crank speed: torque (N m) against the rotation, the mean effective pressure (Pa) and power (W) it
    makes, and the body that takes it."""

    name: str
    kind: str
    torque: float
    pressure: float
    power: float
    reacted_by: str

    def as_dict(self) -> dict[str, Any]:
        return {
            "name": self.name,
            "kind": self.kind,
            "mean_effective_pressure_bar": self.pressure * 1e-5,
            "torque_N_m": self.torque,
            "power_kW": self.power * 1e-3,
            "reacted_by": self.reacted_by,
        }


def find_losses(case: Case, packed: Packed) -> list[Loss]:
    """Rubbing friction and every accessory at the run's speed; empty without an engine, a run or any loss."""
    engine, layout = case.engine, packed.layout
    if engine is None or layout is None or case.run is None:
        return []
    speed, per_torque = abs(case.run.speed), layout.cycle / layout.swept_volume
    rubbing = friction_torque(speed, packed.model.losses, packed.model.gas)
    rows = [("rubbing", "friction", float(rubbing), engine.body)] if rubbing else []
    for item in engine.accessory:
        torque = float(accessory_torque(speed, pack_accessory(item, 0)[()]))
        rows.append((item.name, item.kind.replace("_", " "), torque, item.reacted_by or engine.body))
    if packed.point is not None and packed.point.charging_torque:
        rows.append(("charging", engine.charging.source.replace("_", " "), packed.point.charging_torque, engine.body))
    return [Loss(name, kind, torque, torque * per_torque, torque * speed, by) for name, kind, torque, by in rows]


def friction_in_words(friction: Friction, packed: Packed, speed: float | None) -> str:
    """The law of friction, what it was given and how cold it is; the mean peak pressure at a crank speed (rad/s)."""
    if isinstance(friction, ChenFlynnFriction):
        bar = 1e-5
        given = f"A {friction.A * bar:g} bar, B {friction.B:g}, C {friction.C * bar:g}, D {friction.D * bar:g}"
        words = [f"Chen–Flynn ({given})"]
        if speed is not None:
            gas = packed.model.gas
            peak = table_at(peak_pressures(gas).mean(axis=1)[:, None], speed, gas.intake, gas.exhaust, gas.nodes)[0]
            words.append(f"mean peak pressure {peak * bar:.1f} bar")
    else:
        words = [name.replace("_", " ") for name in SIMPLE if getattr(friction, name)]
    return ", ".join([*words, *_cold(friction, packed, speed)]) or "none"


def _cold(friction: Friction, packed: Packed, speed: float | None) -> list[str]:
    if friction.oil_temperature is not None:
        known = packed.model.gas.nodes.speeds  # one alone is that of the run, 0 where the gas knows none
        at_speed = np.array([known[0] if known.size == 1 or speed is None else speed])
        assert packed.layout is not None
        factor = oil_factors(friction, packed.layout, at_speed)[0]
        at = round(friction.oil_temperature - ICE_POINT, 2)
        return [f"{friction.oil} oil at {at:g} °C (rise with speed × {factor:.2f})"]
    return [f"cold factor {friction.cold_factor:g}"] if not math.isclose(friction.cold_factor, 1.0) else []
