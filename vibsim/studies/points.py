"""One steady point after another, each from the one before: what sweeps call thousands of times.

A point is one cycle of the periodic state, found from a neighbouring point's and integrated once more for its output.
"""

from __future__ import annotations

import math
import time
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from vibsim.inputs.errors import InputError, RunFailure
from vibsim.inputs.loader import CaseFile
from vibsim.inputs.models import Case, Run
from vibsim.post.quantities import QUANTITIES, post_process
from vibsim.results.collect import collect
from vibsim.results.labelled import Group
from vibsim.solver.failure import explain_failure
from vibsim.solver.floquet import Floquet, multipliers_of
from vibsim.solver.observe import observe
from vibsim.solver.packed import Packed, pack
from vibsim.solver.periodic import Periodic, periodic_state
from vibsim.solver.shooting import FIRST_STEP
from vibsim.solver.simulate import simulate
from vibsim.solver.solution import Solution
from vibsim.solver.start import error_control, require_engine
from vibsim.solver.steady_state import as_settling, unstable
from vibsim.solver.stepper import MOST_STEPS, REACHED_ANGLE, advance, grid, start_stepper
from vibsim.solver.varied import with_misfire


@dataclass(frozen=True, eq=False)
class SteadyPoint:
    """A steady point: its solution over one cycle, and the periodic state as the guess of the next point; None where
    none was found and the point was settled, with the reason among the solution's warnings. `cycles` integrated."""

    solution: Solution
    guess: Periodic | None
    cycles: int

    def results(self, case_file: CaseFile, only: tuple[str, ...] = tuple(QUANTITIES)) -> Group:
        """Results with all post-processed groups as `vibsim run` writes them, or with `only` some."""
        return post_process(collect(self.solution, case_file), only)


def steady_point(case: Case, folder: Path, guess: Periodic | None = None, packed: Packed | None = None) -> SteadyPoint:
    """One cycle of a case's steady state; `guess` from a point near it, `packed` the case's model if there is one.

    Multipliers are those of the search, the crank's known to 2e-3. Raises InputError, RunFailure.
    """
    run = _steady_run(case)
    begin = time.perf_counter()
    packed = pack(case, folder) if packed is None else packed
    require_engine(packed)
    packed = with_misfire(packed, run)
    try:
        found = periodic_state(case, run, packed, guess)
        multipliers = multipliers_of(found.flow)
        if multipliers.unstable:
            raise unstable(multipliers)
    except RunFailure:
        return _settled(case, folder)
    solution, cycles = _one_cycle(case, run, found, found.held, multipliers), found.cycles + packed.repeats
    warnings = packed.remarks.warnings
    return SteadyPoint(replace(solution, seconds=time.perf_counter() - begin, warnings=warnings), found, cycles)


def _steady_run(case: Case) -> Run:
    run = case.run
    if run is None or run.kind != "steady" or run.variation is not None:
        raise InputError("run: a steady point needs a [run] of kind = 'steady', without variation")
    return run


def _one_cycle(case: Case, run: Run, found: Periodic, held: Packed, multipliers: Floquet) -> Solution:
    """Output of one cycle from the periodic state, at equal steps of time and of crank angle."""
    points = run.points_per_cycle * held.repeats
    times = grid(0.0, found.seconds / points, points, held.state_size)
    angles = grid(0.0, held.period / points, points, held.state_size)
    stepper = start_stepper(found.state, held.model, FIRST_STEP)
    control = error_control(held, found.relative_tolerance, MOST_STEPS)
    status = advance(stepper, held.model, control, math.inf, held.period, times, angles)
    if status != REACHED_ANGLE:
        raise explain_failure(status, stepper, held, case)
    accepted, rejected, evaluations = (int(value) for value in stepper.tally[:3])
    return Solution(
        case=case,
        packed=held,
        time=times.step * np.arange(points),
        over_time=observe(times.states, held, case.sensor),
        angle=angles.step * np.arange(points),
        over_angle=observe(angles.states, held, case.sensor),
        settling=as_settling(found, held, run),
        counts={"steps": accepted, "rejected_steps": rejected, "evaluations": evaluations + found.evaluations},
        periodic=True,
        floquet=multipliers,
    )


def _settled(case: Case, folder: Path) -> SteadyPoint:
    """The point as a run finds it, which settles where the search fails again; the record its last cycle."""
    assert case.run is not None
    turn = 4.0 * math.pi / case.run.speed
    run = case.run.model_copy(update={"solve": "periodic", "duration": turn})
    solution = replace(simulate(case.model_copy(update={"run": run}), folder), case=case)
    assert solution.settling is not None
    return SteadyPoint(solution, None, solution.settling.cycles)
