"""One cycle integrated, the flow about it made linear, and what would change from it to the next."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from vibsim.inputs.models import Case, Run
from vibsim.solver.exponentials import exponentials
from vibsim.solver.failure import explain_failure
from vibsim.solver.held_by import HeldBy, held_by
from vibsim.solver.motion import derivatives
from vibsim.solver.observe import observe
from vibsim.solver.orbit_slopes import beside_scale, moved_beside, orbit_slopes, way_beside
from vibsim.solver.orbit_unknowns import Unknowns, orbit_unknowns
from vibsim.solver.packed import Packed
from vibsim.solver.start import error_control
from vibsim.solver.steady import SHAFT, shaft_change, stalled, swings, worst_change
from vibsim.solver.stepper import (
    MOST_STEPS,
    REACHED_ANGLE,
    REACHED_TIME,
    Stepper,
    advance,
    grid,
    no_grid,
    start_stepper,
)

FIRST_STEP = 1e-5  # s
PATIENCE = 20.0  # times the time that a cycle should take
ERRORS = 0.01  # of the tolerance of the residual: errors of integration that leave it alone
SEGMENTS = 8  # of a working cycle, in each of which the slopes are taken as their mean
TWISTING = 24  # where shafts twist, quicker than mounts move
FINE_SLOPES = (192, 1536)  # the same for laws with kinks, where those do not do
FINE_SEGMENTS = 48
SLOPES = 24  # points of a working cycle at which they are found: the middles of as many equal parts


@dataclass(frozen=True, eq=False)
class Orbit:
    """A cycle from crank angle zero: states (2·points, state) at the beginnings and middles of equal parts, where it
    ends (state), the time (s) it took, and the `value` of what holds the speed, as a torque (N m) added to the load."""

    states: np.ndarray
    end: np.ndarray
    seconds: float
    value: float

    @property
    def start(self) -> np.ndarray:
        return np.asarray(self.states[0])


class Best(NamedTuple):
    """The best state (state) of a search and value of what holds the speed, its residual and that of the first."""

    state: np.ndarray
    value: float
    residual: float
    first: float


@dataclass(frozen=True, eq=False)
class Flow:
    """The flow about an orbit: per segment (segments, beside + 2, beside + 2) what becomes of numbers beside the orbit
    (in units of `scale`), of time (s) and of what holds the speed; `unknowns` of these numbers."""

    segments: np.ndarray
    scale: np.ndarray
    unknowns: Unknowns

    def whole(self) -> np.ndarray:
        """Over the whole cycle (beside + 2, beside + 2)."""
        found = np.eye(self.segments.shape[1])
        for segment in self.segments:
            found = segment @ found
        return found

    def monodromy(self) -> np.ndarray:
        """What becomes, after a cycle, of the unknowns beside the orbit under the same load (unknowns, unknowns)."""
        return self.unknowns.reduced(self.whole()[:-2, :-2])

    @cached_property
    def closing(self) -> np.ndarray:
        """What becomes of the lack of a periodic state by a step in the unknowns and in what holds the speed (rows,
        rows). Where departures stay as they are, any place repeats as well: there the motion is followed."""
        whole, unknowns, rows = self.whole(), self.unknowns, self.rows
        count = unknowns.kept.size
        found = np.hstack([whole[rows, :-2] @ unknowns.follow, whole[rows, -1:]])[:, : rows.size]
        found[:count, :count] -= np.eye(count) + unknowns.neutral(found[:count, :count])
        return found

    @property
    def rows(self) -> np.ndarray:
        """Which of a lack (beside + 1) must vanish: of the unknowns, and of the time where it is set."""
        return np.append(self.unknowns.kept, self.scale.size) if self.unknowns.timed else self.unknowns.kept


class Shooting:
    """Integrates cycles of a model at a run's speed and keeps count of them, and the `best` state and value so far with
    its residual, beside that of the first."""

    def __init__(self, case: Case, run: Run, packed: Packed, points: int = SLOPES, held: HeldBy | None = None):
        self.case, self.run, self.packed = case, run, packed
        self.held = held or held_by(case, run, packed)
        self.names, self.bodies = [mount.name for mount in case.mount], len(packed.names)
        self.points = points * packed.repeats
        self.period = packed.period / run.speed
        self.cycles = self.evaluations = 0
        self.tolerance = min(run.relative_tolerance, ERRORS * run.settle_tolerance)
        self.scale = beside_scale(error_control(packed, 1.0, 1).floor, self.bodies)
        keeps = any(mount.law == "friction" for mount in case.mount)
        self.unknowns = orbit_unknowns(packed, self.scale, self.held.left_out, self.held.searched, keeps)
        self.best: Best | None = None
        self.segments = SEGMENTS if packed.model.rotors is None else TWISTING
        self._stepper: Stepper | None = None

    def model(self, value: float) -> Packed:
        """The model at a value of what holds the speed."""
        return self.held.model(value)

    def note(self, orbit: Orbit, residual: float) -> None:
        """Keep the state if it is the best so far."""
        if self.best is None:
            self.best = Best(orbit.start, orbit.value, residual, residual)
        elif residual < self.best.residual:
            self.best = Best(orbit.start, orbit.value, residual, self.best.first)

    def refine(self) -> bool:
        """Take slopes at more points from the next cycle on, for laws with kinks; says whether that is new."""
        finer = [points for points in FINE_SLOPES if points * self.packed.repeats > self.points]
        if finer:
            self.points, self.segments = finer[0] * self.packed.repeats, FINE_SEGMENTS
        return bool(finer)

    def cycle(self, state: np.ndarray, value: float) -> Orbit:
        """Integrate a period from a state (state) at crank angle zero. Raises RunFailure."""
        packed = self.model(value)
        stepper = self._begin(state, packed)
        states = grid(0.0, 0.5 * packed.period / self.points, 2 * self.points, packed.state_size)
        control = error_control(packed, self.tolerance, MOST_STEPS)
        patience = PATIENCE * self.period
        before = int(stepper.tally[2])
        status = advance(stepper, packed.model, control, patience, packed.period, no_grid(), states)
        self.cycles += packed.repeats
        self.evaluations += int(stepper.tally[2]) - before
        if status != REACHED_ANGLE:
            self._stepper = None
            raise stalled(self.run) if status == REACHED_TIME else explain_failure(status, stepper, packed, self.case)
        return Orbit(states.states, stepper.y.copy(), float(stepper.clock[0]), value)

    def _begin(self, state: np.ndarray, packed: Packed) -> Stepper:
        """A stepper at the state, with the step that the cycle before ended with."""
        if self._stepper is None:
            self._stepper = start_stepper(state, packed.model, FIRST_STEP)
            return self._stepper
        stepper = self._stepper
        stepper.y[:] = state
        stepper.clock[0], stepper.clock[2] = 0.0, 1.0
        derivatives(stepper.y, packed.model, stepper.w, stepper.e, stepper.f)
        return stepper

    def flow(self, orbit: Orbit, both_sides: bool = False) -> Flow:
        """The linear flow about an orbit: exponentials of the mean slopes of each segment (the first term of Magnus's
        series; Blanes, Casas, Oteo & Ros 2009, from memory)."""
        slopes = orbit_slopes(
            orbit.states[1::2], self.model(orbit.value), self.scale, both_sides, self.held.other(orbit.value)
        )
        self.evaluations += len(slopes) * (self.scale.size * (2 if both_sides else 1) + 2)
        count, step = self.segments * self.packed.repeats, self.packed.period / self.points
        means = step * slopes.reshape(count, -1, *slopes.shape[1:]).sum(axis=1)
        return Flow(exponentials(means), self.scale, self.unknowns)

    def gap(self, orbit: Orbit) -> np.ndarray:
        """What an orbit lacks of a periodic one at the set speed (beside + 1): its end beside its start, in units of
        the scale, and the time (s) it took too long."""
        apart = way_beside(orbit.start, orbit.end, self.bodies) / self.scale
        return np.append(apart, orbit.seconds - self.period)

    def change(self, orbit: Orbit, flow: Flow) -> tuple[float, str]:
        """The largest change from this cycle to the next as `settle` measures it, and of what; or the error of the mean
        speed if that is larger. What the next cycle does is forecast by the linear flow about this one."""
        found = self.effect(orbit, flow, np.append(self.gap(orbit), 0.0))
        late = abs(orbit.seconds / self.period - 1.0) if self.unknowns.timed else 0.0
        if not math.isfinite(found[0] + late):
            return math.inf, "crank speed"
        return found if found[0] >= late else (late, "mean speed")

    def effect(self, orbit: Orbit, flow: Flow, beside: np.ndarray) -> tuple[float, str]:
        """The largest change of crank speed and mount forces over a cycle, and of what, for numbers beside its start in
        units of the scale, time (s) and what holds the speed (beside + 2)."""
        moved = []
        for segment in flow.segments:
            moved.append(beside[:-2] * self.scale)
            beside = segment @ beside
        starts = orbit.states[:: len(orbit.states) // len(flow.segments)]
        next_states = moved_beside(starts, np.array(moved), self.bodies)
        seen = observe(np.concatenate([orbit.states, starts, next_states]), self.model(orbit.value), ())
        here, count = len(orbit.states), len(starts)
        scales = swings(seen.crank_speed[:here], seen.mount_force[:here], self.run.speed)
        speed, force = (
            np.abs(values[here + count :] - values[here : here + count])
            for values in (seen.crank_speed, seen.mount_force)
        )
        found = worst_change(speed, force, *scales, self.names)
        if seen.shaft_torque is None:
            return found
        torque = seen.shaft_torque
        turned = shaft_change(torque[here + count :] - torque[here : here + count], torque[:here])
        return found if found[0] >= turned else (turned, SHAFT)
