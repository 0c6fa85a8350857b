"""Friction torque of the engine, reacted on the block: c0·tanh(speed) + c1·speed + c2·speed·|speed|."""

from __future__ import annotations

import math

import numpy as np

from vibsim.engine.layout import Layout
from vibsim.engine.oil import thickening
from vibsim.engine.pressure import Gas
from vibsim.inputs.friction_models import ChenFlynnFriction, SimpleFriction
from vibsim.inputs.models import Engine
from vibsim.jit import inlined

STANDSTILL = 1.0  # rad/s over which dry friction changes sign


def friction_coefficients(engine: Engine, layout: Layout, gas: Gas) -> np.ndarray:
    """Dry torque (N m), torque per speed (N m s) and per squared speed (N m s²), in rows.

    One row that holds at any speed, or one for each of the speeds of `gas` where the peak pressure depends on them.
    A mean effective pressure p acts as the torque p·V/(cycle angle), from work per cycle (derived).
    """
    friction = engine.friction
    if isinstance(friction, ChenFlynnFriction):
        rows = _chen_flynn(friction, layout, gas)
    else:
        rows = np.array([_simple(friction, layout.swept_volume / layout.cycle)])
    if friction.oil_temperature is not None:
        rows[:, 1] *= thickening(friction.oil, friction.oil_temperature)
    return friction.cold_factor * rows


def _simple(friction: SimpleFriction, volume_per_angle: float) -> tuple[float, float, float]:
    return (
        friction.torque + friction.mean_effective_pressure * volume_per_angle,
        friction.viscous + friction.mean_effective_pressure_rise * volume_per_angle,
        0.0,
    )


def _chen_flynn(friction: ChenFlynnFriction, layout: Layout, gas: Gas) -> np.ndarray:
    """Each cylinder at its own peak pressure and mean piston speed, travel·speed/π, summed by swept volume."""
    volume = np.array([cylinder.swept_volume for cylinder in layout.cylinders]) / layout.cycle
    piston = np.array([cylinder.swept_volume / cylinder.area for cylinder in layout.cylinders]) / math.pi
    dry = (friction.A + friction.B * peak_pressures(gas)) @ volume
    rising = np.full_like(dry, friction.C * volume @ piston)
    return np.column_stack([dry, rising, np.full_like(dry, friction.D * volume @ piston**2)])


def peak_pressures(gas: Gas) -> np.ndarray:
    """Peak absolute pressure (Pa) of each cylinder's curve at each speed of the gas (speeds, cylinders)."""
    if not gas.active:
        return np.full((gas.speeds.size, gas.charges.size), gas.ambient)
    width = np.diff(gas.breaks, axis=1)[None]
    width = np.where(np.isfinite(width), width, 0.0)  # padding of the shorter curves
    c0, c1, c2, c3 = np.moveaxis(gas.coefficients, -1, 0)
    # a piece peaks at its left end or where its slope c1 + 2·c2·x + 3·c3·x² vanishes, written so that c3 may be zero
    root = np.sqrt(np.maximum(c2 * c2 - 3.0 * c1 * c3, 0.0))
    below = -(c2 + np.where(c2 < 0.0, -root, root))
    with np.errstate(divide="ignore", invalid="ignore"):
        places = [np.nan_to_num(place, nan=0.0) for place in (c1 / below, below / (3.0 * c3))]
    found = [c0]
    for place in places:
        x = np.clip(place, 0.0, width)
        found.append(c0 + x * (c1 + x * (c2 + x * c3)))
    return np.max(found, axis=(0, 3))[:, gas.charges["curve"]]


@inlined
def friction_at(speed, friction, speeds):
    """The three coefficients at crank speed (rad/s): rows of `friction` (n, 3) at `speeds`, between them linear."""
    if friction.shape[0] == 1:
        return friction[0, 0], friction[0, 1], friction[0, 2]
    size, low = abs(speed), 0
    while low < speeds.size - 2 and size >= speeds[low + 1]:
        low += 1
    share = (size - speeds[low]) / (speeds[low + 1] - speeds[low])
    share = min(max(share, 0.0), 1.0)
    dry = friction[low, 0] + share * (friction[low + 1, 0] - friction[low, 0])
    return dry, friction[low, 1], friction[low, 2]


@inlined
def friction_law(speed, dry, viscous, square):
    """Torque (N m) against the rotation at crank speed (rad/s)."""
    return dry * math.tanh(speed / STANDSTILL) + speed * (viscous + square * abs(speed))


@inlined
def friction_torque(speed, friction, speeds):
    """Friction torque (N m) against the rotation at crank speed (rad/s)."""
    dry, viscous, square = friction_at(speed, friction, speeds)
    return friction_law(speed, dry, viscous, square)
