"""What a run returns: output quantities on its grids, and how the run went."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from vibsim.inputs.models import Case
from vibsim.solver.history import History
from vibsim.solver.observe import Observed
from vibsim.solver.outcome import Outcome
from vibsim.solver.packed import Packed
from vibsim.solver.road import Driven
from vibsim.solver.varied import FoundVariation

if TYPE_CHECKING:
    from vibsim.solver.floquet import Floquet


@dataclass(frozen=True)
class Settling:
    """How a steady run settled: cycles waited, largest change from cycle to cycle (share), what changed most, and the
    relative tolerance of integration that took. `solve` says which way was gone; of a periodic state `cycles` are those
    integrated to find it, and `departure` is how far it is from the state that repeats, as a share of the swing too."""

    settled: bool
    cycles: int
    residual: float
    tolerance: float
    slowest: str
    load_torque: float
    mean_speed: float
    relative_tolerance: float
    solve: str = "settle"
    departure: float | None = None


@dataclass(frozen=True)
class Solution:
    """A run's output. `time` (n) s with `over_time`; `angle` (m) rad with `over_angle` on a uniform crank-angle grid.

    In a steady run the angle grid is the last whole working cycle of the record, with misfire the last whole period,
    counted from its own beginning at crank angle `first_angle` (rad) of the record; in a free run, and where cycles
    vary, it spans every whole cycle passed (None when none was). `periodic` says whether it repeats, `floquet` are the
    multipliers of a state found as periodic. A run of steps has the index of the `step` at each time (n), the `history`
    of its quantities and the `outcomes` of the steps, a run over a road what was `driven`, a programme with one the
    `contact` lengths (wheels) m. `warnings` are lines on what
    of the input or the run is doubtful.
    """

    case: Case
    packed: Packed
    time: np.ndarray
    over_time: Observed
    angle: np.ndarray | None
    over_angle: Observed | None
    settling: Settling | None
    counts: dict[str, int] = field(default_factory=dict)
    seconds: float = 0.0
    first_angle: float = 0.0
    warnings: tuple[str, ...] = ()
    periodic: bool = False
    variation: FoundVariation | None = None
    floquet: Floquet | None = None
    step: np.ndarray | None = None
    history: History | None = None
    outcomes: tuple[Outcome, ...] = ()
    driven: Driven | None = None
    contact: np.ndarray | None = None
