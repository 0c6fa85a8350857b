"""The steady state of a run by the way it asks for: settled cycle by cycle, or found as a periodic state."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from vibsim.inputs.errors import RunFailure
from vibsim.inputs.models import Case, Run
from vibsim.solver.floquet import Floquet, floquet
from vibsim.solver.motion import load_torque
from vibsim.solver.packed import Packed
from vibsim.solver.periodic import NoPeriodicState, Periodic, periodic_state
from vibsim.solver.shooting import FIRST_STEP
from vibsim.solver.solution import Settling
from vibsim.solver.steady import settle
from vibsim.solver.stepper import Stepper, start_stepper

INSTEAD = "settle, no periodic state found"
NEUTRAL = (
    "hardly anything damps departures from the periodic state; a real run would not come to it; check the damping of "
    "the mounts"
)
BETTER = 0.5  # times the residual of the first guess
KEPT = (
    "dry friction of mounts keeps what offset it has along axes where hardly anything moves, so that states beside "
    "this one repeat as well; the run is in the one nearest to where it starts"
)
Progress = Callable[[str, float, float], None]


class SteadyState(NamedTuple):
    """A stepper at crank angle zero of a cycle that repeats, the model with the load that holds the speed, how that was
    found, its multipliers if it was found as a periodic state, and lines of warning."""

    stepper: Stepper
    packed: Packed
    settling: Settling
    floquet: Floquet | None = None
    warnings: tuple[str, ...] = ()


def steady_state(case: Case, run: Run, packed: Packed, progress: Progress) -> SteadyState:
    """Settle, or search for the periodic state and settle where there is none that is stable, and say so.

    Raises RunFailure where neither is possible.
    """
    if run.solve == "settle":
        return SteadyState(*settle(case, run, packed, progress))
    try:
        found = periodic_state(case, run, packed)
        progress("searching", 0.9, 1.0)
        multipliers = floquet(case, run, packed, found)
        if multipliers.unstable:
            raise unstable(multipliers)
    except RunFailure as reason:
        start, words = begin_instead(reason)
        words = f"no periodic state to run in ({reason}); the run was settled cycle by cycle instead{words}"
        stepper, held, settling = settle(case, run, packed, progress, start)
        return SteadyState(stepper, held, replace(settling, solve=INSTEAD), None, (words,))
    progress("searching", 1.0, 1.0)
    held = found.held
    stepper = start_stepper(found.state, held.model, FIRST_STEP)
    warnings = (_undamped(case),) if multipliers.hardly_damped else ()
    return SteadyState(stepper, held, as_settling(found, held, run), multipliers, warnings)


def begin_instead(reason: RunFailure) -> tuple[tuple[np.ndarray, float] | None, str]:
    """Where settling begins after a search that found nothing: with the best state of it, if that is much better than
    its first; and words that say so. Never beside a state found unstable, which it would take long to leave."""
    best = reason.best if isinstance(reason, NoPeriodicState) else None
    if best is None or not best.residual < BETTER * best.first:
        return None, ""
    words = f", from the best state of the search, which changed by {best.residual:.2g} a cycle"
    return (best.state, best.value), words


def _undamped(case: Case) -> str:
    return KEPT if any(mount.law == "friction" for mount in case.mount) else NEUTRAL


def unstable(multipliers: Floquet) -> RunFailure:
    """Why a periodic state is no steady state."""
    grown = f"each cycle makes a departure from it {multipliers.largest:.4g} times as large"
    return RunFailure(f"the one found is unstable: {grown}")


def as_settling(found: Periodic, held: Packed, run: Run) -> Settling:
    """How a periodic state was found, in the words of settling."""
    return Settling(
        settled=True,
        cycles=found.cycles,
        residual=found.residual,
        tolerance=run.settle_tolerance,
        slowest=found.slowest,
        load_torque=float(load_torque(run.speed, held.model.load)),
        mean_speed=held.period / found.seconds,
        relative_tolerance=found.relative_tolerance,
        solve="periodic",
        departure=found.departure,
    )
