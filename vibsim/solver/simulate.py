"""Runs: from a case to its solution. To add a run kind, write a function like `run_free` and enter it in KINDS."""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from vibsim.engine.pressure import depends_on_speed
from vibsim.inputs.errors import InputError, RunFailure
from vibsim.inputs.models import Case, Run
from vibsim.inputs.programme_checks import STEPPED
from vibsim.inputs.steps import is_prescribed, made_ready, stepped
from vibsim.solver.clutch_pack import biting, opened
from vibsim.solver.crank_torque import mean_inertia
from vibsim.solver.failure import explain_failure
from vibsim.solver.fed import after_step, air_remarks, held_at, lay_back
from vibsim.solver.motion import derivatives
from vibsim.solver.observe import Observed, joined, observe
from vibsim.solver.packed import Packed, pack
from vibsim.solver.programme import Take, run_steps, run_streamed
from vibsim.solver.road import on_road
from vibsim.solver.solution import Solution
from vibsim.solver.start import equilibrium, error_control, require_engine, state_at
from vibsim.solver.starting import held_speed
from vibsim.solver.steady import holding_speed, one_cycle, settle
from vibsim.solver.steady_state import steady_state
from vibsim.solver.stepper import (
    MOST_STEPS,
    REACHED_ANGLE,
    REACHED_TIME,
    Grid,
    Stepper,
    advance,
    grid,
    no_grid,
    start_stepper,
)
from vibsim.solver.varied import found_in_record, with_misfire, with_variation

Progress = Callable[[str, float, float], None]
RPM = 30.0 / math.pi  # per rad/s
CHUNK = 0.05  # s of simulated time between progress reports
FIRST_STEP = 1e-5  # s
SPEED_SLACK = 0.02  # of the least and greatest speed that gas is known for


def no_progress(phase: str, done: float, total: float) -> None:
    """Progress sink that shows nothing."""


def simulate(
    case: Case, folder: Path | str = ".", progress: Progress = no_progress, take: Take | None = None
) -> Solution:
    """Run a case; CSV files named in it are looked for in `folder`. The record of a run of steps is handed to `take`,
    if one is given, as it grows, instead of being kept.

    Raises InputError for what is wrong in the case, RunFailure when the run cannot be carried through.
    """
    if case.run is None:
        raise InputError("run: is missing; add a [run] table with kind and speed_rpm")
    case = made_ready(case)
    assert case.run is not None
    packed = pack(case, Path(folder))
    require_engine(packed)
    begin = time.perf_counter()
    if take is not None and stepped(case.run):
        solution = run_streamed(case, case.run, packed, progress, take)
    else:
        solution = KINDS[case.run.kind](case, case.run, packed, progress)
    return replace(solution, seconds=time.perf_counter() - begin, warnings=packed.remarks.warnings + solution.warnings)


def points_in(run: Run) -> int:
    """Points of the time grid: duration × rate + 1, both ends in."""
    return round(run.duration * run.sample_rate) + 1


def run_free(case: Case, run: Run, packed: Packed, progress: Progress) -> Solution:
    """Spin at the given speed at time zero, then leave alone."""
    displacement = np.zeros((len(packed.names), 6))
    if run.start == "static":
        displacement = equilibrium(packed).displacement
    packed = biting(with_variation(packed, run), packed, run.step_at)
    stepper = start_stepper(state_at(packed, displacement, 0.0, run.speed), packed.model, FIRST_STEP)
    times = grid(0.0, 1.0 / run.sample_rate, points_in(run), packed.state_size)
    angles = grid(0.0, packed.cycle / run.points_per_cycle, 0, packed.state_size)
    angles = _integrate(stepper, case, packed, run, (times, angles), progress)
    over_time = observe(times.states, packed, case.sensor)
    warnings = _check_gas_range(case, packed, times) + air_remarks(over_time, times.step, packed)
    whole = int(angles.next[0]) // run.points_per_cycle * run.points_per_cycle
    return Solution(
        case=case,
        packed=packed,
        time=np.arange(len(times.times)) / run.sample_rate,
        over_time=over_time,
        angle=angles.step * np.arange(whole) if whole else None,
        over_angle=observe(angles.states[:whole], packed, case.sensor) if whole else None,
        settling=None,
        counts=_counts(stepper),
        warnings=warnings,
        variation=found_in_record(packed, run, float(times.states[-1, -2])),
    )


