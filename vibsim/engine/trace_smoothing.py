"""Smoothing of a pressure trace without shifting it: every filter here is symmetric and wraps round the cycle."""

from __future__ import annotations

import math

import numpy as np

from vibsim.engine.trace_windows import evenly_spaced, spacing
from vibsim.inputs.errors import InputError
from vibsim.inputs.models import TraceGas
from vibsim.inputs.trace import Trace

POLYNOMIAL = 3  # degree of the Savitzky–Golay fit
FILTER_ORDER = 2  # of the Butterworth filter, run forward and back


def smooth(trace: Trace, gas: TraceGas, cycle: float, where: str) -> Trace:
    """The trace smoothed as the case says, at equal steps; as it is with smoothing none.

    Raises InputError, begun with `where`, when the samples are too far apart for the smoothing asked for.
    """
    if gas.smoothing == "none":
        return trace
    even = evenly_spaced(trace, cycle)
    if gas.smoothing == "savitzky_golay":
        assert gas.smoothing_window is not None
        return Trace(even.angles, savitzky_golay(even, gas.smoothing_window, where))
    assert gas.smoothing_cut_off_order is not None
    return Trace(even.angles, low_pass(even, gas.smoothing_cut_off_order, cycle, where))


def savitzky_golay(trace: Trace, window: float, where: str) -> np.ndarray:
    """Pressures (n) of a cubic fitted by least squares to the samples within a window (rad) about each sample
    (Savitzky and Golay, Anal. Chem. 36, 1964)."""
    from scipy.signal import savgol_filter

    length = 2 * round(0.5 * window / spacing(trace)) + 1
    if length < POLYNOMIAL + 2:
        least = math.degrees((POLYNOMIAL + 1) * spacing(trace))
        raise InputError(
            f"engine.gas.smoothing_window_deg: got {math.degrees(window):g}; {where} has a sample every "
            f"{math.degrees(spacing(trace)):.3g} deg, must be at least {least:.3g}"
        )
    return savgol_filter(trace.pressures, length, POLYNOMIAL, mode="wrap")


def low_pass(trace: Trace, cut_off: float, cycle: float, where: str) -> np.ndarray:
    """Pressures (n) without what is faster than a cut-off order (periods per crank revolution).

    A Butterworth filter of second order run forward and back over the repeating cycle: the Fourier terms of order n
    are multiplied by 1/(1 + (n/cut-off)⁴), one half at the cut-off, with no shift (squared magnitude of the
    Butterworth filter; derived: on a repeating signal the two runs are exactly this).
    """
    terms = np.fft.rfft(trace.pressures)
    orders = np.arange(len(terms)) * (2.0 * math.pi / cycle)
    if cut_off >= orders[-1]:
        raise InputError(
            f"engine.gas.smoothing_cut_off_order: got {cut_off:g}; {where} with a sample every "
            f"{math.degrees(spacing(trace)):.3g} deg holds orders below {orders[-1]:g} only"
        )
    return np.fft.irfft(terms / (1.0 + (orders / cut_off) ** (2 * FILTER_ORDER)), len(trace.pressures))


def taken_away(before: Trace, after: Trace, cycle: float) -> float:
    """Root mean square over angle of what smoothing took from the samples, Pa."""
    if after is before:
        return 0.0
    even = evenly_spaced(before, cycle)
    return float(np.sqrt(np.mean((even.pressures - after.pressures) ** 2)))
