"""Torque of gas and of pistons and rods on every throw over a working cycle, at constant speed on a still block."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vibsim.engine.drivetrain import Drivetrain
from vibsim.engine.moving_mass import moving_mass
from vibsim.jit import kernel
from vibsim.solver.motion import ENGINE, gas_weights, loss_torque
from vibsim.solver.moving_parts import gas_of_cylinder
from vibsim.solver.packed import Packed

POINTS_PER_TURN = 720


@dataclass(frozen=True, eq=False)
class PartTorques:
    """Complex amplitudes (harmonics, parts) N m: of the gas, and of the moving parts' inertia per squared crank speed;
    torque = Re Σ amplitude·e^{i·order·θ}. `orders` (harmonics) per crank turn, without the mean; `mean` N m at the
    output, losses off."""

    orders: np.ndarray
    gas: np.ndarray
    inertia: np.ndarray
    mean: float


@kernel
def _gas(angles, speed, model, found):
    e = np.zeros(ENGINE)
    gas_weights(speed, model, e)
    for i in range(found.shape[1]):
        for n in range(angles.size):
            if model.gas.active:
                found[n, i] = gas_of_cylinder(i, model.train.cylinders[i], angles[n], model.gas, e)
    return loss_torque(speed, model, e)


@kernel
def _inertia(angles, train, found):
    for n in range(angles.size):
        found[n] = -0.5 * moving_mass(angles[n], train).polar1


def part_torques(packed: Packed, found: Drivetrain, speed: float, highest_order: float) -> PartTorques:
    """Orders up to the highest at a crank speed (rad/s), from a model packed for that speed and its load."""
    turns = round(packed.cycle / (2.0 * np.pi))
    angles = np.linspace(0.0, packed.cycle, POINTS_PER_TURN * turns, endpoint=False)
    by_cylinder = np.zeros((len(angles), packed.model.train.cylinders.size))
    losses = _gas(angles, speed, packed.model, by_cylinder)
    gas, inertia = np.zeros((len(angles), len(found.parts))), np.zeros((len(angles), len(found.parts)))
    for n, part in enumerate(found.parts):
        if part.train is not None:
            gas[:, n] = by_cylinder[:, list(part.cylinders)].sum(axis=1)
            course = np.zeros(len(angles))
            _inertia(angles, part.train, course)
            inertia[:, n] = course
    count = round(highest_order * turns)
    orders = np.arange(1, count + 1) / turns
    scale = 2.0 / len(angles)
    return PartTorques(
        orders,
        scale * np.fft.fft(gas, axis=0)[1 : count + 1],
        scale * np.fft.fft(inertia, axis=0)[1 : count + 1],
        float(gas.sum(axis=1).mean() - losses),
    )