def run_steady(case: Case, run: Run, packed: Packed, progress: Progress) -> Solution:
    """Hold the mean speed by the load torque, wait until cycles repeat or find the state that does, then record.

    What repeats is a period of misfire, if there is one. Variation sets in with the record, under the load found, which
    then grows with the speed so that the mean speed does not wander.
    """
    if is_prescribed(run):
        packed = held_speed(packed, run.speed)
    stepper, packed, settling, floquet, warnings = steady_state(case, run, with_misfire(packed, run), progress)
    run = run.model_copy(update={"relative_tolerance": settling.relative_tolerance})
    varies = run.variation is not None
    if varies:
        packed = with_variation(packed, run)
        packed = packed if is_prescribed(run) else holding_speed(packed, run.speed)
        derivatives(stepper.y, packed.model, stepper.w, stepper.e, stepper.f)
    stepper.clock[0] = 0.0
    times = grid(0.0, 1.0 / run.sample_rate, points_in(run), packed.state_size)
    whole = max(math.floor(run.duration * run.speed / packed.period), 1)
    # the last whole period of the record, which has had the longest to settle; all of them where they differ
    first = 0.0 if varies else packed.period * (whole - 1)
    span = packed.period * (whole if varies else 1)
    points = round(span / packed.cycle) * run.points_per_cycle
    angles = grid(first, packed.cycle / run.points_per_cycle, points, packed.state_size)
    _integrate(stepper, case, packed, run, (times, angles), progress)
    if angles.next[0] < len(angles.times):  # a record shorter than that: go on to its end
        control = error_control(packed, run.relative_tolerance, MOST_STEPS)
        status = advance(stepper, packed.model, control, math.inf, first + span, no_grid(), angles)
        if status != REACHED_ANGLE:
            raise explain_failure(status, stepper, packed, case)
    angles.states[:, -2] -= first
    over_angle = observe(angles.states, packed, case.sensor)
    if is_prescribed(run):
        settling = replace(settling, load_torque=float(over_angle.load_torque.mean()))
    return Solution(
        case=case,
        packed=packed,
        time=np.arange(len(times.times)) / run.sample_rate,
        over_time=observe(times.states, packed, case.sensor),
        first_angle=first,
        angle=angles.step * np.arange(points),
        over_angle=over_angle,
        settling=settling,
        counts=_counts(stepper),
        periodic=not varies,
        floquet=floquet,
        warnings=warnings,
        variation=found_in_record(packed, run, float(times.states[-1, -2])),
    )


