"""Level over frequency and crank speed: short-time spectra of a record, or the lines of engine orders.

Levels are amplitudes: a sine reads its peak at its line. Lines of orders are laid out as a Hann window of the same
resolution would show them, sin(πx)/(πx(1 − x²)) with x in lines (derived: its transform), so that both ways look alike.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vibsim.inputs.errors import InputError

LEAST_CHANGE = 0.05  # of the speed, for a map over it
OVERLAP = 8  # frames begin so many times per frame
MOST_ROWS = 160  # of speed
REACH = 3.0  # lines: side lobes beyond are below a hundredth


@dataclass(frozen=True)
class LevelMap:
    """`level` (speeds, frequencies) amplitude, nothing (nan) at speeds the record skips; `speed` (rad/s) and
    `frequency` (Hz) rise in equal steps; `resolution` Hz between lines of a Hann window."""

    frequency: np.ndarray
    speed: np.ndarray
    level: np.ndarray
    resolution: float


def sweep_resolution(time: np.ndarray, angle: np.ndarray) -> float:
    """Hz at which the second order of a run-up moves by one line within a window: longer windows would smear it.

    Derived: a window of T s has lines 1/T apart, order n moves by n·r·T in it, r the rise of revolutions per second
    each second; T = 1/√(2r). An eighth of the record at most.
    """
    few = max(len(time) // 20, 2)
    ends = slice(None, few), slice(-few, None)
    first, last = ((angle[part][-1] - angle[part][0]) / (time[part][-1] - time[part][0]) for part in ends)
    between = float(time[-few] + time[-1] - time[few - 1] - time[0]) / 2.0
    rise = abs(last - first) / (2.0 * math.pi * between)
    return max(math.sqrt(2.0 * rise), 8.0 / float(time[-1] - time[0]))


def short_time_levels(
    values: np.ndarray, angle: np.ndarray, time: np.ndarray, highest: float, resolution: float
) -> LevelMap:
    """Map of values (n, axes), all axes together, at crank angles (n) rad and equal steps of time (n) s, up to a
    highest frequency (Hz).

    Hann windows an eighth apart (scipy.signal.ShortTimeFFT); frames of nearly the same mean speed are averaged in
    power. Raises InputError for a record too short, or whose speed hardly changes.
    """
    from scipy.signal import ShortTimeFFT
    from scipy.signal.windows import hann

    rate = (len(time) - 1) / float(time[-1] - time[0])
    length = round(rate / resolution)
    if not 8 <= length <= len(values):
        least = 1.0 / float(time[-1] - time[0])
        raise InputError(f"--resolution-Hz: got {resolution:.3g}; must be {least:.3g} to {rate / 8.0:.4g} here")
    spectra = ShortTimeFFT(hann(length, sym=False), max(length // OVERLAP, 1), rate, scale_to="magnitude")
    first, last = spectra.lower_border_end[1], spectra.upper_border_begin(len(values))[1]
    if last - first < 2:
        raise InputError("the record is too short for short-time spectra; ask for a wider --resolution-Hz")
    shown = spectra.f <= min(highest, 0.5 * rate)
    square = np.zeros((int(shown.sum()), last - first))
    for axis in values.T:
        found = spectra.stft(axis - axis.mean(), p0=first, p1=last)
        square += (2.0 * np.abs(found[shown])) ** 2
    middle = time[0] + spectra.delta_t * np.arange(first, last)
    half = 0.5 * length / rate
    turned = np.interp(middle + half, time, angle) - np.interp(middle - half, time, angle)
    speed, level = _over_speed(turned / (2.0 * half), square.T)
    return LevelMap(spectra.f[shown], speed, level, rate / length)


def _over_speed(speed: np.ndarray, square: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean in power of frames (n, ...) by equal steps of speed; nan where no frame falls."""
    low, high = float(speed.min()), float(speed.max())
    if high - low < LEAST_CHANGE * max(abs(low), abs(high)):
        raise InputError("the crank speed hardly changes in this record; a colour map over speed needs a run-up")
    rows = int(min(MOST_ROWS, max(len(speed) // 2, 2)))
    place = np.minimum(((speed - low) / (high - low) * rows).astype(int), rows - 1)
    count = np.bincount(place, minlength=rows)
    total = np.zeros((rows, square.shape[1]))
    np.add.at(total, place, square)
    with np.errstate(invalid="ignore", divide="ignore"):
        level = np.sqrt(total / count[:, None])
    return low + (np.arange(rows) + 0.5) * (high - low) / rows, level


def order_levels_as_map(
    speed: np.ndarray, orders: np.ndarray, amplitude: np.ndarray, highest: float, resolution: float
) -> LevelMap:
    """Map of the amplitudes (speeds, orders) of engine orders (n) at crank speeds (rad/s) in equal steps, up to a
    highest frequency (Hz); lines that overlap add in power."""
    frequency = 0.5 * resolution * np.arange(int(2.0 * highest / resolution) + 1)
    level = np.empty((len(speed), len(frequency)))
    for n, turning in enumerate(speed):
        away = np.abs(frequency[:, None] - orders * turning / (2.0 * math.pi)) / resolution
        shape = np.where(away < REACH, _hann_line(away), 0.0)
        level[n] = np.sqrt(np.sum((shape * amplitude[n]) ** 2, axis=1))
    return LevelMap(frequency, np.asarray(speed, dtype=float), level, resolution)


def _hann_line(x: np.ndarray) -> np.ndarray:
    """Transform of a Hann window x lines off, one at its middle."""
    near = np.abs(x - 1.0) < 1e-6
    safe = np.where(near, 0.0, x)
    return np.where(near, 0.5, np.sinc(safe) / (1.0 - safe**2))
