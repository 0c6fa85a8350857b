"""Order tracking: amplitude and phase of engine orders along a record whose crank speed changes.

The signal is carried from equal steps of time to equal steps of the crank angle that the record holds itself, by a
quintic spline; then every window of whole working cycles is transformed under a Hann window. Over the angle an order
keeps its line however the speed runs. Phase counts from crank angle zero of the record: an order is
Re(amplitude·e^{i·order·θ}), as in `orders`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vibsim.inputs.errors import InputError

WINDOW_CYCLES = 4  # working cycles in a window unless asked otherwise
FEWEST_CYCLES = 2  # then neighbouring orders lie in the zeros of the window's transform
DEGREE = 5  # of the spline
STEPS = 4  # windows begin so many times per window's length
HANN_VARIANCE = 1.0 / 12.0 - 1.0 / (2.0 * math.pi**2)  # of the window's place, over its length squared (derived)


@dataclass(frozen=True)
class Tracked:
    """Orders of a signal (...) at the middle of windows (m) along a record.

    `time` (m) s, `angle` (m) rad, `speed` (m) rad/s, window means; `orders` (n), 0 the mean; `amplitude` (m, n, ...)
    complex; `error` (m, n, ...) what windows and resampling are estimated to put into it; `overall` (m, ...) rms of
    what varies in the window; `resampling` (...) rms that the spline is estimated to miss; `window_turns` crank turns.
    """

    time: np.ndarray
    angle: np.ndarray
    speed: np.ndarray
    orders: np.ndarray
    amplitude: np.ndarray
    error: np.ndarray
    overall: np.ndarray
    resampling: np.ndarray
    window_turns: float


def turning_part(angle: np.ndarray) -> slice:
    """The longest stretch of a record in which the crank angle (n) rises at every sample."""
    rises = np.concatenate([[False], np.diff(angle) > 0.0, [False]])
    edges = np.flatnonzero(np.diff(rises.astype(int)))
    if len(edges) == 0:
        return slice(0, 0)
    starts, ends = edges[::2], edges[1::2]
    longest = int(np.argmax(ends - starts))
    return slice(int(starts[longest]), int(ends[longest]) + 1)


def resampling_error(angle: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Rms (...) that a quintic spline through values (n, ...) at angles (n) is estimated to miss between them.

    Derived: every second value left out and found again errs by e(2h); the spline's error goes with the sixth power of
    the step, so e(h) = e(2h)/64 as long as the samples are dense; where they are not e(2h) is as large as the values.
    """
    from scipy.interpolate import make_interp_spline

    if len(angle) < 2 * (DEGREE + 2):
        return np.full(values.shape[1:], np.inf)
    kept, inner = slice(None, None, 2), slice(1 + DEGREE, -1 - DEGREE)
    found = make_interp_spline(angle[kept], values[kept], DEGREE)(angle[1:-1:2])
    missed = found - values[1:-1:2]
    if len(missed) > 4 * DEGREE:
        missed = missed[inner]
    return np.asarray(np.sqrt(np.mean(missed**2, axis=0)) / 2 ** (DEGREE + 1))


def track_orders(
    values: np.ndarray,
    angle: np.ndarray,
    time: np.ndarray,
    cycle_turns: float,
    highest: float = 24.0,
    window_turns: float | None = None,
) -> Tracked:
    """Orders in steps of one over `cycle_turns` up to the highest, of values (n, ...) at rising crank angles (n) rad
    and times (n) s; in windows of `window_turns` crank turns, whole working cycles.

    Raises InputError for a window that is none, or a record shorter than one window.
    """
    from scipy.interpolate import make_interp_spline

    turns = window_of(window_turns, cycle_turns)
    length, hop = 2.0 * math.pi * turns, 2.0 * math.pi * turns / STEPS
    count = int((angle[-1] - angle[0] - length) / hop * (1.0 + 1e-12)) + 1 if len(angle) > 1 else 0
    if count < 1 or len(angle) < 4 * DEGREE:
        passed = (angle[-1] - angle[0]) / (2.0 * math.pi) if len(angle) else 0.0
        raise InputError(f"orders need a window of {turns:g} crank turns; the record has {passed:.3g}")
    spline, clock = make_interp_spline(angle, values, DEGREE), make_interp_spline(angle, time, 1)
    begins = angle[0] + hop * np.arange(count)
    found = [_window(spline, clock, angle, begin, length, turns, cycle_turns, highest) for begin in begins]
    lines = min(len(item[2]) for item in found)
    amplitude = np.array([item[2][:lines] for item in found])
    orders = np.arange(lines) / cycle_turns
    missed = resampling_error(angle, values)
    return Tracked(
        time=np.array([item[0] for item in found]),
        angle=begins + 0.5 * length,
        speed=np.array([item[1] for item in found]),
        orders=orders,
        amplitude=amplitude,
        error=window_error(amplitude, orders, hop, length) + math.sqrt(2.0) * missed,
        overall=np.array([item[3] for item in found]),
        resampling=missed,
        window_turns=turns,
    )


