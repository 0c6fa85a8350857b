"""Where a run starts: bodies as drawn or in static equilibrium, the crank turning, everything else at rest."""

from __future__ import annotations

import numpy as np

from vibsim.engine.accessories import held_at
from vibsim.inputs.errors import InputError
from vibsim.solver.motion import A_, B_, C_, derivatives, fill_engine, scratch
from vibsim.solver.packed import STATES_PER_BODY, Model, Packed
from vibsim.solver.rest import at_rest, deflections, held_at_speed
from vibsim.solver.stepper import Control
from vibsim.structure.rotation import matrix_of, multiply, quaternion_of_matrix, quaternion_of_vector
from vibsim.structure.statics import Equilibrium, find_equilibrium

PLACE_FLOOR, ANGLE_FLOOR = 1e-3, 1e-3  # m, rad: the scales that tolerance is a share of
SPEED_FLOOR, SPIN_FLOOR, CRANK_FLOOR = 0.1, 0.1, 1.0  # m/s, rad/s, rad/s
CRANK_SHARE = 0.1  # of the crank's momentum: its swing, which is what is asked for, is a small part of it


def state_at(packed: Packed, displacement: np.ndarray, crank_angle: float = 0.0, speed: float = 0.0) -> np.ndarray:
    """State with bodies displaced (bodies, 6: m, rotation vector) and at rest, mounts relaxed there, the crank at speed
    (rad/s)."""
    model, bodies = packed.model, len(packed.names)
    y = np.zeros(packed.state_size)
    for b in range(bodies):
        at = STATES_PER_BODY * b
        y[at : at + 3] = packed.centres[b] + displacement[b, :3]
        turn = quaternion_of_vector(displacement[b, 3:])
        y[at + 3 : at + 7] = multiply(turn, quaternion_of_matrix(packed.axes[b]))
    y[STATES_PER_BODY * bodies : -2] = [state.start for state in packed.more_states]
    at_rest(y, model)
    y[-2], y[-1] = crank_angle, speed
    if model.carrier >= 0:
        e = scratch(bodies)[1]
        fill_engine(crank_angle, model, e)
        at = STATES_PER_BODY * model.carrier
        y[at + 7 : at + 10] = e[A_ : A_ + 3] * speed
        y[at + 10 : at + 13] = e[B_ : B_ + 3] * speed
        y[-1] = e[C_] * speed
    return y


def mount_deflections(packed: Packed, displacement: np.ndarray) -> np.ndarray:
    """Deflections (mounts, 3) m along the mounts' own axes, bodies displaced as `state_at` takes it; of a rod the whole
    vector between its points."""
    return deflections(state_at(packed, displacement), packed.model)


def static_model(model: Model, torque: float, speed: float) -> Model:
    """The model for statics: no gas, the output torque (N m) constant, accessories and scheduled mounts as at a crank
    speed (rad/s)."""
    losses = held_at(model.losses, model.gas.speeds, speed)
    still = model.gas._replace(active=False)
    load = (float(torque), 0.0, 0.0, 0.0)
    return model._replace(gas=still, load=load, losses=losses, mounts=held_at_speed(model, speed))


def static_forces(packed: Packed, displacement: np.ndarray) -> np.ndarray:
    """Force (N) and moment (N m, about each reference point), vehicle axes, on bodies at rest; flat (6 per body).

    The model is one for statics; the crank is held in the block at angle zero.
    """
    y = state_at(packed, displacement.reshape(-1, 6))
    w, e = scratch(len(packed.names))
    out = np.zeros(y.size)
    derivatives(y, packed.model, w, e, out)
    forces = []
    for b in range(len(packed.names)):
        at = STATES_PER_BODY * b
        own = matrix_of(y[at + 3 : at + 7])
        forces += [own @ out[at + 7 : at + 10], own @ out[at + 10 : at + 13]]
    return np.concatenate(forces)


def equilibrium(packed: Packed, torque: float = 0.0, speed: float = 0.0) -> Equilibrium:
    """Static equilibrium under weight, an output torque (N m) and accessories as at a crank speed (rad/s).

    Raises RunFailure.
    """
    model = static_model(packed.model, torque, speed)
    total = float(model.bodies["mass"].sum()) + model.train.mass

    def residual(x: np.ndarray, share: float) -> np.ndarray:
        return static_forces(packed._replace(model=_under(model, share)), x)

    scale = max(total * model.gravity, abs(torque), 1.0)
    return find_equilibrium(residual, packed.names, scale)


def _under(model: Model, share: float) -> Model:
    """A model for statics under a share of all that loads it."""
    losses = model.losses.copy()
    losses["held"] *= share
    load = (share * model.load[0], 0.0, 0.0, 0.0)
    return model._replace(load=load, losses=losses, gravity=share * model.gravity)


def error_control(packed: Packed, tolerance: float, most_steps: int) -> Control:
    """Error floors and weights of the states: places and rotations absolute, momenta with a floor of small speeds."""
    model = packed.model
    floor, relative = np.empty(packed.state_size), np.ones(packed.state_size)
    for b in range(len(packed.names)):
        at = STATES_PER_BODY * b
        mass = model.bodies[b]["mass"] + (model.train.mass if b == model.carrier else 0.0)
        floor[at : at + 3], relative[at : at + 3] = PLACE_FLOOR, 0.0
        floor[at + 3 : at + 7], relative[at + 3 : at + 7] = ANGLE_FLOOR, 0.0
        floor[at + 7 : at + 10] = mass * SPEED_FLOOR
        floor[at + 10 : at + 13] = max(model.bodies[b][entry] for entry in ("xx", "yy", "zz")) * SPIN_FLOOR
    for at, state in enumerate(packed.more_states, start=STATES_PER_BODY * len(packed.names)):
        floor[at], relative[at] = state.floor, state.relative
    floor[-2], relative[-2] = 1.0, 0.0
    floor[-1], relative[-1] = CRANK_FLOOR * model.train.rotor_inertia, CRANK_SHARE
    return Control(tolerance, floor, relative, most_steps)


def require_engine(packed: Packed) -> None:
    if packed.layout is None:
        raise InputError("engine: is missing; a run needs an [engine] table (vibsim modes works without one)")
