"""Floquet multipliers: what is left, a cycle later, of a small departure from the periodic state.

They are the eigenvalues of the linear flow over a cycle from crank angle zero to the same angle of the next, the load
held as it is (Nayfeh & Balachandran 1995, 3.2, from memory). Counted over the crank angle, that flow has no multiplier
of one for where on the orbit the motion stands. The one that belongs to the crank speed is told apart: with a load that
does not follow the speed little brings the speed back, so it lies near one, and settling has its governor for it. It
is the one in which the momentum of crank and rotors takes the largest part (participation factors: Pérez-Arriaga,
Verghese & Schweppe 1982, from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vibsim.inputs.models import Case, Run
from vibsim.solver.orbit_unknowns import NEUTRAL
from vibsim.solver.packed import Packed
from vibsim.solver.periodic import Periodic
from vibsim.solver.shooting import Flow, Shooting

POINTS = 96  # of a working cycle at which slopes are found; of 24 the crank's multiplier is known to 2e-3
ERROR = NEUTRAL  # of the multipliers
GOVERNOR = 0.61  # of its error that the governor of `settle` leaves each cycle


@dataclass(frozen=True, eq=False)
class Floquet:
    """`multipliers` (n) complex, largest first, of all but the crank speed; `crank_speed` that of it."""

    multipliers: np.ndarray
    crank_speed: float

    @property
    def largest(self) -> float:
        """Size of the largest; 0 where there is none."""
        return float(np.abs(self.multipliers).max(initial=0.0))

    @property
    def unstable(self) -> bool:
        """Whether departures grow, beyond doubt."""
        return self.largest > 1.0 + ERROR

    @property
    def hardly_damped(self) -> bool:
        """Whether it cannot be told from one whose departures stay."""
        return abs(self.largest - 1.0) <= ERROR

    def cycles_to(self, tolerance: float) -> float:
        """Cycles that settling waits until departures as large as the swing are down to a tolerance of it."""
        left = max(self.largest, GOVERNOR)
        return math.inf if left >= 1.0 else math.log(tolerance) / math.log(left)


def floquet(case: Case, run: Run, packed: Packed, found: Periodic) -> Floquet:
    """The multipliers of a periodic state, from a cycle integrated anew and slopes at many of its points, to within
    ERROR."""
    shooting, value = Shooting(case, run, packed, POINTS), found.value
    if packed.model.rotors is not None:
        shooting.segments = POINTS
    orbit = shooting.cycle(found.state, value)
    return multipliers_of(shooting.flow(orbit, both_sides=True))


def multipliers_of(flow: Flow) -> Floquet:
    """The multipliers of a linear flow over a cycle. Those of a `Periodic` come from few points of the cycle."""
    values, vectors = np.linalg.eig(flow.monodromy())
    own = flow.unknowns.of_crank(vectors)
    rest = np.delete(values, own)
    return Floquet(rest[np.argsort(-np.abs(rest), kind="stable")], float(values[own].real))