def window_of(asked: float | None, cycle_turns: float) -> float:
    """Crank turns of a window: whole working cycles, two at least. Raises InputError."""
    turns = WINDOW_CYCLES * cycle_turns if asked is None else asked
    cycles = turns / cycle_turns
    if abs(cycles - round(cycles)) > 1e-9 or round(cycles) < FEWEST_CYCLES:
        raise InputError(
            f"--window-turns: got {turns:g}; must be a multiple of {cycle_turns:g}, the turns of a working cycle, "
            f"{FEWEST_CYCLES * cycle_turns:g} at least"
        )
    return turns


def _window(spline, clock, angle, begin: float, length: float, turns: float, cycle_turns: float, highest: float):
    """Mean time, mean speed, lines and overall rms of one window; at least as many steps as there are samples where
    the crank turns slowest, so that nothing the record holds is folded onto the orders."""
    first, last = np.searchsorted(angle, (begin, begin + length))
    least = np.diff(angle[max(first - 1, 0) : last + 2]).min()
    count = max(math.ceil(length / least), 4 * round(turns))
    place = np.arange(count) * (length / count)
    values = spline(begin + place)
    window = np.hanning(count + 1)[:-1]
    weight = window / window.sum()
    shaped = weight.reshape((-1,) + (1,) * (values.ndim - 1))
    mean = np.sum(shaped * values, axis=0)
    transform = np.fft.rfft(shaped * values, axis=0)
    step = round(turns / cycle_turns)
    lines = transform[: min(int(highest * cycle_turns) * step, (count - 1) // 2) + 1 : step]
    turned = np.exp(-1j * np.arange(len(lines)) / cycle_turns * begin)
    scale = turned * np.where(np.arange(len(lines)) == 0, 1.0, 2.0)
    times, away = clock(begin + place), place - 0.5 * length
    middle = float(weight @ times)
    pace = float(weight @ (away * (times - middle))) / float(weight @ away**2)
    overall = np.sqrt(np.sum(shaped * (values - mean) ** 2, axis=0))
    return middle, 1.0 / pace, lines * scale.reshape((-1,) + (1,) * (values.ndim - 1)), overall


def window_error(amplitude: np.ndarray, orders: np.ndarray, hop: float, length: float) -> np.ndarray:
    """What a Hann window is estimated to add to amplitudes (m, n, ...) that change along the record, hop and length of
    the windows in rad.

    Derived: amplitude A + A'·x + ½A''·x² under a window of variance v·L² reads A + ½A''·v·L²; a neighbour k lines of
    the window away (its transform sin(πk)/(πk(1 − k²)) is zero there, its slope is not) adds |A'|·L/(2π·k·(k² − 1)).
    Slopes are differences of the amplitudes found.
    """
    if len(amplitude) < 3:
        return np.full(amplitude.shape, np.inf)
    slope = np.gradient(amplitude, hop, axis=0)
    bend = np.abs(np.gradient(slope, hop, axis=0))
    apart = np.abs(orders[:, None] - orders[None, :]) * length / (2.0 * math.pi)
    apart[apart < 1.5] = np.inf
    share = length / (2.0 * math.pi) / (apart * (apart**2 - 1.0))
    leaked = np.moveaxis(np.tensordot(share, np.abs(slope), axes=(1, 1)), 0, 1)
    return np.asarray(0.5 * HANN_VARIANCE * length**2 * bend + leaked)
