"""Torque on the crank over a working cycle at constant speed on a still block, without a run.

With the crank's equation ṗ = ½C'φ̇² + gas − losses − load, p = C·φ̇ and φ̇ constant, the output torque is
gas − ½C'φ̇² − losses (derived; C the inertia felt at the crank, motion.py). What a real crank's uneven speed, a moving
block and the moving parts' weight add to that is left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vibsim.engine.moving_mass import moving_mass
from vibsim.jit import kernel
from vibsim.solver.motion import ENGINE, gas_weights, loss_torque, torque_of_gas
from vibsim.solver.packed import Packed

POINTS = 1440  # of a working cycle


@dataclass(frozen=True, eq=False)
class TorqueCourse:
    """Over crank angle (n) rad, equal steps of one working cycle: torque of the gas and of the inertia of pistons and
    rods (n) N m, inertia felt at the crank (n) kg m²; `losses` N m of friction, accessories and charging."""

    angle: np.ndarray
    gas: np.ndarray
    inertia: np.ndarray
    felt: np.ndarray
    losses: float

    @property
    def net(self) -> np.ndarray:
        """Torque at the flywheel before the load (n), N m."""
        return self.gas + self.inertia - self.losses


@kernel
def _fill(angles, speed, model, gas, inertia, felt):
    """Gas and inertia torque (N m) and felt inertia (kg m²) at crank angles (n); returns the losses."""
    e = np.zeros(ENGINE)
    gas_weights(speed, model, e)
    for n in range(angles.size):
        gas[n] = torque_of_gas(angles[n], model, e)
        sums = moving_mass(angles[n], model.train)
        inertia[n] = -0.5 * sums.polar1 * speed * speed
        felt[n] = sums.polar
    return loss_torque(speed, model, e)


def torque_course(packed: Packed, speed: float, points: int = POINTS) -> TorqueCourse:
    """The course at a crank speed (rad/s), from a model packed for that speed and its load."""
    angles = np.linspace(0.0, packed.period, points * packed.repeats, endpoint=False)
    gas, inertia, felt = np.empty_like(angles), np.empty_like(angles), np.empty_like(angles)
    losses = _fill(angles, speed, packed.model, gas, inertia, felt)
    return TorqueCourse(angles, gas, inertia, felt, losses)


def mean_torque(packed: Packed, speed: float) -> float:
    """Mean of gas less friction and accessory torque (N m) over a cycle at constant speed (rad/s)."""
    course = torque_course(packed, speed)
    return float(course.gas.mean() - course.losses)


def losses_at(packed: Packed, speed: float) -> float:
    """Torque of friction and accessories (N m) at a crank speed (rad/s)."""
    return torque_course(packed, speed, points=1).losses


def mean_inertia(packed: Packed) -> float:
    """Inertia (kg m²) that the crank feels on a still block, its mean over a cycle, with all that it drives."""
    driven = packed.drivetrain.driven_inertia if packed.drivetrain else 0.0
    return float(torque_course(packed, 1.0).felt.mean()) + driven