def run_road(case: Case, run: Run, packed: Packed, progress: Progress) -> Solution:
    """Settle on the flat as a steady run does, then drive over the road under the load found.

    Unless the crank's speed is prescribed the load grows with it, so that the mean speed does not wander. A random road
    is driven over for whole cycles before the record, which begins with crank angle zero.
    """
    if is_prescribed(run):
        packed = held_speed(packed, run.speed)
    stepper, packed, settling, floquet, warnings = steady_state(case, run, with_misfire(packed, run), progress)
    run = run.model_copy(update={"relative_tolerance": settling.relative_tolerance})
    packed = packed if is_prescribed(run) else holding_speed(packed, run.speed)
    driven = on_road(case, run, packed)
    stepper.clock[0] = 0.0
    derivatives(stepper.y, driven.packed.model, stepper.w, stepper.e, stepper.f)
    while stepper.clock[0] < driven.run_in:
        one_cycle(stepper, case, run, driven.packed)
        progress("running in", float(stepper.clock[0]), driven.run_in)
    packed = with_variation(driven.packed, run) if run.variation is not None else driven.packed
    derivatives(stepper.y, packed.model, stepper.w, stepper.e, stepper.f)
    stepper.clock[0] = 0.0
    times = grid(0.0, 1.0 / run.sample_rate, points_in(run), packed.state_size)
    angles = grid(0.0, packed.cycle / run.points_per_cycle, 0, packed.state_size)
    angles = _integrate(stepper, case, packed, run, (times, angles), progress)
    whole = int(angles.next[0]) // run.points_per_cycle * run.points_per_cycle
    return Solution(
        case=case,
        packed=packed,
        time=np.arange(len(times.times)) / run.sample_rate,
        over_time=observe(times.states, packed, case.sensor),
        angle=angles.step * np.arange(whole) if whole else None,
        over_angle=observe(angles.states[:whole], packed, case.sensor) if whole else None,
        settling=settling,
        counts=_counts(stepper),
        floquet=floquet,
        warnings=warnings,
        variation=found_in_record(packed, run, float(times.states[-1, -2])),
        driven=driven,
    )


def run_load_step(case: Case, run: Run, packed: Packed, progress: Progress) -> Solution:
    """Settle at the first load, then record: throttle and charger are commanded for the second load at the step.

    Settling leaves the drive of a charger as cool, and its battery as full, as the record is to begin with. Variation
    sets in with the record.
    """
    assert case.engine is not None and packed.model.air is not None
    path = held_at(packed.model.air, run, mean_inertia(packed))
    as_drawn, packed = packed, opened(packed)
    stepper, packed, settling = settle(case, run, with_misfire(packed.with_air(path), run), progress)
    if run.variation is not None:
        packed = with_variation(packed, run)
        derivatives(stepper.y, packed.model, stepper.w, stepper.e, stepper.f)
    run = run.model_copy(update={"relative_tolerance": settling.relative_tolerance})
    stepper.clock[0] = 0.0
    lay_back(stepper.y[packed.model.air_at : -2], path, packed.air_states)
    times = grid(0.0, 1.0 / run.sample_rate, points_in(run), packed.state_size)
    angles = grid(0.0, packed.cycle / run.points_per_cycle, 0, packed.state_size)
    angles = _integrate(stepper, case, packed, run, (times, angles), progress, end=run.step_at)
    before = int(times.next[0]), int(angles.next[0])
    after = biting(packed.with_air(after_step(case.engine, packed.folder, path, run)), as_drawn, 0.0)
    stepper.clock[1] = FIRST_STEP
    derivatives(stepper.y, after.model, stepper.w, stepper.e, stepper.f)
    angles = _integrate(stepper, case, after, run, (times, angles), progress, begin=run.step_at)
    whole = int(angles.next[0]) // run.points_per_cycle * run.points_per_cycle
    over_time = _observe_both(times.states, before[0], packed, after, case)
    return Solution(
        case=case,
        packed=packed,
        time=np.arange(len(times.times)) / run.sample_rate,
        over_time=over_time,
        angle=angles.step * np.arange(whole) if whole else None,
        over_angle=_observe_both(angles.states[:whole], before[1], packed, after, case) if whole else None,
        settling=settling,
        counts=_counts(stepper),
        warnings=_check_gas_range(case, packed, times) + air_remarks(over_time, times.step, after),
        variation=found_in_record(packed, run, float(times.states[-1, -2])),
    )


def _observe_both(states: np.ndarray, first: int, before: Packed, after: Packed, case: Case) -> Observed:
    """Quantities at states (n), the first of them under the command before the step."""
    return joined(observe(states[:first], before, case.sensor), observe(states[first:], after, case.sensor))


