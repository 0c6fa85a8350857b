"""Steady running: the load torque that holds the mean speed, and cycles repeated until they agree.

The governor acts once a cycle, so that within a cycle the load follows its own law and the state can become periodic.
It estimates the missing torque from the change of mean speed over the last cycle, I·ΔΩ/T, and adds a share of the
speed error (derived: a proportional–integral rule on cycle means; with these gains the error of a rigid rotor shrinks
to 0.61 of itself each cycle, close to the least such a rule can reach).
"""

from __future__ import annotations

import copy
import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from vibsim.inputs.errors import RunFailure
from vibsim.inputs.models import Case, Run
from vibsim.solver.crank_torque import mean_inertia, mean_torque, torque_course
from vibsim.solver.failure import explain_failure
from vibsim.solver.held_by import HeldBy, HeldByGovernor, HeldByTorque, held_by
from vibsim.solver.motion import BRAKE_, CHARGER_, derivatives, load_torque, scratch
from vibsim.solver.observe import Observed, observe
from vibsim.solver.packed import Packed
from vibsim.solver.solution import Settling
from vibsim.solver.start import equilibrium, error_control, state_at, under_load
from vibsim.solver.stepper import MOST_STEPS, REACHED_ANGLE, Stepper, advance, grid, no_grid, start_stepper

HOLDING_TIME = 0.5  # s, of the mean speed of a run whose cycles vary: many cycles
WATCHED = 72  # points of a cycle compared with the cycle before
TREND_GAIN, SPEED_GAIN = 0.45, 0.1
SMALLEST_FORCE = 1e-3  # of the largest mount's swing: mounts that move less are compared with this
SMALLEST_SWING = 0.01  # of the mean speed: a heavier flywheel's speed is compared with this
PATIENCE = 50  # cycles between looks at whether the residual still falls
SHAFT = "torque in a shaft"
NOISE = 100.0  # times the settling tolerance: a residual above that is motion, not error
ERRS = 0.1  # of the residual, an error of integration from which it is taken for one
FINEST = 2e-10  # relative tolerance below which nothing is gained


@dataclass
class _Cycle:
    """One settling cycle: mean speed of the crank (rad/s) and of all that turns, and what is watched over it."""

    mean_speed: float
    crank_speed: np.ndarray
    mount_force: np.ndarray
    whole_speed: float
    shaft_torque: np.ndarray | None = None


