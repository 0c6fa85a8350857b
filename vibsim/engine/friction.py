"""Friction torque of the engine, reacted on the block."""

from __future__ import annotations

import math

from vibsim.engine.layout import Layout
from vibsim.inputs.models import Engine
from vibsim.jit import inlined

STANDSTILL = 1.0  # rad/s over which dry friction changes sign


def friction_coefficients(engine: Engine, layout: Layout) -> tuple[float, float]:
    """Dry torque (N m) and torque per speed (N m s).

    A mean effective pressure p acts as the torque p·V/(cycle angle), from work per cycle (derived).
    """
    friction, volume_per_angle = engine.friction, layout.swept_volume / layout.cycle
    return (
        friction.torque + friction.mean_effective_pressure * volume_per_angle,
        friction.viscous + friction.mean_effective_pressure_rise * volume_per_angle,
    )


@inlined
def friction_torque(speed, coefficients):
    """Torque (N m) against the rotation at crank speed (rad/s)."""
    return coefficients[0] * math.tanh(speed / STANDSTILL) + coefficients[1] * speed
