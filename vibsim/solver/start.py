"""Where a run starts: bodies as drawn or in static equilibrium, the crank turning, everything else at rest."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vibsim.engine.accessories import held_at
from vibsim.inputs.errors import InputError
from vibsim.solver.motion import derivatives, fill_engine, scratch
from vibsim.solver.moving_parts import A_, B_, C_
from vibsim.solver.near_rest import forces_near, move
from vibsim.solver.packed import PLACE_FLOOR, SPEED_FLOOR, STATES_PER_BODY, Model, Packed
from vibsim.solver.rest import at_rest, deflections, held_at_speed
from vibsim.solver.rotor_pack import spin_up, twist, without_damping
from vibsim.solver.stepper import Control
from vibsim.structure.rotation import quaternion_of_matrix
from vibsim.structure.statics import Equilibrium, find_equilibrium

ANGLE_FLOOR = 1e-3  # rad: the scale that tolerance is a share of
SPIN_FLOOR, CRANK_FLOOR = 0.1, 1.0  # rad/s, rad/s
NOT_ASKED = np.empty((0, 0))
CRANK_SHARE = 0.1  # of the crank's momentum: its swing, which is what is asked for, is a small part of it


def state_at(packed: Packed, displacement: np.ndarray, crank_angle: float = 0.0, speed: float = 0.0) -> np.ndarray:
    """State with bodies displaced (bodies, 6: m, rotation vector) and at rest, mounts relaxed there, the crank at speed
    (rad/s)."""
    model, bodies = packed.model, len(packed.names)
    y = np.zeros(packed.state_size)
    for b in range(bodies):
        at = STATES_PER_BODY * b
        y[at : at + 3] = packed.centres[b]
        y[at + 3 : at + 7] = quaternion_of_matrix(packed.axes[b])
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
    if model.rotors is not None:
        start_rotors(y, packed, speed)
    if not np.any(displacement):
        return y
    moved = np.empty_like(y)
    move(np.ascontiguousarray(displacement, dtype=float).ravel(), y, model, moved)
    return moved


def start_rotors(y: np.ndarray, packed: Packed, speed: float) -> None:
    """Give the rotors of a state with its bodies at rest the speeds that go with a crank speed (rad/s), no shaft
    twisted."""
    rotors, found = packed.model.rotors, packed.drivetrain
    assert rotors is not None and found is not None
    felt = np.array([part.inertia for part in found.parts])
    if rotors.throws:
        w, e = scratch(len(packed.names))
        derivatives(y, packed.model, w, e, np.zeros_like(y))
        felt[: 1 + rotors.throws] = rotors.work[: 1 + rotors.throws, C_]
        y[-1] = felt[0] * speed
    spin_up(y, rotors, speed, felt, len(packed.names))


def under_load(y: np.ndarray, packed: Packed, torque: float) -> None:
    """Twist the shafts of a state as they stand under a mean load (N m, felt at the crank); nothing without shafts."""
    if packed.model.rotors is not None and packed.drivetrain is not None:
        twist(y, packed.model.rotors, packed.drivetrain, torque)


def mount_deflections(packed: Packed, displacement: np.ndarray) -> np.ndarray:
    """Deflections (mounts, 3) m along the mounts' own axes, bodies displaced as `state_at` takes it; of a rod the whole
    vector between its points."""
    return deflections(state_at(packed, displacement), packed.model)


def static_model(model: Model, torque: float, speed: float) -> Model:
    """The model for statics: no gas, the output torque (N m) constant, accessories and scheduled mounts as at a crank
    speed (rad/s); shafts that hold their torque and do nothing besides."""
    losses = held_at(model.losses, model.gas.nodes.size, speed)
    still = model.gas._replace(active=False)
    load = (float(torque), 0.0, 0.0, 0.0)
    rotors = None if model.rotors is None else without_damping(model.rotors)
    return model._replace(gas=still, load=load, losses=losses, mounts=held_at_speed(model, speed), rotors=rotors)


@dataclass(frozen=True)
class Preload:
    """What loads bodies at rest beside weight, output torque and accessories.

    `acceleration` (3) m/s² of the whole vehicle, vehicle axes: every mass m feels −m·a (d'Alembert). `moment`
    (bodies, 3) N m along the axes of the engine's body and turning with it. `held` bodies (indices) stay as drawn.
    """

    acceleration: np.ndarray
    moment: np.ndarray
    held: tuple[int, ...] = ()


def no_preload(packed: Packed) -> Preload:
    return Preload(np.zeros(3), np.zeros((len(packed.names), 3)))


class AtRest:
    """Forces on the bodies of a model at rest under its weight, an output torque (N m), accessories as at a crank speed
    (rad/s) and a preload; the crank is held in the block at angle zero."""

    def __init__(self, packed: Packed, torque: float = 0.0, speed: float = 0.0, preload: Preload | None = None):
        self._packed = packed
        self._preload = no_preload(packed) if preload is None else preload
        self._model = static_model(packed.model, torque, speed)
        self._drawn = state_at(packed, np.zeros((len(packed.names), 6)))
        under_load(self._drawn, packed, torque)
        self._free = [b for b in range(len(packed.names)) if b not in self._preload.held]
        self._moving = np.concatenate([np.arange(6 * b, 6 * b + 6) for b in self._free] or [np.zeros(0, np.int64)])
        self._size = 6 * len(packed.names)
        self._parts: dict[float, tuple[Model, np.ndarray, np.ndarray]] = {}
        self._scale = max(self._load(torque), 1.0)

    def state(self, displacement: np.ndarray) -> np.ndarray:
        """The state with bodies displaced (6 per body) and at rest."""
        state = np.empty_like(self._drawn)
        model = self._under(1.0)[0]
        move(np.ascontiguousarray(displacement, dtype=float).ravel(), self._drawn, model, state)
        return state

    def forces(self, displacement: np.ndarray, share: float = 1.0) -> np.ndarray:
        """Force (N) and moment (N m, about reference points), vehicle axes, on all bodies (6 per body) moved from the
        drawn place (6 per body: m, rotation vector), under a share of all that loads them."""
        return self._near(displacement, self._drawn, share)[0]

    def slope(self, displacement: np.ndarray, share: float = 1.0) -> np.ndarray:
        """How `forces` change with the displacement, square."""
        return self._near(displacement, self._drawn, share, slope=self._square())[1]

    def slopes_at(self, start: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """How the forces under the whole load change with displacements from state `start`, and with the bodies'
        speeds there, wheels and occupants held; square, modal coordinates after the bodies."""
        (model, field, moment), size = self._frozen(), self._packed.moved
        slope, drag, force = np.empty((size, size)), np.empty((size, size)), np.empty(size)
        forces_near(np.zeros(size), start, model, field, moment, force, slope, drag)
        return slope, drag

    def frozen_forces(self, start: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Forces on all bodies (6 per body, then on modal coordinates) under the whole load in a state at rest but for
        wheels and occupants, which are held as they are there, and the rates of that state."""
        (model, field, moment), size = self._frozen(), self._packed.moved
        force, rates = np.empty(size), np.zeros_like(start)
        forces_near(np.zeros(size), start, model, field, moment, force, NOT_ASKED, NOT_ASKED)
        derivatives(start, model, *scratch(len(self._packed.names)), rates)
        return force, rates

    def _frozen(self) -> tuple[Model, np.ndarray, np.ndarray]:
        model, field, moment = self._under(1.0)
        if model.parts is not None:
            model = model._replace(parts=model.parts._replace(frozen=True))
        return model, field, moment

    def equilibrium(self) -> Equilibrium:
        """Where the forces on all bodies that are not held vanish. Raises RunFailure."""
        moving, names = self._moving, [self._packed.names[b] for b in self._free]
        whole = np.zeros(self._size)

        def residual(x: np.ndarray, share: float) -> np.ndarray:
            whole[moving] = x
            return self.forces(whole, share)[moving]

        def slope(x: np.ndarray, share: float) -> np.ndarray:
            whole[moving] = x
            return self.slope(whole, share)[np.ix_(moving, moving)]

        found = find_equilibrium(residual, names, self._scale, slope)
        displacement = np.zeros((len(self._packed.names), 6))
        displacement[self._free] = found.displacement
        return Equilibrium(displacement, found.residual)

    def _near(
        self,
        displacement: np.ndarray,
        start: np.ndarray,
        share: float,
        slope: np.ndarray = NOT_ASKED,
        drag: np.ndarray = NOT_ASKED,
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        model, field, moment = self._under(share)
        x = np.ascontiguousarray(displacement, dtype=float).ravel()
        force = np.empty(x.size)
        forces_near(x, start, model, field, moment, force, slope, drag)
        return force, slope, drag

    def _square(self) -> np.ndarray:
        return np.empty((self._size, self._size))

    def _under(self, share: float) -> tuple[Model, np.ndarray, np.ndarray]:
        """Model, field and moments under a share of all that loads it."""
        if share not in self._parts:
            model, preload = self._model, self._preload
            losses = model.losses.copy()
            losses["held"] *= share
            load = (share * model.load[0], 0.0, 0.0, 0.0)
            parts = model.parts
            if parts is not None:
                ax, ay, az = (share * float(entry) for entry in preload.acceleration)
                parts = parts._replace(acceleration=(ax, ay, az))
            model = model._replace(load=load, losses=losses, gravity=share * model.gravity, parts=parts)
            if model.rotors is not None:
                shafts = model.rotors.shafts.copy()
                shafts["share"] *= share
                model = model._replace(rotors=model.rotors._replace(shafts=shafts))
            self._parts[share] = model, -share * preload.acceleration, share * preload.moment
        return self._parts[share]

    def _load(self, torque: float) -> float:
        """The largest load, N or N m."""
        model, preload = self._model, self._preload
        total = float(model.bodies["mass"].sum()) + model.train.mass
        felt = model.gravity + float(np.linalg.norm(preload.acceleration))
        return max(total * felt, abs(torque), float(np.abs(preload.moment).max(initial=0.0)))


def equilibrium(packed: Packed, torque: float = 0.0, speed: float = 0.0, preload: Preload | None = None) -> Equilibrium:
    """Static equilibrium under weight, an output torque (N m), accessories as at a crank speed (rad/s) and a preload.

    Raises RunFailure.
    """
    return AtRest(packed, torque, speed, preload).equilibrium()


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
