"""One point of a sweep, and a chain of them: what a worker does, wherever it is."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from vibsim.inputs.errors import VibsimError
from vibsim.inputs.loader import CaseFile
from vibsim.inputs.steps import made_ready
from vibsim.post.quantities import post_process
from vibsim.post.reduced import GROUPS, reduce_results
from vibsim.post.reduced_record import RECORD_GROUPS, reduce_record
from vibsim.results.collect import collect
from vibsim.results.labelled import Group
from vibsim.results.sweep_file import packed_values, shape_of
from vibsim.solver.periodic import Periodic
from vibsim.solver.simulate import simulate
from vibsim.studies.points import steady_point
from vibsim.studies.run import run_case
from vibsim.studies.sweep.kinds import is_steady, is_warm
from vibsim.studies.sweep.plan import Chain, Plan, plan_of

SHORT = 1e-3  # s of record, where one cycle is all that is kept


@dataclass(frozen=True)
class Outcome:
    """What became of a point: packed values, or why there are none; the shape of the values as text."""

    point: int
    values: bytes | None
    shape: str = ""
    reason: str = ""


@lru_cache(maxsize=4)
def _plan(text: str) -> Plan:
    return plan_of(text)


def work(text: str, chain: Chain) -> list[Outcome]:
    """The outcomes of a chain's points; `text` is the plan's."""
    return work_chain(_plan(text), chain)


def work_chain(plan: Plan, chain: Chain) -> list[Outcome]:
    """Outcomes of a chain: every steady point from the state of the one before. A failure costs that point alone."""
    outcomes, guess = [], None
    for point, values in zip(chain.points, chain.values, strict=True):
        outcome, guess = _outcome(plan, chain.case, point, values, guess)
        outcomes.append(outcome)
    return outcomes


def _outcome(
    plan: Plan, case: int, point: int, values: np.ndarray, guess: Periodic | None
) -> tuple[Outcome, Periodic | None]:
    """Outcome of a point from the periodic state of its neighbour, and its own."""
    try:
        kept, own = _kept(plan.case_at(case, values), guess, plan.histories)
        shape = shape_of(kept)
        return Outcome(point, packed_values(kept, shape), shape.as_text()), own
    except VibsimError as error:
        return Outcome(point, None, reason=" ".join(str(error).split())), None
    except Exception as error:  # one point must not stop the others
        return Outcome(point, None, reason=f"internal error: {type(error).__name__}: {error}"), None


def _kept(case_file: CaseFile, guess: Periodic | None, histories: bool) -> tuple[Group, Periodic | None]:
    """What a sweep keeps of a point: of a steady state, or of the whole run where its kind is another."""
    run = case_file.case.run
    assert run is not None
    if is_steady(run):
        results, own = _steady(case_file, guess)
        return reduce_results(results, histories), own
    results = collect(simulate(case_file.case, case_file.folder), case_file)
    return reduce_record(post_process(results, RECORD_GROUPS), histories), None


def _steady(case_file: CaseFile, guess: Periodic | None) -> tuple[Group, Periodic | None]:
    """Results of a steady point: one cycle of its periodic state, or where its cycles cannot be that, a settled run."""
    case, run = made_ready(case_file.case), case_file.case.run
    assert run is not None
    if is_warm(run):
        point = steady_point(case, case_file.folder, guess)
        return point.results(case_file, GROUPS), point.guess
    duration = run.duration if run.variation is not None else SHORT
    short = case.model_copy(update={"run": run.model_copy(update={"duration": duration})})
    return run_case(replace(case_file, case=short)), None
