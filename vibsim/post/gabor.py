"""Order tracking by the Gabor transform: an order's own course in time, cut out of the plane of angle and order.

The signal over crank angle is expanded under Gaussian windows (scipy.signal.ShortTimeFFT, whose inverse by the dual
window is exact), what lies within half the spacing of the orders is kept, and put together again. The course found has
amplitude and phase at every angle, not one for a window.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from vibsim.inputs.errors import InputError
from vibsim.post.tracking import DEGREE, Tracked

WIDTHS = 8.0  # standard deviations of the Gaussian in the length of its window
FRAMES = 16  # windows begin so many times per window's length
LONGER = 2  # windows of the expansion than those of the transform per window: a Gaussian is the narrower
MOST_POINTS = 30_000_000  # of one column over the angle


def gabor_orders(values: np.ndarray, angle: np.ndarray, tracked: Tracked, picked: list[int]) -> Tracked:
    """The picked of the orders tracked of values (n, ...) at crank angles (n) rad, amplitudes by the Gabor transform at
    the middle of the same windows, those left out where its longer windows do not lie in the record.

    `error` is that of resampling and of the Gaussian's tails beyond half a spacing (derived: erfc of the cut's place
    over √2 standard deviations, times all orders together, which the record's ends spread). Raises InputError for a
    record shorter than one window, or too long to be held over the angle.
    """
    from scipy.interpolate import make_interp_spline
    from scipy.signal import ShortTimeFFT
    from scipy.signal.windows import gaussian

    turns = LONGER * tracked.window_turns
    per_turn = math.ceil(2.0 * math.pi / float(np.diff(angle).min()))
    per_turn = max(per_turn, math.ceil(2.56 * float(tracked.orders[-1])))
    length, count = round(turns * per_turn), int((angle[-1] - angle[0]) / (2.0 * math.pi) * per_turn)
    inside = np.abs(tracked.angle - 0.5 * (angle[0] + angle[-1])) <= 0.5 * (angle[-1] - angle[0]) - math.pi * turns
    if not length <= count <= MOST_POINTS or not inside.any():
        raise InputError(f"--method: got gabor; needs {turns:g} crank turns at least, and no more than memory holds")
    grid = angle[0] + 2.0 * math.pi / per_turn * np.arange(count)
    window = gaussian(length, length / WIDTHS, sym=False)
    expansion = ShortTimeFFT(window, max(length // FRAMES, 1), float(per_turn), fft_mode="twosided")
    spacing, middles = float(tracked.orders[1]), tracked.angle[inside]
    columns = values.reshape(len(values), -1)
    found = np.empty((len(middles), len(picked), columns.shape[1]), dtype=complex)
    for c in range(columns.shape[1]):
        plane = expansion.stft(make_interp_spline(angle, columns[:, c], DEGREE)(grid))
        for k, o in enumerate(picked):
            order = float(tracked.orders[o])
            near = np.abs(expansion.f - order) < 0.5 * spacing
            course = expansion.istft(np.where(near[:, None], plane, 0.0), k1=count)
            course *= (2.0 if o else 1.0) * np.exp(-1j * order * grid)
            found[:, k, c] = np.interp(middles, grid, course.real) + 1j * np.interp(middles, grid, course.imag)
    return replace(
        tracked,
        time=tracked.time[inside],
        angle=middles,
        speed=tracked.speed[inside],
        orders=tracked.orders[picked],
        amplitude=found.reshape(len(middles), len(picked), *values.shape[1:]),
        error=_tails(tracked, turns)[inside][:, picked] + math.sqrt(2.0) * tracked.resampling,
        overall=tracked.overall[inside],
        window_turns=turns,
    )


def _tails(tracked: Tracked, turns: float) -> np.ndarray:
    """What of all orders together may lie beyond the cut (windows, orders, ...)."""
    from scipy.special import erfc

    deviations = 0.5 * float(tracked.orders[1]) * 2.0 * math.pi * turns / WIDTHS
    whole = np.abs(tracked.amplitude).sum(axis=1, keepdims=True)
    return np.asarray(float(erfc(deviations / math.sqrt(2.0))) * np.broadcast_to(whole, tracked.amplitude.shape))
