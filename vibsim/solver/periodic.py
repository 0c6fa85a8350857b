"""The periodic state of a steady run by shooting over one working cycle, the crank angle as independent variable.

Unknowns are the state at crank angle zero, of bodies, mounts and crank, and a torque added to the load; conditions that
the cycle ends where it began and takes the time that the mean speed gives it (shooting, Stoer & Bulirsch, 7.3; single
shooting serves, as the motion on mounts is damped). Newton's matrix does not come from further cycles but from the
equations of motion made linear at a few points of one: a chord that serves until it converges too slowly. With misfire
a cycle here is a period of it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from vibsim.inputs.errors import RunFailure
from vibsim.inputs.models import Case, Run
from vibsim.solver.orbit_slopes import BESIDE_PER_BODY, moved_beside, way_beside
from vibsim.solver.packed import STATES_PER_BODY, Packed
from vibsim.solver.shooting import Flow, Orbit, Shooting
from vibsim.solver.start import CRANK_FLOOR
from vibsim.solver.steady import FINEST, first_guess

MOST_CYCLES = 60  # integrated before giving up
SLOW = 0.3  # of the residual left after a step: from there the slopes are found anew
FAIR = 0.5  # of the residual taken away by a whole step, from which it is worth going on like that
SMALL = 0.01  # residual below which errors of integration may be what is in the way
LEAST_SHARE = 0.05  # of a Newton step, or of the boldest
BOLDEST = 100.0  # of the floors of the states' errors in one step: 0.1 m, 0.1 rad, 10 m/s, 10 rad/s
BOLDEST_CRANK = 0.3  # of the crank speed in one step
FARTHEST = 0.25  # of the speed, from which a state is no help for a guess by the line through two of them


@dataclass(frozen=True, eq=False)
class Periodic:
    """A periodic state: `state` (state) at crank angle zero, `load` the constant torque (N m) of the load's law that
    holds the mean `speed` (rad/s).

    `residual` the largest change from the cycle to the next, as a share of its swing, and of what; `seconds` of a
    cycle; `cycles` integrated to find it and `evaluations` of the equations of motion in all; `relative_tolerance` of
    integration that took; `flow` about a cycle near it. `before` the state of the point before, for the next guess.
    """

    state: np.ndarray
    speed: float
    load: float
    residual: float
    slowest: str
    seconds: float
    cycles: int
    evaluations: int
    relative_tolerance: float
    flow: Flow
    before: Periodic | None = None

    def packed(self, packed: Packed) -> Packed:
        """The model with the load found."""
        return packed._replace(model=packed.model._replace(load=(self.load, *packed.model.load[1:])))


def periodic_state(case: Case, run: Run, packed: Packed, guess: Periodic | None = None) -> Periodic:
    """The periodic state of a case at a run's speed, from the model packed for it; `guess` that of a neighbouring
    point, if there is one, from which the search starts afresh if it does not help.

    Raises RunFailure where no periodic state is found.
    """
    if guess is not None and guess.state.size == packed.state_size:
        try:
            return _search(Shooting(case, run, packed), *_from_neighbour(guess, run, packed), guess)
        except RunFailure:
            pass
    state, held = first_guess(run, packed)
    return _search(Shooting(case, run, packed), state, held.model.load[0] - packed.model.load[0], guess)


def _from_neighbour(guess: Periodic, run: Run, packed: Packed) -> tuple[np.ndarray, float]:
    """State and added torque on the line through those of two neighbouring points; or of the one there is, with its
    momenta as they go with the speed."""
    state, added, before = guess.state, guess.load - packed.model.load[0], guess.before
    if before is None or before.state.size != state.size or before.speed == guess.speed:
        return _at_speed(state, run.speed / guess.speed, len(packed.names)), added
    ahead = (run.speed - guess.speed) / (guess.speed - before.speed)
    if abs(run.speed - guess.speed) > FARTHEST * guess.speed or abs(ahead) > 2.0:
        return _at_speed(state, run.speed / guess.speed, len(packed.names)), added
    bodies = len(packed.names)
    way = way_beside(before.state, state, bodies)
    return moved_beside(state, ahead * way, bodies), added + ahead * (guess.load - before.load)


def _at_speed(state: np.ndarray, share: float, bodies: int) -> np.ndarray:
    """The state with all momenta, of bodies and crank, times a share: what shakes an engine moves it at its speed."""
    found = state.copy()
    for at in range(0, STATES_PER_BODY * bodies, STATES_PER_BODY):
        found[at + 7 : at + 13] *= share
    found[-1] *= share
    return found


class _Point(NamedTuple):
    """A cycle tried, its residual, and the flow for the next step; `fresh` if that is the flow about this cycle."""

    orbit: Orbit
    flow: Flow
    residual: float
    slowest: str
    fresh: bool


def _search(shooting: Shooting, state: np.ndarray, added: float, guess: Periodic | None) -> Periodic:
    at = _tried(shooting, shooting.cycle(state, added))
    while not at.residual < shooting.run.settle_tolerance:
        if shooting.cycles >= MOST_CYCLES * shooting.packed.repeats:
            raise _not_found(shooting, at)
        at = _next(shooting, at)
    return Periodic(
        state=at.orbit.start,
        speed=shooting.run.speed,
        load=shooting.packed.model.load[0] + at.orbit.added,
        residual=at.residual,
        slowest=at.slowest,
        seconds=at.orbit.seconds,
        cycles=shooting.cycles,
        evaluations=shooting.evaluations,
        relative_tolerance=shooting.tolerance,
        flow=at.flow,
        before=None if guess is None else replace(guess, before=None),
    )


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
            return _tried(shooting, shooting.cycle(at.orbit.start, at.orbit.added))
        if at.residual < SMALL and shooting.tolerance > FINEST:
            shooting.tolerance *= 0.1
            return _tried(shooting, shooting.cycle(at.orbit.start, at.orbit.added))
        share *= 0.5
    raise _not_found(shooting, at)


def _attempt(shooting: Shooting, at: _Point, step: np.ndarray, torque: float) -> tuple[Orbit | None, tuple[float, str]]:
    """The cycle after a step (beside) and torque (N m), if it can be integrated, and its residual."""
    try:
        orbit = shooting.cycle(moved_beside(at.orbit.start, step, shooting.bodies), at.orbit.added + torque)
    except RunFailure:
        return None, (math.inf, "")
    return orbit, shooting.change(orbit, at.flow)


def _tried(shooting: Shooting, orbit: Orbit) -> _Point:
    flow = shooting.flow(orbit)
    return _Point(orbit, flow, *shooting.change(orbit, flow), fresh=True)


def _newton_step(shooting: Shooting, at: _Point) -> tuple[np.ndarray, float]:
    """Step (beside) of the state and of the added torque (N m) that by the linear flow would close the cycle."""
    whole = at.flow.whole()
    size = at.flow.scale.size
    matrix = np.hstack([whole[: size + 1, :size], whole[: size + 1, size + 1 :]])
    matrix[:size, :size] -= np.eye(size)
    try:
        step = np.linalg.solve(matrix, -shooting.gap(at.orbit))
    except np.linalg.LinAlgError:
        step = np.full(size + 1, math.nan)
    if not np.all(np.isfinite(step)):
        raise RunFailure("nothing brings the motion back to where it was a cycle before; check the mounts")
    return step[:size] * at.flow.scale, float(step[size])


def _bold(shooting: Shooting, step: np.ndarray) -> float:
    """Share of a step (beside) that keeps to motions that a run may have."""
    size = np.abs(step / shooting.scale)
    moved = size[: BESIDE_PER_BODY * shooting.bodies].max()
    slower = size[-1] * CRANK_FLOOR / shooting.run.speed
    return float(min(1.0, BOLDEST / max(moved, 1e-9), BOLDEST_CRANK / max(slower, 1e-9)))


def _not_found(shooting: Shooting, at: _Point) -> RunFailure:
    return RunFailure(
        f"after {shooting.cycles} cycles of the search {at.slowest} still changes by {at.residual:.2g} from one to the "
        "next"
    )
