"""Natural frequencies of the mounted bodies about static equilibrium."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vibsim.inputs.loader import CaseFile
from vibsim.inputs.mount_models import (
    FrictionMount,
    HydraulicMount,
    LossFactorMount,
    RelaxationMount,
    ScheduledMount,
)
from vibsim.solver.linearise import Crank, linearise
from vibsim.solver.packed import pack
from vibsim.structure.modes import Modes, modes_of

WITH_STATES = (LossFactorMount, RelaxationMount, FrictionMount, HydraulicMount)
DIRECTIONS = ("X", "Y", "Z", "roll", "pitch", "yaw")


@dataclass(frozen=True)
class ModesResult:
    """Modes with the names of the bodies and their static displacement (bodies, 6: m, rad); `tangent` names the mounts
    whose stiffness hangs on frequency or amplitude, of which the static one was taken."""

    bodies: list[str]
    modes: Modes
    displacement: np.ndarray
    tangent: tuple[str, ...] = ()

    def dominant(self, index: int) -> tuple[str, str, float]:
        """Body, direction and share of kinetic energy of the largest entry of a mode."""
        shares = self.modes.energy[index]
        body, direction = np.unravel_index(int(shares.argmax()), shares.shape)
        return self.bodies[int(body)], DIRECTIONS[int(direction)], float(shares[body, direction])

    def table(self) -> list[dict]:
        """One row per mode: frequency, damping, dominant motion, kinetic-energy share per body and direction."""
        rows = []
        for index, frequency in enumerate(self.modes.frequency):
            body, direction, share = self.dominant(index)
            energy = {
                name: dict(zip(DIRECTIONS, self.modes.energy[index, b].tolist(), strict=True))
                for b, name in enumerate(self.bodies)
            }
            shape = {
                name: {
                    "real": self.modes.shape[index, b].real.tolist(),
                    "imaginary": self.modes.shape[index, b].imag.tolist(),
                }
                for b, name in enumerate(self.bodies)
            }
            rows.append(
                {
                    "mode": index + 1,
                    "frequency_Hz": float(frequency),
                    "damping_ratio": float(self.modes.damping[index]),
                    "moves_most": f"{body} {direction}",
                    "energy_share": share,
                    "energy": energy,
                    "shape": shape,
                }
            )
        return rows


def find_modes(case_file: CaseFile, crank: Crank = "locked") -> ModesResult:
    """Modes of a case about its static equilibrium; see `linearise` for what crank and mounts do. Scheduled mounts are
    as at the run's speed."""
    case = case_file.case
    follows = case.run is not None and any(isinstance(mount, ScheduledMount) for mount in case.mount)
    speed = abs(case.run.speed) if case.run is not None and follows else 0.0
    linear = linearise(pack(case, case_file.folder), crank=crank, speed=speed)
    modes = modes_of(linear.mass, linear.damping, linear.stiffness)
    tangent = tuple(mount.name for mount in case.mount if isinstance(mount, WITH_STATES))
    return ModesResult(linear.names, modes, linear.equilibrium.displacement, tangent)