def _integrate(
    stepper: Stepper,
    case: Case,
    packed: Packed,
    run: Run,
    grids: tuple[Grid, Grid],
    progress: Progress,
    begin: float = 0.0,
    end: float = math.inf,
) -> Grid:
    """Integrate over the record, or from one time in it to another; returns the angle grid, which grows with the turns
    of a run whose speed is not known before."""
    control = error_control(packed, run.relative_tolerance, MOST_STEPS)
    times, angles = grids
    last = (points_in(run) - 1) / run.sample_rate
    end = min(end, last)
    for chunk in range(math.floor(begin / CHUNK) + 1, math.ceil(end / CHUNK) + 1):
        until = min(end, chunk * CHUNK)
        if run.kind != "steady":
            angles = _with_room(angles, stepper, packed)
        status = advance(stepper, packed.model, control, until, math.inf, times, angles)
        if status not in (REACHED_TIME, REACHED_ANGLE):
            raise explain_failure(status, stepper, packed, case)
        progress("recording", until, last)
    return angles


def _with_room(angles: Grid, stepper: Stepper, packed: Packed) -> Grid:
    """The angle grid with room for the next chunk at twice the present speed, doubled when it has to grow."""
    speed = abs(float(stepper.f[-2]))
    needed = int(angles.next[0]) + math.ceil(2.0 * (speed + 1.0) * CHUNK / angles.step) + 1
    if needed <= len(angles.times):
        return angles
    more = max(needed, 2 * len(angles.times)) - len(angles.times)
    states = np.concatenate([angles.states, np.full((more, packed.state_size), np.nan)])
    return angles._replace(states=states, times=np.concatenate([angles.times, np.full(more, np.nan)]))


def _check_gas_range(case: Case, packed: Packed, times: Grid) -> tuple[str, ...]:
    """A free run with gas that depends on speed must not pass the speeds it is known for; below them it is warned of,
    for there the curves of the least speed were used."""
    if case.engine is None or not depends_on_speed(case.engine):
        return ()
    known = packed.model.gas.nodes.speeds
    if case.run is not None and case.run.kind == "load_step" and case.run.hold_speed:
        return ()
    crank = np.gradient(times.states[:, -2], times.step)
    if case.run is not None and case.run.kind == "load_step" and crank.min() <= 0.0:
        raise RunFailure(
            f"the engine stalled {times.step * int(np.argmax(crank <= 0.0)):.2f} s into the record; check engine.load "
            "and run.load_after, or "
            + ("let the clutch close more slowly (run.clutch)" if case.run.clutch else "set hold_speed = true")
        )
    speeds = np.abs(np.gradient(times.states[:, -2], times.step))
    how = "measured" if case.engine.gas.source == "trace" else "computed"
    if speeds.max() > (1.0 + SPEED_SLACK) * known[-1]:
        raise RunFailure(
            f"crank speed reached {speeds.max() * RPM:.0f} rpm, past the {known[-1] * RPM:.0f} rpm that engine.gas was "
            f"{how} for; check engine.load, or start at a {'lower' if how == 'measured' else 'higher'} run.speed"
        )
    if speeds.min() < (1.0 - SPEED_SLACK) * known[0]:
        return (
            f"crank speed fell to {speeds.min() * RPM:.0f} rpm, below the {known[0] * RPM:.0f} rpm that engine.gas was "
            f"{how} for; below it the pressure of {known[0] * RPM:.0f} rpm was used",
        )
    return ()


def _counts(stepper: Stepper) -> dict[str, int]:
    accepted, rejected, evaluations = (int(value) for value in stepper.tally[:3])
    return {"steps": accepted, "rejected_steps": rejected, "evaluations": evaluations}


KINDS: dict[str, Callable[[Case, Run, Packed, Progress], Solution]] = {
    "free": run_free,
    "steady": run_steady,
    "load_step": run_load_step,
    "road": run_road,
    **dict.fromkeys(STEPPED, run_steps),
}
