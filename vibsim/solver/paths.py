"""What each mount hands on to a sensor: the linear model with mounts cut, and what they did put in their place.

Derived: D·x = f with D = D_cut + Σ D_m, D_m what a mount alone adds to K, C and ΔK. So D_cut·x = f − Σ D_m·x: the cut
model under the push and under the forces and moments −D_m·x of every cut mount on both its bodies. What they make a
sensor feel through the cut model adds up to what it feels, to rounding.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vibsim.inputs.errors import InputError, nearest
from vibsim.solver.frequency import FrequencyModel
from vibsim.solver.order_response import OrderResponse
from vibsim.solver.start import AtRest


@dataclass(frozen=True)
class Paths:
    """The cut mounts (indices), and `stiffness`, `damping` (cut, unknowns, unknowns) that each adds to K and C."""

    model: FrequencyModel
    cut: tuple[int, ...]
    stiffness: np.ndarray
    damping: np.ndarray

    def felt(self, rate: float, push: np.ndarray) -> np.ndarray:
        """Acceleration (paths, sensors, 3, ...) under pushes (unknowns, ...) at a rate (rad/s), m/s²: through each cut
        mount, and last what comes past them all."""
        moved = self.model.displacement(rate, push)
        whole = self.model.dynamic_stiffness(rate)
        added = [self._added(n, rate) for n in range(len(self.cut))]
        forces = [*(-matrix @ moved for matrix in added), push.astype(complex)]
        freed = whole - np.sum(added, axis=0) if added else whole
        reached = np.linalg.solve(freed, np.stack(forces, axis=1).reshape(len(whole), -1))
        reached = reached.reshape(len(whole), len(forces), *push.shape[1:])
        return np.moveaxis(self.model.sensors(rate, reached), 2, 0)

    def _added(self, n: int, rate: float) -> np.ndarray:
        """D_m (unknowns, unknowns) of a cut mount."""
        found = self.stiffness[n] + 1j * rate * self.damping[n]
        for special in self.model.special:
            if special.index == self.cut[n]:
                found = found + self.model.beyond(special, rate)
        return np.asarray(found)


def paths_of(response: OrderResponse, body: str | None = None) -> Paths:
    """The paths through the mounts of a body, that of the engine unless named. Raises InputError for a body that is
    none, or has no mounts."""
    packed = response.packed
    if body is not None and body not in packed.names:
        raise InputError(f"--mounts-of: got '{body}'; no such body; {nearest(body, packed.names)}")
    number = packed.model.carrier if body is None else packed.names.index(body)
    mounts = packed.model.mounts
    cut = tuple(int(n) for n in np.flatnonzero((mounts["first"] == number) | (mounts["second"] == number)))
    if not cut:
        raise InputError(f"--mounts-of: got '{packed.names[number]}'; no mount holds that body")
    start = AtRest(packed, response.torque, response.speed).state(response.linear.equilibrium.displacement)
    stiffness, damping = [], []
    for index in cut:
        without = packed._replace(model=packed.model._replace(mounts=np.delete(mounts, index)))
        slope, drag = AtRest(without, response.torque, response.speed).slopes_at(start)
        stiffness.append(response.linear.stiffness + slope)
        damping.append(response.linear.damping + drag)
    return Paths(response.model, cut, np.array(stiffness), np.array(damping))
