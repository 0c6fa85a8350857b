"""Energy and momentum of a state: what the laws of mechanics keep constant."""

from __future__ import annotations

import numpy as np

from vibsim.solver.motion import V, W, derivatives, scratch
from vibsim.solver.moving_parts import S_
from vibsim.solver.packed import STATES_PER_BODY, Packed
from vibsim.solver.rotor_motion import SPEED
from vibsim.structure.rotation import matrix_of


def kinetic_energy(y: np.ndarray, packed: Packed) -> float:
    """Kinetic energy (J) of everything: half of momentum times velocity."""
    model = packed.model
    (w, e), rates = scratch(model.bodies.size), np.zeros_like(y)
    derivatives(y, model, w, e, rates)
    speed = rates[-2]
    energy = 0.5 * y[-1] * speed if model.carrier >= 0 else 0.0
    if model.rotors is not None:
        states = model.rotors.parts["state"][1:]
        energy += 0.5 * float(y[states] @ model.rotors.work[1:, SPEED])
    for b in range(model.bodies.size):
        at = STATES_PER_BODY * b
        energy += 0.5 * (y[at + 7 : at + 10] @ w[b, V : V + 3] + y[at + 10 : at + 13] @ w[b, W : W + 3])
    modes = model.flex.modes if model.flex is not None else ()
    return float(energy + sum(0.5 * y[mode["rate"]] ** 2 for mode in modes))


def strain_energy(y: np.ndarray, packed: Packed) -> float:
    """Energy (J) of the elastic deformation of flexible bodies."""
    modes = packed.model.flex.modes if packed.model.flex is not None else ()
    return float(sum(0.5 * mode["square"] * y[mode["at"]] ** 2 for mode in modes))


def weight_energy(y: np.ndarray, packed: Packed) -> float:
    """Potential energy (J) of the weight of bodies and moving parts."""
    model = packed.model
    w, e = scratch(model.bodies.size)
    derivatives(y, model, w, e, np.zeros_like(y))
    height = float(sum(model.bodies[b]["mass"] * y[STATES_PER_BODY * b + 2] for b in range(model.bodies.size)))
    if model.carrier >= 0:
        at = STATES_PER_BODY * model.carrier
        height += model.train.mass * y[at + 2] + (matrix_of(y[at + 3 : at + 7]) @ e[S_ : S_ + 3])[2]
    return model.gravity * height


def momentum(y: np.ndarray, packed: Packed) -> tuple[np.ndarray, np.ndarray]:
    """Total momentum (3, N s) and angular momentum about the vehicle origin (3, N m s), vehicle axes."""
    linear, angular = np.zeros(3), np.zeros(3)
    for b in range(len(packed.names)):
        at = STATES_PER_BODY * b
        own = matrix_of(y[at + 3 : at + 7])
        push = own @ y[at + 7 : at + 10]
        linear += push
        angular += own @ y[at + 10 : at + 13] + np.cross(y[at : at + 3], push)
    return linear, angular
