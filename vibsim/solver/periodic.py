"""The periodic state of a steady run by shooting over one working cycle, the crank angle as independent variable.

Unknowns are the state at crank angle zero, of bodies, mounts and crank, and what holds the mean speed: a torque added
to the load, or the engine's load; conditions that the cycle ends where it began and takes the time that the mean speed
gives it, except where a governor's states are among the unknowns and the speed follows (shooting, Stoer & Bulirsch,
7.3; single shooting serves, as the motion on mounts is damped). Newton's matrix does not come from further cycles but
from the equations of motion made linear at a few points of one: a chord that serves until it converges too slowly.
With misfire a cycle here is a period of it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from vibsim.inputs.errors import RunFailure
from vibsim.inputs.models import Case, Run
from vibsim.solver.held_by import HeldBy, HeldByTorque, held_by
from vibsim.solver.orbit_slopes import BESIDE_PER_BODY, moved_beside, way_beside
from vibsim.solver.packed import STATES_PER_BODY, Packed
from vibsim.solver.shooting import Best, Flow, Orbit, Shooting
from vibsim.solver.start import CRANK_FLOOR
from vibsim.solver.steady import first_guess

MOST_CYCLES = 60  # integrated before giving up
FAR = 10.0  # times the tolerance that a state may be from the one that repeats, by the next step of the search
SLOW = 0.3  # of the residual left after a step: from there the slopes are found anew
FAIR = 0.5  # of the residual taken away by a whole step, from which it is worth going on like that
SMALL = 0.01  # residual below which errors of integration may be what is in the way
FINEST = 2e-12  # relative tolerance of integration below which nothing is gained
LEAST_SHARE = 0.05  # of a Newton step, or of the boldest
BOLDEST = 100.0  # of the floors of the states' errors in one step: 0.1 m, 0.1 rad, 10 m/s, 10 rad/s
BOLDEST_CRANK = 0.3  # of the crank speed in one step
FARTHEST = 0.25  # of the speed, from which a state is no help for a guess by the line through two of them


@dataclass(frozen=True, eq=False)
class Periodic:
    """A periodic state: `state` (state) at crank angle zero, `held` the model with what holds the mean `speed` (rad/s)
    at its `value`, `load` the constant torque (N m) of the load's law there.

    `residual` the largest change from the cycle to the next, as a share of its swing, and of what; `departure` how far
    it is from the state that repeats, by the next step of the search, as such a share; `seconds` of a cycle; `cycles`
    integrated to find it and `evaluations` of the equations of motion in all; `relative_tolerance` of integration that
    took; `flow` about a cycle near it. `before` the state of the point before, for the next guess.
    """

    state: np.ndarray
    speed: float
    load: float
    value: float
    held: Packed
    held_by: str
    residual: float
    departure: float
    slowest: str
    seconds: float
    cycles: int
    evaluations: int
    relative_tolerance: float
    flow: Flow
    before: Periodic | None = None


class NoPeriodicState(RunFailure):
    """None was found; `best` is what the search came to."""

    def __init__(self, words: str, best: Best | None = None):
        super().__init__(words)
        self.best = best


def periodic_state(case: Case, run: Run, packed: Packed, guess: Periodic | None = None) -> Periodic:
    """The periodic state of a case at a run's speed, from the model packed for it; `guess` that of a neighbouring
    point, if there is one, from which the search starts afresh if it does not help.

    Raises RunFailure where no periodic state is found.
    """
    held = held_by(case, run, packed)
    if guess is not None and guess.state.size == packed.state_size and guess.held_by == run.held_by:
        try:
            return _search(Shooting(case, run, packed, held=held), *_from_neighbour(guess, run, packed, held), guess)
        except RunFailure:
            pass
    return _search(Shooting(case, run, packed, held=held), *first_guess(run, held), guess)


def _from_neighbour(guess: Periodic, run: Run, packed: Packed, held: HeldBy) -> tuple[np.ndarray, float]:
    """State and value of what holds the speed on the line through those of two neighbouring points; or of the one there
    is, with its momenta as they go with the speed."""
    state, before = guess.state, guess.before
    value = guess.load - packed.model.load[0] if isinstance(held, HeldByTorque) else held.start
    if before is None or before.state.size != state.size or before.speed == guess.speed:
        return _at_speed(state, run.speed / guess.speed, len(packed.names)), value
    ahead = (run.speed - guess.speed) / (guess.speed - before.speed)
    if abs(run.speed - guess.speed) > FARTHEST * guess.speed or abs(ahead) > 2.0:
        return _at_speed(state, run.speed / guess.speed, len(packed.names)), value
    bodies = len(packed.names)
    way = way_beside(before.state, state, bodies)
    value += ahead * (guess.load - before.load) if isinstance(held, HeldByTorque) else 0.0
    return moved_beside(state, ahead * way, bodies), value


def _at_speed(state: np.ndarray, share: float, bodies: int) -> np.ndarray:
    """The state with all momenta, of bodies and crank, times a share: what shakes an engine moves it at its speed."""
    found = state.copy()
    for at in range(0, STATES_PER_BODY * bodies, STATES_PER_BODY):
        found[at + 7 : at + 13] *= share
    found[-1] *= share
    return found


class _Point(NamedTuple):
    """A cycle tried, its residual, and the flow for the next step; `fresh` if that is the flow about this cycle.

    `departure` from the state that repeats, by the next step of the search and as a share of the swing, once the
    residual is within tolerance; infinite before.
    """

    orbit: Orbit
    flow: Flow
    residual: float
    slowest: str
    fresh: bool
    departure: float = math.inf


def _search(shooting: Shooting, state: np.ndarray, value: float, guess: Periodic | None) -> Periodic:
    tolerance, most = shooting.run.settle_tolerance, MOST_CYCLES * shooting.packed.repeats
    at = _tried(shooting, shooting.cycle(state, value))
    while not at.residual < tolerance:
        if shooting.cycles >= most:
            raise _not_found(shooting, at)
        at = _next(shooting, at)
    at = _judged(shooting, at)
    while at.departure > FAR * tolerance and shooting.cycles < most:
        closer = _closer(shooting, at)
        if closer is None:
            break
        at = closer
    return Periodic(
        state=at.orbit.start,
        speed=shooting.run.speed,
        load=float(shooting.model(at.orbit.value).model.load[0]),
        value=at.orbit.value,
        held=shooting.model(at.orbit.value),
        held_by=shooting.run.held_by,
        residual=at.residual,
        departure=at.departure,
        slowest=at.slowest,
        seconds=at.orbit.seconds,
        cycles=shooting.cycles,
        evaluations=shooting.evaluations,
        relative_tolerance=shooting.tolerance,
        flow=at.flow,
        before=None if guess is None else replace(guess, before=None),
    )


def _judged(shooting: Shooting, at: _Point) -> _Point:
    """The point with its departure from the state that repeats: what changes little from one cycle to the next may be
    far from it where little brings it back."""
    step, torque = _newton_step(shooting, at)
    beside = np.concatenate([step / at.flow.scale, [0.0, torque]])
    return at._replace(departure=shooting.effect(at.orbit, at.flow, beside)[0])


def _closer(shooting: Shooting, at: _Point) -> _Point | None:
    """The cycle after one more step, where that is closer to the state that repeats; the flow found anew, the slopes
    refined and the integration tightened where they stand in the way; None where nothing helps."""
    orbit, (residual, slowest) = _attempt(shooting, at, *_newton_step(shooting, at))
    if orbit is not None and residual < shooting.run.settle_tolerance:
        found = _judged(shooting, _Point(orbit, at.flow, residual, slowest, fresh=False))
        if found.departure < (SLOW if not at.fresh else FAIR) * at.departure:
            return found
    if not at.fresh or shooting.refine():
        found = _tried(shooting, at.orbit if not at.fresh else shooting.cycle(at.orbit.start, at.orbit.value))
    elif shooting.tolerance > FINEST:
        shooting.tolerance *= 0.1
        found = _tried(shooting, shooting.cycle(at.orbit.start, at.orbit.value))
    else:
        return None
    return _judged(shooting, found)


def _next(shooting: Shooting, at: _Point) -> _Point:
    """The cycle after a Newton step, a shorter one if that brings nothing; the flow found anew where it serves badly,
    the integration tightened where its errors stand in the way, as `settle` does."""
    step, torque = _newton_step(shooting, at)
    share, tolerance = _bold(shooting, step), shooting.run.settle_tolerance
    least = LEAST_SHARE * share
    while share > least:
        orbit, (residual, slowest) = _attempt(shooting, at, share * step, share * torque)
        if residual < tolerance or residual < (1.0 - (1.0 - SLOW) * share) * at.residual:
            assert orbit is not None
            return _Point(orbit, at.flow, residual, slowest, fresh=False)
        if orbit is not None and residual < at.residual and not at.fresh:
            return _tried(shooting, orbit)
        if not at.fresh:
            return _tried(shooting, at.orbit)
        if orbit is not None and residual < (1.0 - FAIR * share) * at.residual:
            return _tried(shooting, orbit)
        if shooting.refine():
            return _tried(shooting, shooting.cycle(at.orbit.start, at.orbit.value))
        if at.residual < SMALL and shooting.tolerance > FINEST:
            shooting.tolerance *= 0.1
            return _tried(shooting, shooting.cycle(at.orbit.start, at.orbit.value))
        share *= 0.5
    raise _not_found(shooting, at)


def _attempt(shooting: Shooting, at: _Point, step: np.ndarray, torque: float) -> tuple[Orbit | None, tuple[float, str]]:
    """The cycle after a step (beside) and one of what holds the speed, if it can be integrated, and its residual."""
    try:
        orbit = shooting.cycle(moved_beside(at.orbit.start, step, shooting.bodies), at.orbit.value + torque)
    except RunFailure:
        return None, (math.inf, "")
    change = shooting.change(orbit, at.flow)
    shooting.note(orbit, change[0])
    return orbit, change


def _tried(shooting: Shooting, orbit: Orbit) -> _Point:
    flow = shooting.flow(orbit)
    change = shooting.change(orbit, flow)
    shooting.note(orbit, change[0])
    return _Point(orbit, flow, *change, fresh=True)


def _newton_step(shooting: Shooting, at: _Point) -> tuple[np.ndarray, float]:
    """Step (beside) of the state and of what holds the speed that by the linear flow would close the cycle."""
    unknowns = at.flow.unknowns
    count = unknowns.kept.size
    try:
        step = np.linalg.solve(at.flow.closing, -shooting.gap(at.orbit)[at.flow.rows])
    except np.linalg.LinAlgError:
        step = np.full(at.flow.rows.size, math.nan)
    if not np.all(np.isfinite(step)):
        raise RunFailure("nothing brings the motion back to where it was a cycle before; check the mounts")
    return unknowns.follow @ step[:count] * at.flow.scale, float(step[count:].sum())


def _bold(shooting: Shooting, step: np.ndarray) -> float:
    """Share of a step (beside) that keeps to motions that a run may have."""
    size = np.abs(step / shooting.scale)
    moved = size[: BESIDE_PER_BODY * shooting.bodies].max()
    slower = size[-1] * CRANK_FLOOR / shooting.run.speed
    return float(min(1.0, BOLDEST / max(moved, 1e-9), BOLDEST_CRANK / max(slower, 1e-9)))


def _not_found(shooting: Shooting, at: _Point) -> RunFailure:
    return NoPeriodicState(
        f"after {shooting.cycles} cycles of the search {at.slowest} still changes by {at.residual:.2g} from one to the "
        "next",
        shooting.best,
    )
