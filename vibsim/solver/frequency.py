"""The complex linear model of a case: bodies on mounts with dynamic stiffness, about static equilibrium.

D(ω)·x = f with D = K + iω(C + G) − ω²M + Σ Bᵀ·ΔK(ω)·B. K, C and M are those of `linearise` (crank free), so weight and
torque turn with the bodies as they do in a run; G is the gyroscopic couple of the crank; B the deflection of a mount
per displacement and ΔK what its dynamic stiffness has beyond the spring and damper that K and C hold already.

Rotors and shafts beside a rigid crank turn as they do in a run (`rotor_linear`).

Left out: the swing of the moving parts' inertia over the revolution, the crank's speed swing as the shaking block
alters it, and whatever a law does at more than small motion.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vibsim.inputs.models import Sensor
from vibsim.inputs.mount_models import WITH_STATES, MountBase, TorqueRodMount
from vibsim.solver.frequency_batch import mount_slopes
from vibsim.solver.frequency_mounts import DynamicStiffness, dynamic_stiffness, stiffness_in
from vibsim.solver.linearise import Linear, linearise
from vibsim.solver.packed import STATES_PER_BODY, Packed
from vibsim.solver.rest import held_at_speed
from vibsim.solver.rotor_linear import RotorLinear, rotor_linear
from vibsim.solver.rotor_pack import rotor_momenta
from vibsim.solver.start import state_at
from vibsim.structure.rotation import matrix_of


@dataclass(frozen=True)
class Special:
    """A mount whose stiffness depends on frequency: its number, keys, deflection at rest (3) m and `axes` (3, 3), rows
    in vehicle axes as it stands, and `across` (3, unknowns) its deflection per displacement, vehicle axes."""

    index: int
    mount: MountBase
    preload: np.ndarray
    axes: np.ndarray
    across: np.ndarray


@dataclass(frozen=True)
class FrequencyModel:
    """The linear model at one crank speed (rad/s), unknowns as in `Linear`.

    `mount_stiffness`, `mount_damping` (mounts, 3, unknowns) the force on a mount's second body per displacement and per
    speed, without what `special` mounts add; `feel` (sensors, 3, unknowns) the displacement of a sensor.
    """

    packed: Packed
    linear: Linear
    speed: float
    mount_stiffness: np.ndarray
    mount_damping: np.ndarray
    feel: np.ndarray
    special: tuple[Special, ...]
    stiffness_of: DynamicStiffness
    rotors: RotorLinear | None = None

    def dynamic_stiffness(self, rate: float) -> np.ndarray:
        """D (unknowns, unknowns), complex, at a rate ω (rad/s)."""
        damping = self.linear.damping + gyroscopic(self.packed, self.speed)
        found = self.linear.stiffness + 1j * rate * damping - rate**2 * self.linear.mass
        for special in self.special:
            found = found + self.beyond(special, rate)
        return np.asarray(found if self.rotors is None else found + self.rotors.added(rate))

    def beyond(self, special: Special, rate: float) -> np.ndarray:
        """What a special mount adds to D (unknowns, unknowns) beyond K and C, at a rate (rad/s)."""
        return np.asarray(special.across.T @ self._added(special, rate) @ special.across)

    def displacement(self, rate: float, push: np.ndarray) -> np.ndarray:
        """Complex displacement (unknowns, ...) under pushes (unknowns, ...) at a rate (rad/s)."""
        return np.linalg.solve(self.dynamic_stiffness(rate), push)

    def sensors(self, rate: float, displacement: np.ndarray) -> np.ndarray:
        """Complex acceleration (sensors, 3, ...), m/s²."""
        return -(rate**2) * np.tensordot(self.feel, displacement, axes=1)

    def mounts(self, rate: float, displacement: np.ndarray) -> np.ndarray:
        """Complex force (mounts, 3, ...) on the second bodies, N."""
        found = np.tensordot(self.mount_stiffness + 1j * rate * self.mount_damping, displacement, axes=1)
        for special in self.special:
            found[special.index] -= self._added(special, rate) @ (special.across @ displacement)
        return np.asarray(found)

    def force_at(self, body: int, place: np.ndarray) -> np.ndarray:
        """Push (unknowns, 3) of unit forces along vehicle X, Y, Z on a body at a place (3) m as drawn."""
        push = np.zeros((self.packed.unknowns, 3))
        push[6 * body : 6 * body + 3] = np.eye(3)
        push[6 * body + 3 : 6 * body + 6] = cross(place - self.packed.centres[body])
        return push

    def ground_at(self, rate: float) -> np.ndarray:
        """Push (unknowns, 3) of unit motions of the ground along vehicle X, Y, Z (N per m).

        Derived: what moves with the ground and does not turn stretches no mount, so the forces are those of K and C on
        that motion.
        """
        along = moved_as_one(self.packed)
        return np.asarray((self.dynamic_stiffness(rate) + rate**2 * self.linear.mass) @ along)

    def _added(self, special: Special, rate: float) -> np.ndarray:
        """ΔK (3, 3), vehicle axes."""
        whole = self.stiffness_of(special.mount, rate / (2.0 * math.pi), special.preload)
        held = local_rates(self.packed, special.index, self.mount_stiffness[special.index])
        drag = local_rates(self.packed, special.index, self.mount_damping[special.index])
        return np.asarray(special.axes.T @ whole @ special.axes - held - 1j * rate * drag)


def frequency_model(
    packed: Packed,
    sensors: tuple[Sensor, ...],
    speed: float = 0.0,
    torque: float = 0.0,
    mounts: tuple[MountBase, ...] = (),
    stiffness_of: DynamicStiffness = dynamic_stiffness,
    rotors: RotorLinear | None = None,
) -> FrequencyModel:
    """The linear model of a case about its static equilibrium under an output torque (N m), the crank turning at a
    speed (rad/s). `rotors` are those of the push, without which dry friction of shafts is left out; `mounts` are the
    case's, of which those that are more than spring and damper take `stiffness_of`.

    Raises RunFailure when there is no equilibrium.
    """
    rotors = rotor_linear(packed, torque) if rotors is None else rotors
    linear = linear_beside(packed, torque, speed)
    stiffness, damping = _mount_rates(packed, linear, speed)
    special = tuple(
        special_mount(packed, linear.equilibrium.displacement, index, mount)
        for index, mount in enumerate(mounts)
        if stiffness_of is not dynamic_stiffness or isinstance(mount, WITH_STATES)
    )
    feel = feel_of(packed, sensors)
    by_law = stiffness_in(packed.folder, stiffness_of)
    return FrequencyModel(packed, linear, speed, stiffness, damping, feel, special, by_law, rotors)


def linear_beside(packed: Packed, torque: float, speed: float) -> Linear:
    """The bodies' matrices with the crank free, or held in its block where rotors beside see to its turning."""
    return linearise(packed, torque, crank="free" if packed.model.rotors is None else "locked", speed=speed)


