"""What mounts and sensors feel of one engine order, from the linear model: the fast and independent forecast of a run.

The crank turns freely in its block at nearly constant speed, so its inertia stays behind in roll; its angular momentum
couples the turns of its body. Moving parts enter the mass by their average over a revolution.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vibsim.inputs.models import Sensor
from vibsim.solver.linearise import Linear, linearise, mass_at_rest, moved_state
from vibsim.solver.motion import A1_, A_, B1_, B_, C_, ENGINE, fill_engine, gas_torque
from vibsim.solver.observe import observe
from vibsim.solver.packed import Packed
from vibsim.solver.rest import held_at_speed
from vibsim.solver.start import state_at

POINTS_PER_TURN = 360
LENGTH_STEP, SPEED_STEP = 1e-6, 1e-4  # m or rad, m/s or rad/s


@dataclass(frozen=True)
class OrderResponse:
    """The linear model at one crank speed (rad/s), unknowns as in `Linear`.

    `push` (points, unknowns) the force and moment of the moving parts and the gas on the engine's body over one working
    cycle of `turns` crank turns; `mount_stiffness`, `mount_damping` (mounts, 3, unknowns) the force on a mount's second
    body per displacement and per speed; `feel` (sensors, 3, unknowns) the displacement of a sensor.
    """

    packed: Packed
    linear: Linear
    speed: float
    turns: int
    push: np.ndarray
    mount_stiffness: np.ndarray
    mount_damping: np.ndarray
    feel: np.ndarray

    def excitation(self, order: float) -> np.ndarray:
        """Complex amplitude (unknowns) of the push at an order: value = Re(amplitude·e^{i·order·θ})."""
        index = round(order * self.turns)
        return 2.0 * np.fft.fft(self.push, axis=0)[index] / len(self.push)

    def displacement(self, order: float, push: np.ndarray) -> np.ndarray:
        """Complex displacement (unknowns, ...) under pushes (unknowns, ...) of an order."""
        rate = order * self.speed
        damping = self.linear.damping + _gyroscopic(self.packed, self.speed)
        return np.linalg.solve(self.linear.stiffness + 1j * rate * damping - rate**2 * self.linear.mass, push)

    def sensors(self, order: float, displacement: np.ndarray) -> np.ndarray:
        """Complex acceleration (sensors, 3, ...) from a displacement of an order, m/s²."""
        return -((order * self.speed) ** 2) * np.tensordot(self.feel, displacement, axes=1)

    def mounts(self, order: float, displacement: np.ndarray) -> np.ndarray:
        """Complex force (mounts, 3, ...) on the second bodies from a displacement of an order, N."""
        rate = 1j * order * self.speed
        return np.tensordot(self.mount_stiffness + rate * self.mount_damping, displacement, axes=1)

    def arm(self, point: np.ndarray) -> np.ndarray:
        """Push (unknowns, 3) of a unit force along engine x, y, z at a point (3) in engine axes about the crank."""
        carrier, own = self.packed.model.carrier, self.packed.axes[self.packed.model.carrier]
        place = own @ (np.array(self.packed.model.crank_origin) + point)
        push = np.zeros((6 * len(self.packed.names), 3))
        push[6 * carrier : 6 * carrier + 3] = own
        push[6 * carrier + 3 : 6 * carrier + 6] = _cross(place) @ own
        return push


def order_response(packed: Packed, sensors: tuple[Sensor, ...], speed: float, torque: float = 0.0) -> OrderResponse:
    """The linear model of a case with an engine about its static equilibrium under an output torque (N m).

    Raises RunFailure when there is no equilibrium.
    """
    linear = linearise(packed, torque, crank="free", speed=speed)
    turns = round(packed.cycle / (2.0 * math.pi))
    stiffness, damping = _mount_rates(packed, linear, speed)
    return OrderResponse(
        packed=packed,
        linear=linear,
        speed=speed,
        turns=turns,
        push=_push(packed, speed, turns),
        mount_stiffness=stiffness,
        mount_damping=damping,
        feel=_feel(packed, sensors),
    )


def _push(packed: Packed, speed: float, turns: int) -> np.ndarray:
    """Derived from the momentum equations at small motion: with m = (A, B) and the crank's own equation
    C·δφ̈ + ½C'Ω² + m·V̇ = T solved for δφ̈, the body is pushed by −Ω²·m' − (m/C)·(T − ½C'Ω²); the mean is left in, and
    concerns no order."""
    model, carrier = packed.model, packed.model.carrier
    own = packed.axes[carrier]
    e, push = np.zeros(ENGINE), np.zeros((POINTS_PER_TURN * turns, 6 * len(packed.names)))
    for n, angle in enumerate(np.linspace(0.0, 2.0 * math.pi * turns, len(push), endpoint=False)):
        fill_engine(angle, model, e)
        turning = (gas_torque(angle, speed, model) - 0.5 * e[C_ + 1] * speed**2) / e[C_]
        force = -(speed**2) * e[A1_ : A1_ + 3] - turning * e[A_ : A_ + 3]
        moment = -(speed**2) * e[B1_ : B1_ + 3] - turning * e[B_ : B_ + 3]
        push[n, 6 * carrier : 6 * carrier + 6] = np.concatenate([own @ force, own @ moment])
    return push


def _gyroscopic(packed: Packed, speed: float) -> np.ndarray:
    """ω×h of the crank's angular momentum h as a matrix on the bodies' speeds."""
    matrix = np.zeros((6 * len(packed.names),) * 2)
    at = 6 * packed.model.carrier + 3
    spin = packed.axes[packed.model.carrier] @ np.array([packed.model.train.rotor_momentum * speed, 0.0, 0.0])
    matrix[at : at + 3, at : at + 3] = -_cross(spin)
    return matrix


def _mount_rates(packed: Packed, linear: Linear, speed: float) -> tuple[np.ndarray, np.ndarray]:
    packed = packed._replace(model=packed.model._replace(mounts=held_at_speed(packed.model, speed)))
    start = state_at(packed, linear.equilibrium.displacement)
    mass = mass_at_rest(packed, start)
    size, still = len(linear.mass), np.zeros(len(linear.mass))
    steps = np.vstack([np.eye(size), -np.eye(size)])
    states = [moved_state(packed, start, LENGTH_STEP * step, still, mass) for step in steps]
    states += [moved_state(packed, start, still, SPEED_STEP * step, mass) for step in steps]
    force = observe(np.array(states), packed, ()).mount_force.reshape(2, 2, size, -1, 3)
    slope = (force[:, 0] - force[:, 1]) / 2.0
    return np.moveaxis(slope[0] / LENGTH_STEP, 0, -1), np.moveaxis(slope[1] / SPEED_STEP, 0, -1)


def _feel(packed: Packed, sensors: tuple[Sensor, ...]) -> np.ndarray:
    feel = np.zeros((len(sensors), 3, 6 * len(packed.names)))
    for n, sensor in enumerate(sensors):
        body = packed.names.index(sensor.body)
        feel[n, :, 6 * body : 6 * body + 3] = np.eye(3)
        feel[n, :, 6 * body + 3 : 6 * body + 6] = -_cross(np.array(sensor.at) - packed.centres[body])
    return feel


def _cross(vector: np.ndarray) -> np.ndarray:
    """The matrix of vector × ... ."""
    x, y, z = vector
    return np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
