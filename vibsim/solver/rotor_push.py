"""What the moving parts and the gas do over one working cycle to the bodies and to every rotor of a case.

Derived from the momentum equations as in `frequency_push`, about a crank that turns as one with the speed u over its
angle: the bodies are pushed by −Σ (m'·u² + m·u·u'), crank and throws by T − ½C'·u² − C·u·u', plain rotors by −J·r·u·u'
with their bodies by −J·a·r·u·u'. How the rotors turn against that course is left to the linear model; what it finds for
the crank corrects the course.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.interpolate import CubicSpline

from vibsim.solver.crank_torque import mean_torque
from vibsim.solver.frequency_push import (
    HIGHEST_ORDER,
    POINTS_PER_TURN,
    CyclePush,
    crank_speed,
    cycle_push,
    integral,
    over_cycle,
    over_time,
)
from vibsim.solver.motion import ENGINE
from vibsim.solver.moving_parts import A1_, A_, B1_, B_, C_
from vibsim.solver.packed import Packed
from vibsim.solver.rotor_linear import RotorLinear, axes_of, of_body, part_rows, rotor_linear

ROUNDS = 8  # of finding the crank's course and what dry friction damps
CLOSE = 1e-4  # of damping and mean speed, where that is found
LEAST_SPEED = 0.05  # of the mean


def engine_push(packed: Packed, speed: float, torque: float | None = None) -> CyclePush:
    """Push of a case with an engine at a mean crank speed (rad/s), about a mean output torque (N m; default that of
    the cycle), with the torques on its rotors where it has any."""
    linear = rotor_linear(packed, mean_torque(packed, speed) if torque is None else torque)
    return cycle_push(packed, speed) if linear is None else rotor_push(packed, speed, linear)


@dataclass(frozen=True, eq=False)
class Course:
    """A working cycle over crank angles (n) rad at equal steps: `speed` u of the crank (n) rad/s and `gain` u·u' (n)
    rad/s², `time` (n) s; `rows` (n, ENGINE) of every part with a train and `gas` (n) N m on it, by its index; `torque`
    (harmonics, parts) N m what turns the parts against that course, `swing` greatest less least crank speed; `linear`
    the shafts with what their dry friction damps there."""

    angles: np.ndarray
    speed: np.ndarray
    gain: np.ndarray
    time: np.ndarray
    rows: dict[int, np.ndarray]
    gas: dict[int, np.ndarray]
    torque: np.ndarray
    swing: float
    linear: RotorLinear

    def amplitude(self, values: np.ndarray) -> np.ndarray:
        """Complex amplitudes (harmonics, ...), counted over time, of values (n, ...) over the angle; without the mean,
        which the preload carries."""
        cycle, turns = len(self.angles) * self.angles[1], round(len(self.angles) * self.angles[1] / (2.0 * math.pi))
        period = cycle * float(np.mean(1.0 / self.speed))
        steady = over_time(values, self.angles, self.time, cycle, period)
        found = 2.0 * np.fft.fft(steady, axis=0)[: round(HIGHEST_ORDER * turns) + 1] / len(steady)
        found[0] = 0.0
        return np.asarray(found)


def rotor_push(packed: Packed, speed: float, linear: RotorLinear) -> CyclePush:
    """`cycle_push` of a case with rotors."""
    course = course_of(packed, speed, linear)
    turns = round(packed.period / (2.0 * math.pi))
    push = sum(on_engine(packed, sums, course.speed**2) for sums in course.rows.values())
    amplitude = course.amplitude(push + course_push(packed, course)[0])
    return CyclePush(speed, turns, amplitude, course.time, course.swing / speed, course.torque, course.linear)


def course_of(packed: Packed, speed: float, linear: RotorLinear) -> Course:
    """How the crank turns at a mean speed (rad/s) on a block that stands still: first by itself, then with all that
    turns against it."""
    found = packed.drivetrain
    assert found is not None
    turns = round(packed.period / (2.0 * math.pi))
    angles = np.linspace(0.0, packed.period, POINTS_PER_TURN * turns, endpoint=False)
    rows = {n: part_rows(packed, part.train, angles) for n, part in enumerate(found.parts) if part.train is not None}
    gas = {n: gas_of(packed, found.parts[n].cylinders, angles, speed) for n in rows}
    crank = crank_speed(np.sum(list(rows.values()), axis=0), np.sum(list(gas.values()), axis=0), packed.period, speed)
    swing = 0.0
    for _ in range(ROUNDS):
        gain, time = _gain(crank, packed.period), integral(1.0 / crank, packed.period)
        course = Course(angles, crank, gain, time, rows, gas, np.zeros((0, 0)), swing, linear)
        turning = course_push(packed, course)[1]
        for n, sums in rows.items():
            turning[:, n] += gas[n] - 0.5 * sums[:, C_ + 1] * crank**2
        course = replace(course, torque=course.amplitude(turning))
        ahead, faster = _swung(linear, course.torque, speed / turns, time)
        before, linear = linear, linear.rubbing(faster)
        swing = float(np.ptp(crank + faster[:, 0]))
        crank = _corrected(crank + faster[:, 0], angles + ahead[:, 0], angles, packed.period, speed)
        settled = np.abs(linear.damping - before.damping) <= CLOSE * before.damping
        if settled.all() and np.abs(faster[:, 0]).max() <= CLOSE * speed:
            break
    return replace(course, swing=swing, linear=linear)


def _gain(crank: np.ndarray, cycle: float) -> np.ndarray:
    """u·u' (n) rad/s² of speeds (n) rad/s at equal steps of the angle over a cycle (rad)."""
    transform = np.fft.rfft(0.5 * crank**2)
    return np.fft.irfft(2j * np.pi / cycle * np.arange(len(transform)) * transform, len(crank))


