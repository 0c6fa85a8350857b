"""Kinds of run in a sweep: which are steady points, which begin from a neighbour, how long their records are."""

from __future__ import annotations

from vibsim.inputs.models import Case, Run
from vibsim.inputs.programme_checks import STEPPED
from vibsim.inputs.steps import ALIKE, duration_of, is_prescribed, made_ready, steps_of

STEADY = ("steady", *ALIKE)


def is_steady(run: Run) -> bool:
    """Whether a point is a steady state; of any other kind it is the whole run."""
    return run.kind in STEADY


def is_warm(run: Run) -> bool:
    """Whether a point is one cycle of a periodic state, which is found from its neighbour's."""
    return is_steady(run) and run.variation is None and not is_prescribed(run)


def record_points(case: Case) -> int:
    """Points of the record of a run over time, as far as they can be told: a free run-up may end sooner."""
    run = made_ready(case).run
    assert run is not None
    if run.kind not in STEPPED:
        return round(run.duration * run.sample_rate) + 1
    seconds, speed = 0.0, run.speed
    for step in steps_of(run):
        seconds += duration_of(step, speed)
        speed = step.speed_to if step.speed_to is not None else speed
    return round(seconds * run.sample_rate) + 1
