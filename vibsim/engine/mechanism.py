"""The crank train part by part, as drawn: where pins and wrist pins are, and with what force each part pushes.

Complex numbers as in `engine/balance`: real along the reference direction z, imaginary a quarter turn further in the
direction of rotation (−y).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vibsim.engine.balance import forces_at
from vibsim.engine.layout import Layout, ResolvedCylinder
from vibsim.engine.moving_mass import Train, pack_train, throw_unbalances
from vibsim.inputs.models import Engine

THROW, COUNTERWEIGHT, SHAFT = "throw", "counterweight", "shaft"


@dataclass(frozen=True)
class Mechanism:
    """Places (m) and inertia forces on the block (N) over crank angle (n) rad, engine axes, at constant speed.

    `pin` and `wrist` (n, cylinders) complex; `force` (n, cylinders) complex, of piston and rod; `at` (cylinders) along
    the crank. Eccentrics in the order throws' own counterweights, counterweights, balance shafts: `eccentric_kind`,
    `eccentric_axis` (eccentrics) complex, where their shaft's axis is, `eccentric_at` (eccentrics) along the crank,
    `heading` (n, eccentrics) complex of size one, where the heavy side is, `eccentric_force` (n, eccentrics) complex.
    """

    angle: np.ndarray
    pin: np.ndarray
    wrist: np.ndarray
    force: np.ndarray
    at: np.ndarray
    eccentric_kind: tuple[str, ...]
    eccentric_axis: np.ndarray
    eccentric_at: np.ndarray
    heading: np.ndarray
    eccentric_force: np.ndarray

    @property
    def total(self) -> np.ndarray:
        """The free force (n), N."""
        return self.force.sum(axis=1) + self.eccentric_force.sum(axis=1)

    def couple(self, about: float = 0.0) -> np.ndarray:
        """The free couple Σ x·force (n), N m, about a place along the crank (m)."""
        return self.force @ (self.at - about) + self.eccentric_force @ (self.eccentric_at - about)


def find_mechanism(engine: Engine, layout: Layout, speed: float, angles: np.ndarray) -> Mechanism:
    """Every part of an engine's crank train at crank angles (n), rad, and speed, rad/s."""
    train = pack_train(engine, layout)
    spots = [_places(cylinder, angles) for cylinder in layout.cylinders]
    records = train.eccentrics
    phase = np.arctan2(records["sin_phase"], records["cos_phase"])
    heading = np.exp(1j * (records["ratio"] * angles[:, None] + phase))
    throws, weights = len(throw_unbalances(engine, layout)), len(engine.crank.counterweight)
    shafts = len(records) - throws - weights
    return Mechanism(
        angle=angles,
        pin=np.stack([pin for pin, _ in spots], axis=1),
        wrist=np.stack([wrist for _, wrist in spots], axis=1),
        force=np.stack([_push(train, index, speed, angles) for index in range(len(spots))], axis=1),
        at=np.array([cylinder.at for cylinder in layout.cylinders]),
        eccentric_kind=(THROW,) * throws + (COUNTERWEIGHT,) * weights + (SHAFT,) * shafts,
        eccentric_axis=records["z"] - 1j * records["y"],
        eccentric_at=np.array(records["x"]),
        heading=heading,
        eccentric_force=records["unbalance"] * (records["ratio"] * speed) ** 2 * heading,
    )


def _places(cylinder: ResolvedCylinder, angles: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Pin and wrist pin (n), m; derived: the wrist pin is on the cylinder's axis, the rod's length from the pin."""
    turned = angles + cylinder.pin - cylinder.bank
    across = cylinder.offset - cylinder.radius * np.sin(turned)
    height = cylinder.radius * np.cos(turned) + np.sqrt(cylinder.rod_length**2 - across**2)
    return cylinder.radius * np.exp(1j * (angles + cylinder.pin)), (height + 1j * cylinder.offset) * np.exp(
        1j * cylinder.bank
    )


def _push(train: Train, index: int, speed: float, angles: np.ndarray) -> np.ndarray:
    """Force (n) of one cylinder: the free force of a train that has nothing else."""
    alone = train._replace(cylinders=train.cylinders[index : index + 1], eccentrics=train.eccentrics[:0])
    return forces_at(alone, speed, angles).force
