"""Periodic states against settling: a sweep of 20 steady points, each from the one before.

Both are asked for the same residual: the largest change of crank speed and mount forces from one cycle to the next.
What the search says of it is a forecast, so here every state found is run on for two cycles and measured by the very
function that settling uses; that is not timed. Integration is ten times finer than by default: at the default its
errors alone change crank speed and forces by more than the tolerance from one cycle to the next, of settled runs too.
"""

from __future__ import annotations

import math
import time
from pathlib import Path
from typing import NamedTuple

import numpy as np

from benchmarks.figure import Figure, ratio
from vibsim.inputs.loader import CaseFile, load_case
from vibsim.inputs.models import Case, Run
from vibsim.solver.packed import Packed, pack
from vibsim.solver.periodic import Periodic, periodic_state
from vibsim.solver.simulate import no_progress
from vibsim.solver.steady import cycle_change, one_cycle, settle
from vibsim.solver.stepper import start_stepper
from vibsim.studies.points import steady_point

SPEEDS = np.linspace(2000.0, 7000.0, 20) * math.pi / 30.0  # rad/s
TOLERANCE = 1e-7  # relative, of integration


class _Sweep(NamedTuple):
    """Seconds of settling, of the search, and of whole points with packing and output; cycles; largest change that was
    measured after the search, as a share of the tolerance."""

    settling: float
    search: float
    points: float
    settling_cycles: int
    search_cycles: int
    change: float


def periodic_figures(demo: Path, repeats: int) -> list[Figure]:
    """Figures of the sweep on the demo case."""
    file = load_case(demo)
    _sweep(file)
    sweeps = [_sweep(file) for _ in range(repeats)]
    settling, search, points = (np.array([getattr(row, name) for row in sweeps]) for name in _Sweep._fields[:3])
    fewer = sweeps[0].settling_cycles / sweeps[0].search_cycles
    change, count = max(row.change for row in sweeps), len(SPEEDS)
    return [
        Figure("periodic_cycles", "20 speeds: cycles of settling over shooting", "x", fewer, fewer, 10.0, False),
        ratio("periodic_time", "20 speeds: time of settling over shooting", settling, search, 8.0),
        Figure("periodic_change", "change from cycle to cycle measured after, of tolerance", "", change, change, 1.0),
        Figure("periodic_point_ms", "a point with packing and output", "ms", *(1e3 / count * _ends(points))),
    ]


def _ends(seconds: np.ndarray) -> np.ndarray:
    return np.array([seconds.min(), seconds.max()])


def _sweep(file: CaseFile) -> _Sweep:
    assert file.case.run is not None
    guess, point = None, None
    settling = search = points = change = 0.0
    cycles = [0, 0]
    for speed in SPEEDS:
        run = file.case.run.model_copy(update={"speed": float(speed), "relative_tolerance": TOLERANCE})
        case = file.case.model_copy(update={"run": run})
        packed = pack(case, file.folder)
        begin = time.perf_counter()
        _, _, settled = settle(case, run, packed, no_progress)
        between = time.perf_counter()
        guess = periodic_state(case, run, packed, guess)
        done = time.perf_counter()
        point = steady_point(case, file.folder, None if point is None else point.guess)
        points += time.perf_counter() - done
        settling, search = settling + between - begin, search + done - between
        cycles = [cycles[0] + settled.cycles, cycles[1] + guess.cycles]
        change = max(change, _measured(case, run, packed, guess) / run.settle_tolerance)
    return _Sweep(settling, search, points, *cycles, change)


def _measured(case: Case, run: Run, packed: Packed, found: Periodic) -> float:
    """Change from one cycle to the next, from the state found under the load found."""
    held = found.held
    stepper = start_stepper(found.state, held.model, 1e-5)
    first, second = (one_cycle(stepper, case, run, held) for _ in range(2))
    return cycle_change(second, first, run.speed, [mount.name for mount in case.mount])[0]
