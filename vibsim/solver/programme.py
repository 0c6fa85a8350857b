"""Runs of steps: started, idled, run up, coasting, stopped, one after the other with one continuous state.

The record is integrated and observed in chunks, each handed on as it is done, so that memory does not grow with it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from vibsim.engine.pressure import depends_on_speed
from vibsim.inputs.errors import RunFailure
from vibsim.inputs.models import Case, Run
from vibsim.inputs.step_models import Step
from vibsim.inputs.steps import duration_of, is_prescribed, load_of, steps_of
from vibsim.solver.failure import explain_failure
from vibsim.solver.hands import Hands
from vibsim.solver.history import History, block_points
from vibsim.solver.last_cycles import LastCycles
from vibsim.solver.motion import derivatives
from vibsim.solver.observe import Observed, joined
from vibsim.solver.outcome import Course, Outcome, judge
from vibsim.solver.packed import Packed
from vibsim.solver.road import contact_lengths
from vibsim.solver.road_step import on_level, onto_road, standing
from vibsim.solver.solution import Settling, Solution
from vibsim.solver.start import equilibrium, error_control, state_at
from vibsim.solver.starting import (
    FIRST_STEP,
    fire_from,
    first_shares,
    for_step,
    free_speed,
    held_speed,
    idle_opening,
    renew,
    rest_angle,
    set_fuel,
    still_air,
    unfired,
)
from vibsim.solver.steady import settle
from vibsim.solver.stepper import MOST_STEPS, REACHED_TIME, Stepper, advance, grid, start_stepper

RPM = 30.0 / math.pi  # per rad/s
CHUNK, LONG_CHUNK = 0.1, 0.5  # s of the record handed on at once; where nothing hangs on how the speed goes
SPEED_SLACK = 0.02  # of the greatest speed that gas is known for
RELEASED = 0.8  # of idle speed, where the starter is switched off

Progress = Callable[[str, float, float], None]
Take = Callable[[np.ndarray, int, Observed], None]  # times (n) s, index of the step, quantities


@dataclass
class _Going:
    """A run under way: the stepper, the model of the moment, the next point of the record to be written,
    doubts about how it began."""

    stepper: Stepper
    packed: Packed
    next: int
    rate: float
    doubts: tuple[str, ...] = ()

    @property
    def time(self) -> float:
        """Of the last point written, s."""
        return max(self.next - 1, 0) / self.rate

    @property
    def speed(self) -> float:
        return float(self.stepper.f[-2])


def run_steps(case: Case, run: Run, packed: Packed, progress: Progress) -> Solution:
    """The run with its whole record in memory."""
    times: list[np.ndarray] = []
    pieces: list[Observed] = []
    steps: list[np.ndarray] = []

    def keep(time: np.ndarray, step: int, seen: Observed) -> None:
        times.append(time)
        pieces.append(seen)
        steps.append(np.full(time.size, step))

    solution = run_streamed(case, run, packed, progress, keep)
    return replace(
        solution, time=np.concatenate(times), over_time=joined(*pieces), step=np.concatenate(steps).astype(np.int64)
    )


def run_streamed(case: Case, run: Run, packed: Packed, progress: Progress, take: Take) -> Solution:
    """The run with its record handed on chunk by chunk; the solution's own record is the last point alone."""
    steps, total = steps_of(run), longest(run)
    going, idle = _begin(case, run, packed, steps[0], total, progress)
    history = History(block_points(run.sample_rate, total), run.sample_rate)
    outcomes: list[Outcome] = []
    last: list[Observed] = []

    def kept(time: np.ndarray, step: int, seen: Observed) -> None:
        history.take(round(time[0] * run.sample_rate), step, seen)
        last[:] = [seen]
        take(time, step, seen)
        progress("recording", float(time[-1]), total)

    warnings = list(going.doubts)
    for index, step in enumerate(steps):
        outcome = _one_step(case, run, going, index, step, idle, kept)
        outcomes.append(outcome)
        warnings += outcome.warnings
    return Solution(
        case=case,
        packed=going.packed,
        time=np.array([going.time]),
        over_time=last[0],
        angle=None,
        over_angle=None,
        settling=None,
        counts=dict(zip(("steps", "rejected_steps", "evaluations"), map(int, going.stepper.tally[:3]), strict=True)),
        warnings=tuple(warnings),
        history=history,
        outcomes=tuple(outcomes),
        contact=contact_lengths(case, packed) if any(step.kind == "road" for step in steps) else None,
    )