def gyroscopic(packed: Packed, speed: float) -> np.ndarray:
    """ω×h of the crank's angular momentum h as a matrix on the bodies' speeds."""
    matrix = np.zeros((packed.unknowns,) * 2)
    if packed.model.carrier < 0:
        return matrix
    at = 6 * packed.model.carrier + 3
    spin = packed.axes[packed.model.carrier] @ np.array([packed.model.train.rotor_momentum * speed, 0.0, 0.0])
    matrix[at : at + 3, at : at + 3] = -cross(spin)
    for b, spin in rotor_momenta(packed.model.rotors, speed, len(packed.names)):
        at = 6 * b + 3
        matrix[at : at + 3, at : at + 3] -= cross(packed.axes[b] @ spin)
    return matrix


def special_mount(packed: Packed, displacement: np.ndarray, index: int, mount: MountBase) -> Special:
    """A mount whose stiffness depends on frequency, the bodies displaced (bodies, 6)."""
    state = state_at(packed, displacement)
    record = packed.model.mounts[index]
    own, places = [np.eye(3), np.eye(3)], [np.zeros(3), np.zeros(3)]
    for n, end in enumerate(("first", "second")):
        body, point = int(record[end]), np.array([record[f"{end}_{axis}"] for axis in "xyz"])
        places[n] = point
        if body >= 0:
            at = STATES_PER_BODY * body
            own[n] = matrix_of(state[at + 3 : at + 7])
            moved = packed.flexible.shape(body, mount.name) @ modal_coordinates(packed, state)
            places[n] = state[at : at + 3] + own[n] @ (point + moved)
    rows = np.array([[record[row + column] for column in "xyz"] for row in "xyz"]) @ own[0].T
    across = np.zeros((3, packed.unknowns))
    modal = packed.modal_unknowns
    for sign, end in ((-1.0, "first"), (1.0, "second")):
        body = int(record[end])
        if body >= 0:
            arm = places[1] - state[STATES_PER_BODY * body : STATES_PER_BODY * body + 3]
            across[:, 6 * body : 6 * body + 3] = sign * np.eye(3)
            across[:, 6 * body + 3 : 6 * body + 6] = -sign * cross(arm)
            across[:, modal] += sign * own[end == "second"] @ packed.flexible.shape(body, mount.name)
    drawn = np.array(mount.to) - np.array(mount.at) if isinstance(mount, TorqueRodMount) else np.zeros(3)
    return Special(index, mount, rows @ (places[1] - places[0]) - drawn, rows, across)