def settle(
    case: Case,
    run: Run,
    packed: Packed,
    progress: Callable[[str, float, float], None],
    start: tuple[np.ndarray, float] | None = None,
) -> tuple[Stepper, Packed, Settling]:
    """Integrate cycle by cycle, or period of misfire, until the change from one to the next is below tolerance.

    Returns the stepper at crank angle zero of a new cycle, the model with the load that holds the speed, and how it
    settled. It begins with a state and a value of what holds the speed, if they are given, at `start`. The load's own
    law stays in force; what holds the speed is a torque added to it, unless the run says otherwise. Where the errors of
    integration keep the cycles of a well-balanced engine from agreeing, the integration is tightened.
    """
    held = held_by(case, run, packed)
    first, value = first_guess(run, held) if start is None else start
    packed = held.model(value)
    stepper = start_stepper(first, packed.model, 1e-5)
    watch = _Watch(run, [mount.name for mount in case.mount], packed.repeats, held.searched)
    inertia, gain = mean_inertia(packed), held.per_torque(value)
    for _ in range(max(run.settle_cycles // packed.repeats, 2)):
        if watch.stalled() and (watch.small or _errs(stepper, case, watch, packed)):
            watch.tighten()
        watch.take(one_cycle(stepper, case, watch.run, packed))
        progress("settling", watch.share_done(), 1.0)
        if watch.settled:
            break
        added = inertia * run.speed / packed.period * (TREND_GAIN * watch.trend + SPEED_GAIN * watch.whole_error)
        value += gain * added
        packed = held.model(value)
        derivatives(stepper.y, packed.model, stepper.w, stepper.e, stepper.f)
    return stepper, packed, watch.report(float(load_torque(run.speed, packed.model.load)))


def _errs(stepper: Stepper, case: Case, watch: _Watch, packed: Packed) -> bool:
    """Whether a cycle integrated ten times finer differs by as much as one cycle from the last: where what moves least
    is compared, as on the suspension of a well-balanced engine, errors look like motion that does not settle."""
    finer = watch.run.model_copy(update={"relative_tolerance": 0.1 * watch.run.relative_tolerance})
    one, other = (one_cycle(copy.deepcopy(stepper), case, run, packed) for run in (watch.run, finer))
    return cycle_change(one, other, watch.run.speed, watch.mounts)[0] > ERRS * watch.residual


def first_guess(run: Run, held: HeldBy) -> tuple[np.ndarray, float]:
    """State (state) at the start of a cycle, and the value of what holds the speed on a still block."""
    if not isinstance(held, HeldByTorque):
        packed = held.model(held.start)
        state = _first_state(packed, run, float(load_torque(run.speed, packed.model.load)))
        if isinstance(held, HeldByGovernor):
            state[packed.model.air_at : packed.model.air_at + held.air.size] = held.air
        return state, held.start
    packed = held.packed
    charger, brake = _air_torques(packed, run.speed)
    torque = mean_torque(packed, run.speed) - charger
    value = float(torque - brake - load_torque(run.speed, packed.model.load))
    return _first_state(held.model(value), run, torque), value


def holding_speed(packed: Packed, speed: float) -> Packed:
    """The model with a load that grows with crank speed about a mean one (rad/s), so that it comes back in
    HOLDING_TIME; nothing is added at that speed."""
    slope = mean_inertia(packed) / HOLDING_TIME
    constant, linear, quadratic, dry = packed.model.load
    load = (constant - slope * speed, linear + slope, quadratic, dry)
    return packed._replace(model=packed.model._replace(load=load))


class _Watch:
    """Compares each cycle with the one before; with misfire, each period of so many working cycles."""

    def __init__(self, run: Run, mounts: list[str], repeats: int = 1, timed: bool = True):
        self.run, self.mounts, self.repeats, self.timed = run, mounts, repeats, timed
        self.cycles = 0
        self.trend = self.error = self.whole_error = 0.0
        self.residual = self.residual_then = math.inf
        self.looked_at = 0
        self.slowest = "crank speed"
        self.last: _Cycle | None = None

    def take(self, cycle: _Cycle) -> None:
        self.error, self.whole_error = cycle.mean_speed - self.run.speed, cycle.whole_speed - self.run.speed
        if self.last is not None:
            self.trend = cycle.whole_speed - self.last.whole_speed
            self.residual, self.slowest = cycle_change(cycle, self.last, self.run.speed, self.mounts)
        self.last, self.cycles = cycle, self.cycles + 1

    @property
    def settled(self) -> bool:
        tolerance = self.run.settle_tolerance
        late = abs(self.error) / self.run.speed if self.timed else 0.0
        return self.residual < tolerance and late < tolerance

    def stalled(self) -> bool:
        """Whether the residual has not halved for a while, so that the errors of integration may be in the way."""
        if self.cycles < self.looked_at + PATIENCE:
            return False
        stuck = self.residual > 0.5 * self.residual_then and self.run.relative_tolerance > FINEST
        self.looked_at, self.residual_then = self.cycles, self.residual
        return stuck

    @property
    def small(self) -> bool:
        """Whether the residual is so small that it is taken for error without a look."""
        return self.residual < NOISE * self.run.settle_tolerance

    def tighten(self) -> None:
        self.run = self.run.model_copy(update={"relative_tolerance": 0.1 * self.run.relative_tolerance})

    def share_done(self) -> float:
        """Progress of the decaying residual on a logarithmic scale, 0 to 1."""
        tolerance = self.run.settle_tolerance
        if self.residual <= tolerance:
            return 1.0
        return min(max(1.0 - math.log(self.residual / tolerance) / math.log(1.0 / tolerance), 0.0), 1.0)

    def report(self, torque: float) -> Settling:
        assert self.last is not None
        return Settling(
            self.settled,
            self.cycles * self.repeats,
            self.residual,
            self.run.settle_tolerance,
            self.slowest,
            torque,
            self.last.mean_speed,
            self.run.relative_tolerance,
        )


def _air_torques(packed: Packed, speed: float) -> tuple[float, float]:
    """Torques (N m) of the charger and of the brake that holds the speed, as the run starts; none without an air
    path."""
    if packed.model.air is None:
        return 0.0, 0.0
    y = state_at(packed, np.zeros((len(packed.names), 6)), 0.0, speed)
    w, e = scratch(len(packed.names))
    derivatives(y, packed.model, w, e, np.zeros(y.size))
    return float(e[CHARGER_]), float(e[BRAKE_])


def _first_state(packed: Packed, run: Run, torque: float) -> np.ndarray:
    """Static equilibrium under the mean torque, the crank at its speed at angle zero of a cycle on a still block.

    From ½·C(θ)·φ̇² = E + ∫(T_gas − T_mean) dθ, E chosen to meet the mean speed (derived: energy of the crank train).
    """
    course = torque_course(packed, run.speed)
    gas, inertia = course.gas, course.felt + (packed.drivetrain.driven_inertia if packed.drivetrain else 0.0)
    work = np.concatenate([[0.0], np.cumsum(gas - gas.mean())[:-1]]) * course.angle[1]
    energy = 0.5 * inertia.mean() * run.speed**2
    for _ in range(30):
        speeds = np.sqrt(np.maximum(2.0 * (energy + work) / inertia, (0.05 * run.speed) ** 2))
        mean = 1.0 / np.mean(1.0 / speeds)
        energy *= (run.speed / mean) ** 2
    displacement = np.zeros((len(packed.names), 6))
    if run.start == "static":
        displacement = equilibrium(packed, torque, run.speed).displacement
    state = state_at(packed, displacement, 0.0, float(speeds[0]))
    under_load(state, packed, torque)
    return state


def one_cycle(stepper: Stepper, case: Case, run: Run, packed: Packed) -> _Cycle:
    """Advance one period and set the crank angle back to zero."""
    control = error_control(packed, run.relative_tolerance, MOST_STEPS)
    points = grid(0.0, packed.cycle / WATCHED, WATCHED * packed.repeats, packed.state_size)
    begin = float(stepper.clock[0])
    patience = begin + 20.0 * packed.period / run.speed
    status = advance(stepper, packed.model, control, patience, packed.period, no_grid(), points)
    if status != REACHED_ANGLE:
        raise stalled(run) if status == 0 else explain_failure(status, stepper, packed, case)
    stepper.y[-2] = 0.0
    seen: Observed = observe(points.states, packed, ())
    mean = packed.period / (float(stepper.clock[0]) - begin)
    whole = _whole_speed(seen, packed, mean)
    return _Cycle(mean, seen.crank_speed, seen.mount_force, whole, seen.shaft_torque)


def _whole_speed(seen: Observed, packed: Packed, mean: float) -> float:
    """Mean speed (rad/s, as of the crank) of all that turns, each by its share of the inertia felt at the crank.

    No shaft's torque changes it (derived: Σ ratio·momentum), so that slow motion of a driveline does not mislead the
    governor.
    """
    if seen.rotor_speed is None or packed.drivetrain is None:
        return mean
    ratios, inertias = packed.drivetrain.ratios, packed.drivetrain.inertias
    weights = inertias * ratios / float(inertias @ ratios**2)
    ahead = seen.rotor_speed @ weights - seen.crank_speed
    return mean + float(np.average(ahead, weights=1.0 / seen.crank_speed))  # points at equal steps of the crank angle


def stalled(run: Run) -> RunFailure:
    return RunFailure(
        f"the engine stalled: it cannot turn a cycle at run.speed {run.speed * 30.0 / math.pi:.0f} rpm; "
        "check engine.crank.inertia, engine.gas and run.load"
    )


def cycle_change(current: _Cycle, previous: _Cycle, speed: float, names: list[str]) -> tuple[float, str]:
    """Largest change from the cycle before, as a share of the swing within the cycle: of speed, mounts and shafts."""
    speeds, forces = swings(current.crank_speed, current.mount_force, speed)
    changed = np.abs(current.crank_speed - previous.crank_speed), np.abs(current.mount_force - previous.mount_force)
    worst, slowest = worst_change(*changed, speeds, forces, names)
    if current.shaft_torque is None or previous.shaft_torque is None:
        return worst, slowest
    turned = shaft_change(current.shaft_torque - previous.shaft_torque, current.shaft_torque)
    return (worst, slowest) if worst >= turned else (turned, SHAFT)


def shaft_change(change: np.ndarray, torque: np.ndarray) -> float:
    """Largest of changes of the torques of shafts (n, shafts) as a share of their swing over a cycle."""
    swing = np.ptp(torque, axis=0)
    scale = np.maximum(swing, max(SMALLEST_FORCE * swing.max(initial=0.0), 1e-9))
    return float((np.abs(change).max(axis=0) / scale).max(initial=0.0))


def swings(crank_speed: np.ndarray, mount_force: np.ndarray, speed: float) -> tuple[float, np.ndarray]:
    """What changes of crank speed (n) and mount forces (n, mounts, 3) over a cycle are a share of: their swing, no less
    than a share of the mean speed (rad/s) and of the largest mount's."""
    forces = np.ptp(mount_force, axis=0).max(axis=1)
    least = max(SMALLEST_FORCE * forces.max(initial=0.0), 1e-9)
    return max(float(np.ptp(crank_speed)), SMALLEST_SWING * speed), np.maximum(forces, least)


def worst_change(
    crank_speed: np.ndarray, mount_force: np.ndarray, speeds: float, forces: np.ndarray, names: list[str]
) -> tuple[float, str]:
    """Largest of changes of crank speed (n) and mount forces (n, mounts, 3) as a share of their `swings`, and of
    what."""
    changes = {"crank speed": float(crank_speed.max()) / speeds}
    if mount_force.shape[1]:
        moved = mount_force.max(axis=(0, 2)) / forces
        changes[f"mount '{names[int(moved.argmax())]}'"] = float(moved.max())
    slowest = max(changes, key=lambda name: changes[name])
    return changes[slowest], slowest
