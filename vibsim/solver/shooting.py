"""One cycle integrated, the flow about it made linear, and what would change from it to the next."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vibsim.inputs.models import Case, Run
from vibsim.solver.failure import explain_failure
from vibsim.solver.motion import derivatives
from vibsim.solver.observe import observe
from vibsim.solver.orbit_slopes import beside_scale, moved_beside, orbit_slopes, way_beside, with_added_load
from vibsim.solver.packed import Packed
from vibsim.solver.start import error_control
from vibsim.solver.steady import stalled, swings, worst_change
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
FINE_SLOPES = 192
SLOPES = 24  # points of a working cycle at which they are found: the middles of as many equal parts


@dataclass(frozen=True, eq=False)
class Orbit:
    """A cycle from crank angle zero: states (2·points, state) at the beginnings and middles of equal parts, where it
    ends (state), the time (s) it took, and the constant torque (N m) added to the load."""

    states: np.ndarray
    end: np.ndarray
    seconds: float
    added: float

    @property
    def start(self) -> np.ndarray:
        return np.asarray(self.states[0])


@dataclass(frozen=True, eq=False)
class Flow:
    """The flow about an orbit: per segment (segments, beside + 2, beside + 2) what becomes of numbers beside the orbit
    (in units of `scale`), of time (s) and of a torque (N m) added to the load."""

    segments: np.ndarray
    scale: np.ndarray

    def whole(self) -> np.ndarray:
        """Over the whole cycle (beside + 2, beside + 2)."""
        found = np.eye(self.segments.shape[1])
        for segment in self.segments:
            found = segment @ found
        return found

    def monodromy(self) -> np.ndarray:
        """What becomes, after a cycle, of numbers beside the orbit under the same load (beside, beside)."""
        return self.whole()[:-2, :-2]


class Shooting:
    """Integrates cycles of a model at a run's speed and keeps count of them."""

    def __init__(self, case: Case, run: Run, packed: Packed, points: int = SLOPES):
        self.case, self.run, self.packed = case, run, packed
        self.names, self.bodies = [mount.name for mount in case.mount], len(packed.names)
        self.points = points * packed.repeats
        self.period = packed.period / run.speed
        self.cycles = self.evaluations = 0
        self.tolerance = min(run.relative_tolerance, ERRORS * run.settle_tolerance)
        self.scale = beside_scale(error_control(packed, 1.0, 1).floor, self.bodies)
        self._stepper: Stepper | None = None

    def model(self, added: float) -> Packed:
        """The model with a torque (N m) added to its load."""
        return with_added_load(self.packed, added)

    def refine(self) -> bool:
        """Take slopes at more points from the next cycle on, for laws with kinks; says whether that is new."""
        new = self.points < FINE_SLOPES * self.packed.repeats
        self.points = max(self.points, FINE_SLOPES * self.packed.repeats)
        return new

    def cycle(self, state: np.ndarray, added: float) -> Orbit:
        """Integrate a period from a state (state) at crank angle zero. Raises RunFailure."""
        packed = self.model(added)
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
        return Orbit(states.states, stepper.y.copy(), float(stepper.clock[0]), added)

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
        from scipy.linalg import expm

        slopes = orbit_slopes(orbit.states[1::2], self.model(orbit.added), self.scale, both_sides)
        self.evaluations += len(slopes) * (self.scale.size * (2 if both_sides else 1) + 2)
        count, step = SEGMENTS * self.packed.repeats, self.packed.period / self.points
        means = step * slopes.reshape(count, -1, *slopes.shape[1:]).sum(axis=1)
        return Flow(expm(means), self.scale)

    def gap(self, orbit: Orbit) -> np.ndarray:
        """What an orbit lacks of a periodic one at the set speed (beside + 1): its end beside its start, in units of
        the scale, and the time (s) it took too long."""
        apart = way_beside(orbit.start, orbit.end, self.bodies) / self.scale
        return np.append(apart, orbit.seconds - self.period)

    def change(self, orbit: Orbit, flow: Flow) -> tuple[float, str]:
        """The largest change from this cycle to the next as `settle` measures it, and of what; or the error of the mean
        speed if that is larger. What the next cycle does is forecast by the linear flow about this one."""
        beside = np.zeros(self.scale.size + 2)
        beside[:-1] = self.gap(orbit)
        moved = []
        for segment in flow.segments:
            moved.append(beside[:-2] * self.scale)
            beside = segment @ beside
        starts = orbit.states[:: len(orbit.states) // len(flow.segments)]
        next_states = moved_beside(starts, np.array(moved), self.bodies)
        seen = observe(np.concatenate([orbit.states, starts, next_states]), self.model(orbit.added), ())
        here, count = len(orbit.states), len(starts)
        scales = swings(seen.crank_speed[:here], seen.mount_force[:here], self.run.speed)
        speed, force = (
            np.abs(values[here + count :] - values[here : here + count])
            for values in (seen.crank_speed, seen.mount_force)
        )
        found = worst_change(speed, force, *scales, self.names)
        late = abs(orbit.seconds / self.period - 1.0)
        if not math.isfinite(found[0] + late):
            return math.inf, "crank speed"
        return found if found[0] >= late else (late, "mean speed")