def longest(run: Run) -> float:
    """Seconds that a run of steps may take."""
    speed, total = run.speed, 0.0
    for step in steps_of(run):
        total += duration_of(step, speed)
        speed = step.speed_to if step.speed_to is not None else speed
    return total


def _begin(case: Case, run: Run, packed: Packed, first: Step, total: float, progress: Progress) -> tuple[_Going, float]:
    """The state that the first step begins with, and the opening of the throttle at idle.

    A start begins at rest; all else with cycles that repeat at the first speed, which is prescribed until then.
    """
    engine = case.engine
    assert engine is not None
    idle, packed = 0.0, on_level(packed, steps_of(run))
    if packed.model.air is not None and engine.governor is not None:
        idle = idle_opening(packed, engine.governor.speed)[0]
    if first.kind == "start":
        packed = first_shares(packed, total)
        angle = first.crank_angle
        if angle is None:
            angle = rest_angle(unfired(packed))
        displacement = np.zeros((len(packed.names), 6))
        if run.start == "static":
            displacement = equilibrium(packed).displacement
        y = state_at(packed, displacement, angle, 0.0)
        still_air(y, packed, idle)
        return _Going(start_stepper(y, packed.model, FIRST_STEP), packed, 0, run.sample_rate), idle
    law = packed.model.load
    ready = for_step(first, engine, packed, run.speed, idle)
    held = held_speed(ready, run.speed)
    stepper, settled, found = settle(case, run, held, progress)
    stepper.clock[0] = 0.0
    packed = first_shares(packed, total)
    after = free_speed(packed._replace(model=packed.model._replace(load=law)))
    renew(stepper, settled, after)
    return _Going(stepper, after, 0, run.sample_rate, _unsettled(found)), idle


def _unsettled(found: Settling) -> tuple[str, ...]:
    if found.settled:
        return ()
    return (
        f"the run begins unsettled: after {found.cycles} cycles {found.slowest} still changed by "
        f"{found.residual:.2g} a cycle; raise run.settle_cycles or add damping",
    )


def _one_step(case: Case, run: Run, going: _Going, index: int, step: Step, idle: float, take: Take) -> Outcome:
    """Carry a step through and say what came of it."""
    assert case.engine is not None
    angle, begin, first = float(going.stepper.y[-2]), going.time, going.speed
    if step.kind == "start":
        fire_from(going.packed, angle + 2.0 * math.pi * step.fires_after_turns)
    else:
        set_fuel(going.packed, angle, burns=step.kind != "stop" and not step.fuel_cut)
    seconds, before = duration_of(step, first), going.packed
    after = for_step(step, case.engine, standing(before), first, idle)
    if step.kind == "road":
        after = onto_road(case, after, step, index, seconds, going.stepper.y)
    renew(going.stepper, before, after)
    going.packed = after
    end = math.ceil(round(seconds * going.rate, 6)) + max(going.next - 1, 0)
    course = Course(keeps_all=step.kind not in ("run_up", "coast_down", "road"))
    cycles = LastCycles(case, run, step)
    with Hands(lambda time, seen: _hand_on(case, going.packed, step, index, time, seen, (take, course))) as hands:
        while going.next <= end:
            first_point, model = going.next, going.packed
            states = _one_chunk(case, run, going, step, end, cycles)
            time = (first_point + np.arange(len(states))) / going.rate
            hands.give(time, states, model, case)
            mean = _mean_speed(states, time, going.speed)
            if _is_there(step, mean):
                break
            _release(case, going, step, mean)
    return replace(judge(case, step, index, begin, course, going.packed), excerpt=cycles.whole(going.packed))


