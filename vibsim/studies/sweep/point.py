"""One point of a sweep, and a chain of them: what a worker does, wherever it is."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from vibsim.inputs.errors import VibsimError
from vibsim.inputs.loader import CaseFile
from vibsim.post.reduced import reduce_results
from vibsim.results.sweep_file import packed_values, shape_of
from vibsim.studies.run import run_case
from vibsim.studies.sweep.plan import Chain, Plan, plan_of


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
    """Outcomes of a chain: every point from the steady state of the one before. A failure costs that point alone."""
    outcomes = []
    for point, values in zip(chain.points, chain.values, strict=True):
        outcomes.append(_outcome(plan, chain.case, point, values))
    return outcomes


def _outcome(plan: Plan, case: int, point: int, values: np.ndarray) -> Outcome:
    try:
        kept = reduce_results(_steady(plan.case_at(case, values)), plan.histories)
        shape = shape_of(kept)
        return Outcome(point, packed_values(kept, shape), shape.as_text())
    except VibsimError as error:
        return Outcome(point, None, reason=" ".join(str(error).split()))
    except Exception as error:  # one point must not stop the others
        return Outcome(point, None, reason=f"internal error: {type(error).__name__}: {error}")


def _steady(case_file: CaseFile):
    run = case_file.case.run
    assert run is not None
    short = run.model_copy(update={"duration": 1e-3})
    case = case_file.case.model_copy(update={"run": short})
    return run_case(CaseFile(case, case_file.text, case_file.folder, case_file.name, case_file.raw))
