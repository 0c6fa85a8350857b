"""Weighted acceleration of a record: by a digital filter in time, and by the transfer function on its spectrum.

The digital filter keeps the poles of the analogue one (z = e^(s·dt)) and sets its zeros so that its size is that of the
analogue one at 0, at half the sampling rate, and at the low pass's corner or, of the transition, at four times its
corner: the matched second-order section of Vicanek, "Matched second order digital filters" (2016), from memory. High
pass and step, whose corners lie far below the sampling rate, are bilinear with prewarping, each at its own corner. So
Wh stays within 2 % up to its upper end at 10 kHz.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft, rfftfreq
from scipy.signal import bilinear, sosfilt

from vibsim.post.weighting import WEIGHTINGS, Section, section_at, sections_of, transfer_at

TAIL = 5.0  # s of silence after a record, in which what is left of the weighting dies away (0.4 Hz: to 1e-4)


@lru_cache(maxsize=64)
def _sections(name: str, rate: float) -> tuple[tuple[float, ...], ...]:
    found = []
    for section in sections_of(name):
        warped = section.b2 != 0.0  # high pass and step
        found.append(_prewarped(section, rate) if warped else _matched(section, rate))
    return tuple(tuple(float(value) for value in row) for row in found)


def digital_sections(name: str, rate: float) -> np.ndarray:
    """Second-order sections (n, 6) of a weighting at a sampling rate (Hz), as `scipy.signal.sosfilt` takes them.

    Raises ValueError for a rate at which the weighting's upper limit cannot be told, below 2.5 times it.
    """
    least = least_rate(name)
    if rate < least:
        raise ValueError(f"{name} needs a sampling rate of at least {least:g} Hz; got {rate:g} Hz")
    return np.array(_sections(name, float(rate)))


def least_rate(name: str) -> float:
    """Sampling rate (Hz) from which a weighting can be filtered in time: 2.5 times its upper band limit."""
    return 2.5 * WEIGHTINGS[name].f2


def _prewarped(section: Section, rate: float) -> np.ndarray:
    """Bilinear, exact in size and phase at the corner: the analogue one stretched so that the corner falls right."""
    corner = 2.0 * math.pi * section.corner
    stretch = 2.0 * rate * math.tan(0.5 * corner / rate) / corner
    above = [section.b2, section.b1 * stretch, section.b0 * stretch**2]
    below = [1.0, section.a1 * stretch, section.a0 * stretch**2]
    b, a = bilinear(above, below, rate)
    return np.concatenate([b, a])


def _matched(section: Section, rate: float) -> np.ndarray:
    """Poles by z = e^(s/rate); zeros from the size at three frequencies, |B|² = B0·φ0 + B1·φ1 + B2·φ2 (derived: size of
    b0 + b1 z⁻¹ + b2 z⁻², with φ1 = sin²(ω/2), φ0 = 1 − φ1, φ2 = 4 φ0 φ1)."""
    poles = np.exp(np.roots([1.0, section.a1, section.a0]) / rate)
    a = np.real(np.poly(poles))
    at = min(section.corner if section.b1 == 0.0 else 4.0 * section.corner, 0.45 * rate)
    places = np.array([0.0, 0.5 * rate, at])
    turn = 2.0 * np.pi * places / rate
    below = np.abs(np.exp(-1j * np.outer(turn, np.arange(3))) @ a) ** 2
    size = np.abs(section_at(section, places)) ** 2 * below
    phi1 = math.sin(0.5 * turn[2]) ** 2
    phi0, phi2 = 1.0 - phi1, 4.0 * phi1 * (1.0 - phi1)
    third = (size[2] - size[0] * phi0 - size[1] * phi1) / phi2
    total, difference = math.sqrt(size[0]), math.sqrt(size[1])  # b0 + b1 + b2 and b0 − b1 + b2
    outer = 0.5 * (total + difference)  # b0 + b2, and b0·b2 = −third/4
    root = math.sqrt(max(outer**2 + third, 0.0))
    b = np.array([0.5 * (outer + root), 0.5 * (total - difference), 0.5 * (outer - root)])
    return np.concatenate([b, a])


def weighted_in_time(values: np.ndarray, rate: float, name: str) -> np.ndarray:
    """Weighted values (n, ...) sampled at `rate` (Hz), filtered from rest along the first axis."""
    return sosfilt(digital_sections(name, rate), values, axis=0)


def weighted_by_spectrum(values: np.ndarray, rate: float, name: str) -> np.ndarray:
    """Weighted values (n, ...) by the transfer function on their spectrum, with silence after them so that the end does
    not run into the start."""
    count = len(values)
    padded = next_fast_len(count + math.ceil(TAIL * rate), real=True)
    transform = rfft(values, padded, axis=0)
    transfer = transfer_at(name, rfftfreq(padded, 1.0 / rate)).reshape((-1,) + (1,) * (values.ndim - 1))
    return irfft(transform * transfer, padded, axis=0)[:count]