def _corrected(crank: np.ndarray, at: np.ndarray, angles: np.ndarray, cycle: float, speed: float) -> np.ndarray:
    """Crank speed (n) rad/s at `angles` from that at other ones, its mean over time as set; one that would stop is none
    for a steady speed."""
    course = CubicSpline(np.append(at, at[0] + cycle), np.append(crank, crank[0]), bc_type="periodic")
    found = np.maximum(course(angles), LEAST_SPEED * speed)
    return np.asarray(found * speed * np.mean(1.0 / found))


def gas_of(packed: Packed, cylinders: tuple[int, ...], angles: np.ndarray, speed: float) -> np.ndarray:
    """Torque (n) N m of the gas in some cylinders (indices) at crank angles (n) rad."""
    train, torque = packed.model.train, np.zeros(len(angles))
    if not packed.model.gas.active or not cylinders:
        return torque
    records = train.cylinders.copy()
    records["area"][np.setdiff1d(np.arange(len(records)), cylinders)] = 0.0
    model = packed.model._replace(train=train._replace(cylinders=records), rotors=None)
    over_cycle(angles, speed, model, np.zeros((len(angles), ENGINE)), torque)
    return torque


def on_engine(packed: Packed, sums: np.ndarray, square: np.ndarray) -> np.ndarray:
    """−m'·u² on the engine's body (n, unknowns), m from sums (n, ENGINE) over moving parts, u² (n) rad²/s²."""
    return _along(packed, sums, -square, A1_, B1_)


def _along(packed: Packed, sums: np.ndarray, factor: np.ndarray, *columns: int) -> np.ndarray:
    push, own = np.zeros((len(sums), packed.unknowns)), packed.axes[packed.model.carrier]
    for first, column in zip((0, 3), columns, strict=True):
        at = 6 * packed.model.carrier + first
        push[:, at : at + 3] = factor[:, None] * sums[:, column : column + 3] @ own.T
    return push


def course_push(packed: Packed, course: Course) -> tuple[np.ndarray, np.ndarray]:
    """What all that turns puts on bodies (n, unknowns) and needs itself (n, parts) to go along with the course."""
    found, rotors, gain = packed.drivetrain, packed.model.rotors, course.gain
    assert found is not None and rotors is not None
    on_bodies, on_parts = np.zeros((len(gain), packed.unknowns)), np.zeros((len(gain), len(found.parts)))
    axes = axes_of(packed, rotors)
    for n, part in enumerate(found.parts):
        if n in course.rows:
            on_parts[:, n] = -course.rows[n][:, C_] * gain
            on_bodies += _along(packed, course.rows[n], -gain, A_, B_)
            continue
        on_parts[:, n] = -part.inertia * part.ratio * gain
        if (body := int(rotors.parts[n]["body"])) >= 0:
            on_bodies[:, of_body(body, 3)] += on_parts[:, n, None] * axes[n]
    return on_bodies, on_parts


def _swung(linear: RotorLinear, torque: np.ndarray, step: float, time: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Angles (n, parts) rad and speeds (n, parts) rad/s beyond the course at times (n) s; `step` rad/s between the
    harmonics of the torques (harmonics, parts)."""
    rates = step * np.arange(1, len(torque))
    angles = linear.angles_alone(rates, torque[1:])
    phase = np.exp(1j * np.outer(time, rates))
    both = np.real(phase @ np.hstack([angles, 1j * rates[:, None] * angles]))
    return both[:, : torque.shape[1]], both[:, torque.shape[1] :]
