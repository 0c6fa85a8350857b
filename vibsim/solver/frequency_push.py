"""What the moving parts and the gas do to the engine's body over one working cycle, the crank's own speed swing in it.

Derived from the momentum equations at small motion: with m = (A, B) and the crank's own equation
C·φ̈ + ½C'φ̇² + m·V̇ = T solved for φ̈, the body is pushed by −φ̇²·m' − (m/C)·(T − ½C'φ̇²). The crank's speed over the
cycle is that on a still block: ½C·φ̇² grows by the work of the gas less its mean, which friction and load take.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from vibsim.jit import kernel
from vibsim.solver.motion import ENGINE, fill_engine, gas_torque
from vibsim.solver.moving_parts import A1_, A_, B1_, B_, C_
from vibsim.solver.packed import Packed

if TYPE_CHECKING:
    from vibsim.solver.rotor_linear import RotorLinear

POINTS_PER_TURN = 360
HIGHEST_ORDER = 24.0  # of what is summed when orders are counted over the crank angle
ROUNDS = 20  # of finding the level of kinetic energy that gives the mean speed


@dataclass(frozen=True)
class CyclePush:
    """Push over one working cycle of `turns` crank turns at a mean speed (rad/s), or over all those of a pattern of
    misfire.

    `amplitude` (harmonics, unknowns) complex: push = Re Σ amplitude[k]·e^{i·k·Ω·t/turns}; `time` (points) s at equal
    steps of the crank angle; `swing` the greatest less the least crank speed, over the mean. `torque` (harmonics,
    parts) N m that turn the rotors of a case with more than a rigid crank against the course of the push, `rotors`
    these with what their shafts damp in it.
    """

    speed: float
    turns: int
    amplitude: np.ndarray
    time: np.ndarray
    swing: float
    torque: np.ndarray | None = None
    rotors: RotorLinear | None = None

    def at(self, order: float) -> np.ndarray:
        """Complex amplitude (unknowns) at an order, counted over time."""
        return self.amplitude[round(order * self.turns)]

    def handed_on(self, order: float) -> np.ndarray:
        """`at` with what the rotors of a case that has them hand on to the bodies."""
        push = self.at(order)
        if self.rotors is None or self.torque is None:
            return push
        return push + self.rotors.handed(order * self.speed, self.torque[round(order * self.turns)])

    def over_angle(self, felt: np.ndarray) -> np.ndarray:
        """Complex amplitudes (harmonics, ...) counted over the crank angle, of some counted over time.

        A crank that speeds up and slows down makes one order over time into several over the angle, and the other way
        round; `vibsim run` counts over the angle.
        """
        count = len(felt)
        phase = np.exp(1j * self.speed / self.turns * np.outer(self.time, np.arange(count)))
        values = np.real(np.tensordot(phase, felt, axes=1))
        return 2.0 * np.fft.fft(values, axis=0)[:count] / len(values)


def cycle_push(packed: Packed, speed: float) -> CyclePush:
    """Push on the bodies (6 unknowns each, vehicle axes) of a case with an engine at a mean crank speed (rad/s)."""
    turns = round(packed.period / (2.0 * math.pi))
    angles = np.linspace(0.0, packed.period, POINTS_PER_TURN * turns, endpoint=False)
    rows, gas = np.empty((len(angles), ENGINE)), np.empty(len(angles))
    over_cycle(angles, speed, packed.model, rows, gas)
    crank = crank_speed(rows, gas, packed.period, speed)
    turning = (gas - gas.mean() - 0.5 * rows[:, C_ + 1] * crank**2) / rows[:, C_]
    own, at = packed.axes[packed.model.carrier], 6 * packed.model.carrier
    push = np.zeros((len(angles), packed.unknowns))
    for column, whole, slope in ((at, A_, A1_), (at + 3, B_, B1_)):
        force = -(crank**2)[:, None] * rows[:, slope : slope + 3] - turning[:, None] * rows[:, whole : whole + 3]
        push[:, column : column + 3] = force @ own.T
    time = integral(1.0 / crank, packed.period)
    steady = over_time(push, angles, time, packed.period, packed.period / speed)
    harmonics = round(HIGHEST_ORDER * turns) + 1
    amplitude = 2.0 * np.fft.fft(steady, axis=0)[:harmonics] / len(steady)
    amplitude[0] = 0.0  # the mean is carried by the preload
    return CyclePush(speed, turns, amplitude, time, float(np.ptp(crank)) / speed)


@kernel
def over_cycle(angles, speed, model, rows, gas):
    for n in range(angles.size):
        fill_engine(angles[n], model, rows[n])
        gas[n] = gas_torque(angles[n], speed, model)


def crank_speed(rows: np.ndarray, gas: np.ndarray, cycle: float, speed: float) -> np.ndarray:
    """Crank speed (rad/s) over equal steps of the angle, its mean over time the one given."""
    inertia = rows[:, C_]
    work = integral(gas - gas.mean(), cycle)
    level = 0.5 * inertia.mean() * speed**2
    crank = np.full(len(gas), speed)
    for _ in range(ROUNDS):
        energy = np.maximum(level + work, 0.05 * level)  # a crank that would stop is none for a steady speed
        crank = np.sqrt(2.0 * energy / inertia)
        level *= (speed * np.mean(1.0 / crank)) ** 2
    return crank


def integral(values: np.ndarray, cycle: float) -> np.ndarray:
    """Integral over the angle of a periodic function at equal steps, from the first point on."""
    transform = np.fft.rfft(values)
    rate = 2j * np.pi / cycle * np.arange(len(transform))
    transform[1:] /= rate[1:]
    transform[0] = 0.0
    angles = np.linspace(0.0, cycle, len(values), endpoint=False)
    found = np.fft.irfft(transform, len(values)) + values.mean() * angles
    return found - found[0]


def over_time(push: np.ndarray, angles: np.ndarray, time: np.ndarray, cycle: float, period: float) -> np.ndarray:
    """Push at equal steps of time over the cycle, from values at equal steps of the angle."""
    from scipy.interpolate import CubicSpline

    ends = np.append(angles, cycle)
    late = time - period / cycle * angles  # periodic, unlike the time itself
    ahead = CubicSpline(np.append(time, period), np.append(late, late[0]), bc_type="periodic")
    times = np.linspace(0.0, period, len(time), endpoint=False)
    angle_at = (times - ahead(times)) * cycle / period
    return np.asarray(CubicSpline(ends, np.vstack([push, push[:1]]), bc_type="periodic")(angle_at))
