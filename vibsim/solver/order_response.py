"""What mounts and sensors feel of one engine order, from the linear model: the fast and independent forecast of a run.

The crank turns freely in its block, its own speed swing in the push; its inertia stays behind in roll; its angular
momentum couples the turns of its body. Moving parts enter the mass by their average over a revolution. Throws that
twist, dampers and what the crank drives turn as they do in a run (`rotor_linear`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vibsim.inputs.models import Sensor
from vibsim.inputs.mount_models import MountBase
from vibsim.solver.frequency import FrequencyModel, frequency_model
from vibsim.solver.frequency_push import CyclePush
from vibsim.solver.linearise import Linear
from vibsim.solver.packed import Packed
from vibsim.solver.rotor_push import engine_push

HIGHEST_SUMMED = 12.0  # order up to which those over time are solved to give those over the angle


@dataclass(frozen=True)
class OrderResponse:
    """The linear model at one crank speed and the push of the engine there; orders counted over time unless said."""

    model: FrequencyModel
    push: CyclePush
    torque: float  # N m, mean at the output

    @property
    def packed(self) -> Packed:
        return self.model.packed

    @property
    def linear(self) -> Linear:
        return self.model.linear

    @property
    def speed(self) -> float:
        """Crank speed, rad/s."""
        return self.push.speed

    @property
    def turns(self) -> int:
        """Crank turns of a working cycle."""
        return self.push.turns

    def excitation(self, order: float) -> np.ndarray:
        """Complex amplitude (unknowns) of the push at an order: value = Re(amplitude·e^{i·order·Ω·t})."""
        return self.push.handed_on(order)

    def displacement(self, order: float, push: np.ndarray) -> np.ndarray:
        """Complex displacement (unknowns, ...) under pushes (unknowns, ...) of an order."""
        return self.model.displacement(order * self.speed, push)

    def sensors(self, order: float, displacement: np.ndarray) -> np.ndarray:
        """Complex acceleration (sensors, 3, ...) from a displacement of an order, m/s²."""
        return self.model.sensors(order * self.speed, displacement)

    def mounts(self, order: float, displacement: np.ndarray) -> np.ndarray:
        """Complex force (mounts, 3, ...) on the second bodies from a displacement of an order, N."""
        return self.model.mounts(order * self.speed, displacement)

    def over_angle(self) -> tuple[np.ndarray, np.ndarray]:
        """Complex acceleration of sensors (harmonics, sensors, 3) and force of mounts (harmonics, mounts, 3), all
        orders up to a dozen in steps of one per working cycle, counted over the crank angle as `vibsim run` does."""
        sensors, mounts = [], []
        for step in range(round(HIGHEST_SUMMED * self.turns) + 1):
            order = step / self.turns
            moved = self.displacement(order, self.excitation(order))
            sensors.append(self.sensors(order, moved))
            mounts.append(self.mounts(order, moved))
        return self.push.over_angle(np.array(sensors)), self.push.over_angle(np.array(mounts))

    def arm(self, point: np.ndarray) -> np.ndarray:
        """Push (unknowns, 3) of a unit force along engine x, y, z at a point (3) in engine axes about the crank."""
        carrier, own = self.packed.model.carrier, self.packed.axes[self.packed.model.carrier]
        place = own @ (np.array(self.packed.model.crank_origin) + point)
        return self.model.force_at(carrier, self.packed.centres[carrier] + place) @ own


def order_response(
    packed: Packed,
    sensors: tuple[Sensor, ...],
    speed: float,
    torque: float = 0.0,
    mounts: tuple[MountBase, ...] = (),
) -> OrderResponse:
    """The linear model of a case with an engine about its static equilibrium under an output torque (N m).

    Raises RunFailure when there is no equilibrium.
    """
    push = engine_push(packed, speed, torque)
    return OrderResponse(frequency_model(packed, sensors, speed, torque, mounts, rotors=push.rotors), push, torque)