def local_rates(packed: Packed, index: int, rates: np.ndarray) -> np.ndarray:
    """Stiffness or damping (..., 3, 3) of a mount from its slopes (..., 3, unknowns), vehicle axes: its force as one of
    its bodies moves along and does not turn."""
    record = packed.model.mounts[index]
    body, sign = (record["second"], -1.0) if record["second"] >= 0 else (record["first"], 1.0)
    return np.asarray(sign * rates[..., 6 * body : 6 * body + 3])


def _mount_rates(packed: Packed, linear: Linear, speed: float) -> tuple[np.ndarray, np.ndarray]:
    packed = packed._replace(model=packed.model._replace(mounts=held_at_speed(packed.model, speed)))
    shape = (len(packed.model.mounts), 3, len(linear.mass))
    rows, drags = np.empty(shape), np.empty(shape)
    mount_slopes(state_at(packed, linear.equilibrium.displacement), packed.model, rows, drags)
    return rows, drags


def moved_as_one(packed: Packed) -> np.ndarray:
    """Displacement (unknowns, 3) of everything that moves by one along vehicle X, Y, Z and does not turn or bend."""
    along = np.zeros((packed.unknowns, 3))
    along[: 6 * len(packed.names)] = np.tile(np.vstack([np.eye(3), np.zeros((3, 3))]), (len(packed.names), 1))
    along[packed.moved :, 2] = 1.0
    return along


def modal_coordinates(packed: Packed, state: np.ndarray) -> np.ndarray:
    """The modal coordinates of all bodies in a state, √kg m."""
    flex = packed.model.flex
    return np.zeros(0) if flex is None else np.asarray(state[flex.modes["at"]])


def feel_of(packed: Packed, sensors: tuple[Sensor, ...]) -> np.ndarray:
    feel = np.zeros((len(sensors), 3, packed.unknowns))
    for n, sensor in enumerate(sensors):
        body, occupant = packed.felt_on(sensor.body)
        feel[n, :, 6 * body : 6 * body + 3] = np.eye(3)
        feel[n, :, 6 * body + 3 : 6 * body + 6] = -cross(np.array(sensor.at) - packed.centres[body])
        feel[n, :, packed.modal_unknowns] = packed.flexible.shape(body, sensor.name)
        if occupant >= 0:
            feel[n, 2] = 0.0
            feel[n, 2, packed.frame_unknown(occupant)] = 1.0
    return feel


def cross(vector: np.ndarray) -> np.ndarray:
    """The matrix of vector × ... ."""
    x, y, z = vector
    return np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
