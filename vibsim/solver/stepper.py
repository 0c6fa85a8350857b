"""Adaptive embedded Runge–Kutta 5(4) with dense output (Dormand & Prince 1980; Hairer, Nørsett & Wanner, II.5–6).

The error of each step is held below tolerance·(floor + relative·|y|) in every state, with the step chosen by a
proportional–integral rule (Gustafsson 1991). Output is written as the steps pass, at uniform times and at uniform
crank angles, from the fourth-order interpolant of each step.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from vibsim.inputs.case_checks import FASTEST_RPM
from vibsim.jit import apart, inner, released_bare
from vibsim.solver.motion import derivatives, scratch
from vibsim.solver.packed import Model

REACHED_TIME, REACHED_ANGLE, STEP_TOO_SMALL, TOO_MANY_STEPS, RAN_AWAY = range(5)
LEAST_STEP = 1e-10  # s
MOST_STEPS = 2_000_000  # in one call; a run that needs more is stiff
FASTEST = FASTEST_RPM * math.pi / 30.0  # rad/s
FARTHEST = 1e4  # m

A = np.array(
    [
        [0, 0, 0, 0, 0, 0],
        [1 / 5, 0, 0, 0, 0, 0],
        [3 / 40, 9 / 40, 0, 0, 0, 0],
        [44 / 45, -56 / 15, 32 / 9, 0, 0, 0],
        [19372 / 6561, -25360 / 2187, 64448 / 6561, -212 / 729, 0, 0],
        [9017 / 3168, -355 / 33, 46732 / 5247, 49 / 176, -5103 / 18656, 0],
        [35 / 384, 0, 500 / 1113, 125 / 192, -2187 / 6784, 11 / 84],
    ]
)
ERROR = np.array([71 / 57600, 0, -71 / 16695, 71 / 1920, -17253 / 339200, 22 / 525, -1 / 40])
DENSE = np.array(
    [
        -12715105075 / 11282082432,
        0,
        87487479700 / 32700410799,
        -10690763975 / 1880347072,
        701980252875 / 199316789632,
        -1453857185 / 822651844,
        69997945 / 29380423,
    ]
)
SAFETY, LEAST_FACTOR, GREATEST_FACTOR = 0.9, 0.2, 5.0
PROPORTIONAL, INTEGRAL = 0.14, 0.08


class Stepper(NamedTuple):
    """State of an integration in progress; arrays are changed in place.

    `y` (n) state, `f` (n) its derivative; `clock` (3): time (s), next step (s), last error; `tally` (5): accepted and
    rejected steps, evaluations, index of the state with the largest error, steps since the last call; `stages` (7, n),
    `dense` (5, n), `trial` (n) and the work arrays of the equations of motion.
    """

    y: np.ndarray
    f: np.ndarray
    clock: np.ndarray
    tally: np.ndarray
    stages: np.ndarray
    dense: np.ndarray
    trial: np.ndarray
    w: np.ndarray
    e: np.ndarray


class Grid(NamedTuple):
    """Uniform output points: value = start + step·index; `states` (n, state) and `times` (n) are filled as they pass.

    `next` (1) is the index of the next point to write.
    """

    start: float
    step: float
    states: np.ndarray
    times: np.ndarray
    next: np.ndarray


class Control(NamedTuple):
    """Tolerance, error floors (n) and relative weights (n) of the states, most steps in one call."""

    tolerance: float
    floor: np.ndarray
    relative: np.ndarray
    most_steps: int


def no_grid() -> Grid:
    return Grid(0.0, 1.0, np.zeros((0, 0)), np.zeros(0), np.zeros(1, dtype=np.int64))


def grid(start: float, step: float, points: int, states: int) -> Grid:
    """An empty output grid."""
    return Grid(
        float(start),
        float(step),
        np.full((points, states), np.nan),
        np.full(points, np.nan),
        np.zeros(1, dtype=np.int64),
    )


def start_stepper(y: np.ndarray, model: Model, first_step: float) -> Stepper:
    """Begin at time zero with state y (n) and a first trial step (s)."""
    n = y.size
    w, e = scratch(model.bodies.size)
    stepper = Stepper(
        y.copy(),
        np.zeros(n),
        np.array([0.0, first_step, 1.0]),
        np.zeros(5, dtype=np.int64),
        np.zeros((7, n)),
        np.zeros((5, n)),
        np.zeros(n),
        w,
        e,
    )
    derivatives(stepper.y, model, stepper.w, stepper.e, stepper.f)
    return stepper


@apart
def interpolate(dense, share, i):
    """State i at a share (0 to 1) of the last step (Hairer's contd5)."""
    rest = 1.0 - share
    inner = dense[2, i] + share * (dense[3, i] + rest * dense[4, i])
    return dense[0, i] + share * (dense[1, i] + rest * inner)


@apart
def interpolate_all(dense, share, out):
    """Write all states (n) at a share of the last step into `out`, as `interpolate` gives them one by one."""
    rest = 1.0 - share
    for i in range(out.size):
        inner = dense[2, i] + share * (dense[3, i] + rest * dense[4, i])
        out[i] = dense[0, i] + share * (dense[1, i] + rest * inner)


@inner
def _share_at_angle(dense, angle, i):
    """Share of the last step at which the crank passes `angle`: bisection sped up by the secant."""
    low, high = 0.0, 1.0
    f_low, f_high = interpolate(dense, 0.0, i) - angle, interpolate(dense, 1.0, i) - angle
    share = 0.5
    for _ in range(60):
        share = (low * f_high - high * f_low) / (f_high - f_low) if f_high != f_low else 0.5 * (low + high)
        value = interpolate(dense, share, i) - angle
        if abs(value) < 1e-13 * (1.0 + abs(angle)) or high - low < 1e-15:
            break
        if value > 0.0:
            high, f_high = share, value
            f_low *= 0.5  # Illinois: keeps both ends moving
        else:
            low, f_low = share, value
            f_high *= 0.5
    return min(max(share, 0.0), 1.0)


@inner
def _stages(s, model, h):
    """Fill the seven stages and the trial state; returns nothing, the last stage is the derivative at the new state."""
    n = s.y.size
    k, trial = s.stages, s.trial
    for i in range(n):
        k[0, i] = s.f[i]
    for stage in range(1, 7):
        for i in range(n):
            total = 0.0
            for j in range(stage):
                total += A[stage, j] * k[j, i]
            trial[i] = s.y[i] + h * total
        derivatives(trial, model, s.w, s.e, k[stage])


@inner
def _error(s, control, h):
    """Largest error of the trial over tolerance; notes the state that has it."""
    worst = -1.0
    for i in range(s.y.size):
        estimate = 0.0
        for j in range(7):
            estimate += ERROR[j] * s.stages[j, i]
        scale = control.floor[i] + control.relative[i] * max(abs(s.y[i]), abs(s.trial[i]))
        ratio = abs(h * estimate) / (control.tolerance * scale)
        if worst == worst and not ratio <= worst:  # takes the first not-a-number too, and keeps it
            worst = ratio
            s.tally[3] = i
    return worst


@inner
def _accept(s, h):
    """Take the trial state; keep what the interpolant needs."""
    k, dense = s.stages, s.dense
    for i in range(s.y.size):
        rise = s.trial[i] - s.y[i]
        bend = h * k[0, i] - rise
        total = 0.0
        for j in range(7):
            total += DENSE[j] * k[j, i]
        dense[0, i], dense[1, i], dense[2, i] = s.y[i], rise, bend
        dense[3, i], dense[4, i] = rise - h * k[6, i] - bend, h * total
        s.y[i], s.f[i] = s.trial[i], k[6, i]


@inner
def _write_times(s, begin, h, points):
    while points.next[0] < points.times.size:
        at = points.next[0]
        time = points.start + points.step * at
        if time > s.clock[0] * (1.0 + 1e-14):  # start + step·index may round above the end
            return
        share = min(max((time - begin) / h, 0.0), 1.0)
        points.times[at] = time
        interpolate_all(s.dense, share, points.states[at])
        points.next[0] += 1


@inner
def _write_angles(s, begin, h, points):
    crank = s.y.size - 2
    while points.next[0] < points.times.size:
        at = points.next[0]
        angle = points.start + points.step * at
        if angle > s.y[crank] + 1e-12 * (1.0 + abs(angle)):
            return
        share = _share_at_angle(s.dense, angle, crank) if angle > s.dense[0, crank] else 0.0
        points.times[at] = begin + share * h
        interpolate_all(s.dense, share, points.states[at])
        points.next[0] += 1


@released_bare
def advance(s, model, control, end_time, end_angle, times, angles):
    """Integrate until `end_time` (s) or `end_angle` (rad), whichever comes first, writing both grids.

    Returns one of REACHED_TIME, REACHED_ANGLE, STEP_TOO_SMALL, TOO_MANY_STEPS, RAN_AWAY.
    """
    crank = s.y.size - 2
    s.tally[4] = 0
    while True:
        if s.clock[0] >= end_time:
            return REACHED_TIME
        if s.tally[4] >= control.most_steps:
            return TOO_MANY_STEPS
        h, clipped = s.clock[1], False
        if s.clock[0] + h >= end_time:
            h, clipped = end_time - s.clock[0], True
        _stages(s, model, h)
        s.tally[2] += 6
        error = _error(s, control, h)
        if not error <= 1.0:  # not-a-number counts as too large
            s.tally[1] += 1
            shrink = LEAST_FACTOR
            if error < 1e10:
                shrink = max(LEAST_FACTOR, SAFETY * error**-0.2)
            s.clock[1] = h * shrink
            if s.clock[1] < LEAST_STEP:
                return STEP_TOO_SMALL
            continue
        begin = s.clock[0]
        _accept(s, h)
        s.tally[0] += 1
        s.tally[4] += 1
        factor = SAFETY * max(error, 1e-10) ** -PROPORTIONAL * s.clock[2] ** INTEGRAL
        s.clock[2] = max(error, 1e-4)
        s.clock[0] = end_time if clipped else begin + h
        if not clipped or factor < 1.0:
            s.clock[1] = h * min(GREATEST_FACTOR, max(LEAST_FACTOR, factor))
        if s.y[crank] >= end_angle:
            _stop_at_angle(s, model, begin, h, end_angle, times, angles)
            return REACHED_ANGLE
        _write_times(s, begin, s.clock[0] - begin, times)
        _write_angles(s, begin, s.clock[0] - begin, angles)
        if not abs(s.f[crank]) < FASTEST:
            s.tally[3] = crank + 1
            return RAN_AWAY
        for b in range(model.bodies.size):
            for axis in range(3):
                if not abs(s.y[13 * b + axis]) < FARTHEST:
                    s.tally[3] = 13 * b + axis
                    return RAN_AWAY


@inner
def _stop_at_angle(s, model, begin, h, angle, times, angles):
    """Cut the last step at the crank angle `angle` and go on from there."""
    crank = s.y.size - 2
    share = _share_at_angle(s.dense, angle, crank)
    interpolate_all(s.dense, share, s.y)
    s.y[crank] = angle
    s.clock[0] = begin + share * h
    while times.next[0] < times.times.size:
        at = times.next[0]
        time = times.start + times.step * at
        if time > s.clock[0]:
            break
        times.times[at] = time
        interpolate_all(s.dense, (time - begin) / h, times.states[at])
        times.next[0] += 1
    _write_angles(s, begin, h, angles)
    derivatives(s.y, model, s.w, s.e, s.f)
