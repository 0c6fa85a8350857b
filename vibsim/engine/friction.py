"""Friction torque of the engine, reacted on the block: c0·tanh(speed) + c1·speed + c2·speed·|speed|."""

from __future__ import annotations

import math

import numpy as np

from vibsim.engine.layout import Layout
from vibsim.engine.node_grid import AXIS, WEIGHTS, count, fill_weights, node_count
from vibsim.engine.oil import thickening
from vibsim.engine.packed_gas import Gas
from vibsim.inputs.friction_models import ChenFlynnFriction, Friction, SimpleFriction
from vibsim.inputs.models import Engine
from vibsim.jit import apart, inlined, inner, kernel

STANDSTILL = 1.0  # rad/s over which dry friction changes sign

# one record per loss, felt at the crank: dry torque, torque per speed and per squared speed; of an accessory also the
# `body` that takes it (−1 ground), a torque `held` at any speed, and the power (W) it takes from `cut_in` (rad/s) on,
# fully from `full` on, at a torque of at most `limit`
LOSS = np.dtype(
    [("body", np.int64)]
    + [(name, float) for name in ("held", "dry", "viscous", "square", "power", "cut_in", "full", "limit")]
)

Coefficients = tuple[float | np.ndarray, float, float]  # dry at one or all nodes, per speed, per squared speed


def pack_friction(engine: Engine, layout: Layout, gas: Gas) -> np.ndarray:
    """Records of friction, one for each node of `gas`, as the peak pressure depends on them.

    A mean effective pressure p acts as the torque p·V/(cycle angle), from work per cycle (derived).
    """
    needed = isinstance(engine.friction, ChenFlynnFriction)
    peaks = peak_pressures(gas) if needed else np.zeros((gas.nodes.size, 0))
    speeds = np.repeat(gas.nodes.speeds, gas.nodes.intakes.size * gas.nodes.exhausts.size)
    return friction_records(engine, layout, peaks, speeds)


def friction_records(engine: Engine, layout: Layout, peaks: np.ndarray, speeds: np.ndarray) -> np.ndarray:
    """Records of friction for peak pressures (n, cylinders) Pa at crank speeds (n) rad/s.

    Cold oil is the less thick the faster its films are sheared: what rises with speed is right at every one of the
    speeds, as one slope, that of the last, and a part that does not depend on speed.
    """
    friction, records = engine.friction, np.zeros(len(peaks), dtype=LOSS)
    if isinstance(friction, ChenFlynnFriction):
        coefficients = _chen_flynn(friction, layout, peaks)
    else:
        coefficients = _simple(friction, layout.swept_volume / layout.cycle)
    for name, coefficient in zip(("dry", "viscous", "square"), coefficients, strict=True):
        records[name] = friction.cold_factor * coefficient
    if friction.oil_temperature is not None:
        factors = oil_factors(friction, layout, speeds)
        records["dry"] += records["viscous"] * (factors - factors[-1]) * speeds
        records["viscous"] *= factors[-1]
    return records


def oil_factors(friction: Friction, layout: Layout, speeds: np.ndarray) -> np.ndarray:
    """What the oil's temperature makes of friction that rises with speed, over warm oil's, at crank speeds (n)."""
    if friction.oil_temperature is None:
        return np.ones(len(speeds))
    travel = np.mean([cylinder.swept_volume / cylinder.area for cylinder in layout.cylinders]) / math.pi
    return np.array([thickening(friction.oil, friction.oil_temperature, travel * abs(speed)) for speed in speeds])


def _simple(friction: SimpleFriction, volume_per_angle: float) -> Coefficients:
    return (
        friction.torque + friction.mean_effective_pressure * volume_per_angle,
        friction.viscous + friction.mean_effective_pressure_rise * volume_per_angle,
        0.0,
    )


def _chen_flynn(friction: ChenFlynnFriction, layout: Layout, peaks: np.ndarray) -> Coefficients:
    """Each cylinder at its own peak pressure and mean piston speed, travel·speed/π, summed by swept volume."""
    volume = np.array([cylinder.swept_volume for cylinder in layout.cylinders]) / layout.cycle
    piston = np.array([cylinder.swept_volume / cylinder.area for cylinder in layout.cylinders]) / math.pi
    dry = (friction.A + friction.B * peaks) @ volume
    return dry, float(friction.C * volume @ piston), float(friction.D * volume @ piston**2)


def peak_pressures(gas: Gas) -> np.ndarray:
    """Peak absolute pressure (Pa) of each cylinder's curve at each node of the gas (nodes, cylinders)."""
    if not gas.active:
        return np.full((gas.nodes.size, gas.charges.size), gas.ambient)
    width = np.diff(gas.breaks, axis=1)[:, :, None]
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
    return np.max(found, axis=(0, 2))[gas.charges["curve"]].T


@inner
def friction_under(losses, nodes, e, at):
    """The three coefficients: the first of `losses` hold at `nodes`, here under the weights in e[at : at + WEIGHTS]."""
    if node_count(nodes) == 1:
        return losses[0].dry, losses[0].viscous, losses[0].square
    return _dry(losses, nodes, e, at), losses[0].viscous, losses[0].square


@apart
def _dry(losses, nodes, e, at):
    """The one coefficient that differs from node to node."""
    dry = 0.0
    for s in range(count(nodes.speeds)):
        for i in range(count(nodes.intakes)):
            row = (int(e[at]) + s) * nodes.intakes.size + int(e[at + AXIS]) + i
            for b in range(count(nodes.exhausts)):
                weight = e[at + 1 + s] * e[at + AXIS + 1 + i] * e[at + 2 * AXIS + 1 + b]
                dry += weight * losses[row * nodes.exhausts.size + int(e[at + 2 * AXIS]) + b].dry
    return dry


@kernel
def friction_at(speed, losses, gas):
    """The three coefficients at crank speed (rad/s) and the intake and exhaust pressure of `gas`."""
    e = np.zeros(WEIGHTS)
    fill_weights(speed, gas.intake, gas.exhaust, gas.nodes, e, 0)
    return friction_under(losses, gas.nodes, e, 0)


@inlined
def friction_law(speed, dry, viscous, square):
    """Torque (N m) against the rotation at crank speed (rad/s)."""
    return dry * math.tanh(speed / STANDSTILL) + speed * (viscous + square * abs(speed))


@kernel
def friction_torque(speed, losses, gas):
    """Friction torque (N m) against the rotation at crank speed (rad/s)."""
    dry, viscous, square = friction_at(speed, losses, gas)
    return friction_law(speed, dry, viscous, square)
