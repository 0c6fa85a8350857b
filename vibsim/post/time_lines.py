"""Lines over frequency of what repeats every working cycle, exactly: no window, no leakage.

The cycle is known in equal steps of crank angle, while frequencies go with time, and the crank does not turn evenly.
Over one period T the line k is (1/T)∮ a·e^(−2πikt/T) dt = (1/T)∮ a·e^(−2πikt(θ)/T)/ω dθ, and equal steps of an angle in
which everything repeats integrate a smooth curve to rounding (derived). What repeats only after many cycles, as a
pattern of misfire, goes by a cubic spline over time, off by the fourth power of the step.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vibsim.results.labelled import Group

HIGHEST = 3000.0  # Hz: past all weightings and the third-octave bands
CHUNK = 256  # lines at once
LONGEST = 1440  # steps that are summed directly: two cycles of 720


@dataclass(frozen=True)
class Lines:
    """`line` (k, ...) complex: value(t) = Re Σ line·e^(2πi·frequency·t), with `frequency` (k) in Hz from 0, the mean;
    `period` in s; `mean_square` (...) of all, lines past the last too; `steps` of the curve they come from."""

    frequency: np.ndarray
    line: np.ndarray
    period: float
    mean_square: np.ndarray
    steps: int

    def power(self) -> np.ndarray:
        """Mean square (k, ...) of every line."""
        power = 0.5 * np.abs(self.line) ** 2
        power[0] *= 2.0
        return power

    def curve(self, factor: np.ndarray | None = None) -> np.ndarray:
        """Values (steps, ...) over one period in equal steps of time, every line times a complex factor (k)."""
        count = max(self.steps, 2 * len(self.line))
        line = self.line if factor is None else self.line * factor.reshape((-1,) + (1,) * (self.line.ndim - 1))
        half = 0.5 * count * line
        half[0] *= 2.0
        return np.fft.irfft(half, count, axis=0)


def lines_of(values: np.ndarray, speed: np.ndarray, cycle: float) -> Lines:
    """Lines of values (n, ...) in equal steps over a cycle (rad) passed with crank speeds (n) in rad/s."""
    count = len(values)
    pace = 1.0 / speed
    period = float(pace.mean()) * cycle
    time = _passed(pace, cycle)
    last = min((count - 1) // 2, math.ceil(HIGHEST * period))
    lines = _by_spline if count > LONGEST else _by_sum
    found = lines(values.reshape(count, -1), time, pace, period, last)
    found[1:] *= 2.0
    square = (values**2 * pace.reshape((-1,) + (1,) * (values.ndim - 1))).mean(axis=0) / pace.mean()
    return Lines(np.arange(last + 1) / period, found.reshape(-1, *values.shape[1:]), period, square, count)


def _by_sum(values: np.ndarray, time: np.ndarray, pace: np.ndarray, period: float, last: int) -> np.ndarray:
    """Lines (last + 1, m) of values (n, m) by the sum over angle."""
    flat = values * pace[:, None] / pace.sum()
    found = np.empty((last + 1, flat.shape[1]), dtype=complex)
    for first in range(0, last + 1, CHUNK):
        k = np.arange(first, min(first + CHUNK, last + 1))
        found[k] = np.exp(-2j * np.pi / period * np.outer(k, time)) @ flat
    return found


def _by_spline(values: np.ndarray, time: np.ndarray, pace: np.ndarray, period: float, last: int) -> np.ndarray:
    """The same from a periodic spline over time in equal steps: a sum over many cycles grows with their square."""
    from scipy.interpolate import CubicSpline  # a quarter of a second to load, for long patterns alone

    curve = CubicSpline(np.append(time, period), np.concatenate([values, values[:1]]), bc_type="periodic")
    return np.fft.rfft(curve(period / len(time) * np.arange(len(time))), axis=0)[: last + 1] / len(time)


def _passed(pace: np.ndarray, cycle: float) -> np.ndarray:
    """Time (n) at equal steps of angle from the time per angle there, integrated line by line."""
    count = len(pace)
    transform = np.fft.rfft(pace)
    order = np.arange(len(transform)) * (2.0 * np.pi / cycle)
    integral = np.zeros_like(transform)
    integral[1:] = transform[1:] / (1j * order[1:])
    if count % 2 == 0:
        integral[-1] = 0.0
    swing = np.fft.irfft(integral, count)
    return pace.mean() * np.arange(count) * cycle / count + swing - swing[0]


def cycle_lines(results: Group, name: str = "sensor_acceleration") -> Lines | None:
    """Lines of a variable of a steady run; None where nothing repeats."""
    if "cycle" not in results.groups or name not in results.groups["cycle"]:
        return None
    cycle = results.groups["cycle"]
    return lines_of(cycle[name], cycle["crank_speed"], float(cycle.attributes["cycle_length_rad"]))