def _hand_on(
    case: Case,
    packed: Packed,
    step: Step,
    index: int,
    time: np.ndarray,
    seen: Observed,
    to: tuple[Take, Course],
) -> None:
    """Give an observed chunk, times (n) s, on and see that the crank turns as it should."""
    take, course = to
    take(time, index, seen)
    course.take(time, seen)
    _check(case, packed, step, index, seen, time)


def _mean_speed(states: np.ndarray, time: np.ndarray, now: float) -> float:
    """Over a chunk; of a single point the speed now."""
    return float((states[-1, -2] - states[0, -2]) / (time[-1] - time[0])) if len(time) > 1 else now


def _one_chunk(case: Case, run: Run, going: _Going, step: Step, end: int, cycles: LastCycles) -> np.ndarray:
    """Integrate to the end of a chunk, or of the step at point `end`; the states (n, state) at the points passed."""
    length = LONG_CHUNK if is_prescribed(step) else CHUNK
    points = min(max(round(length * going.rate), 2), end - going.next + 1)
    until = (going.next + points - 1) / going.rate
    found = grid(going.next / going.rate, 1.0 / going.rate, points, going.packed.state_size)
    control = error_control(going.packed, run.relative_tolerance, MOST_STEPS)
    left = (end - going.next + 1) / going.rate
    angles = cycles.room(going.packed, float(going.stepper.y[-2]), going.speed, left, points / going.rate)
    status = advance(going.stepper, going.packed.model, control, until, math.inf, found, angles)
    if status != REACHED_TIME:
        raise explain_failure(status, going.stepper, going.packed, case)
    cycles.take(angles)
    going.next += points
    return found.states


def _is_there(step: Step, speed: float) -> bool:
    """Whether a free run-up or coast-down has reached its speed."""
    if step.speed_to is None or is_prescribed(step):
        return False
    return speed >= step.speed_to if step.kind == "run_up" else speed <= step.speed_to


def _release(case: Case, going: _Going, step: Step, speed: float) -> None:
    """Switch the starter off once the engine runs."""
    governor = case.engine.governor if case.engine else None
    drive = going.packed.model.drive
    if step.kind != "start" or governor is None or drive is None or not drive.starter.on:
        return
    if speed >= RELEASED * governor.speed:
        going.packed = going.packed.with_drive(drive._replace(starter=drive.starter._replace(on=False)))
        stepper = going.stepper
        derivatives(stepper.y, going.packed.model, stepper.w, stepper.e, stepper.f)


def _check(case: Case, packed: Packed, step: Step, index: int, seen: Observed, time: np.ndarray) -> None:
    """A crank that stands where it should run, or runs faster than the gas is known for."""
    assert case.engine is not None
    speeds = seen.crank_speed
    where = f"run.step[{index + 1}] ({step.kind})" if case.run and case.run.kind == "programme" else step.kind
    coasting = step.kind == "coast_down" and (step.fuel_cut or load_of(step) == 0.0)
    if step.kind in ("idle", "run_up", "coast_down", "road") and speeds.min() <= 0.0 and not coasting:
        at = float(time[int(np.argmax(speeds <= 0.0))])
        raise RunFailure(
            f"the engine stalled {at:.2f} s into the record, in {where}; check engine.load, engine.accessory, "
            "engine.governor and the load of the step"
        )
    known = packed.model.gas.nodes.speeds[-1]
    if depends_on_speed(case.engine) and np.abs(speeds).max() > (1.0 + SPEED_SLACK) * known:
        raise RunFailure(
            f"crank speed reached {np.abs(speeds).max() * RPM:.0f} rpm in {where}, past the {known * RPM:.0f} rpm that "
            "engine.gas was computed for; check engine.load, engine.governor and speed_to"
        )
