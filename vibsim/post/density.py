"""Power spectral density of sensor accelerations by averaging, with the interval it is known within.

Welch's method: Hann windows that overlap by half, one-sided density. The interval is that of a random, steady signal:
ν·S/χ² with ν degrees of freedom of the average, in which overlapping segments count for less than their number:
ν = 2K/(1 + 2·Σ(1 − m/K)·ρm²), ρm the correlation of a window with itself m steps on (Welch, IEEE Trans. Audio 15
(1967) 70; Percival & Walden, Spectral Analysis for Physical Applications, 1993, 6.17; from memory). Sharp lines, as an
engine makes them, are no random signal: read their height from the orders.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.signal import get_window, welch
from scipy.stats import chi2

from vibsim.results.labelled import Group

OVERLAP = 0.5
CONFIDENCE = 0.95
SEGMENTS = 8.0  # lengths of a segment in the record unless asked otherwise: 15 overlapping ones
LONGEST = 4.0  # s, of a segment unless asked otherwise: lines 0.25 Hz apart


@dataclass(frozen=True)
class Density:
    """`density` (k, ...) per hertz at `frequency` (k) Hz, the mean of `segments` of `length` s. The true one lies
    within `lower` and `upper` times it with probability `confidence`, at zero and half the rate further off."""

    frequency: np.ndarray
    density: np.ndarray
    length: float
    segments: int
    freedom: float
    lower: float
    upper: float
    confidence: float


def density_of(values: np.ndarray, rate: float, length: float | None = None, confidence: float = CONFIDENCE) -> Density:
    """Density of values (n, ...) sampled at `rate` (Hz) by segments of `length` s (default an eighth, at most 4 s)."""
    wanted = min(len(values) / rate / SEGMENTS, LONGEST) if length is None else length
    count = int(min(max(round(wanted * rate), 16), len(values)))
    count -= count % 2  # so that half of it is whole
    step = count - int(OVERLAP * count)
    segments = (len(values) - count) // step + 1
    window = get_window("hann", count)
    frequency, density = welch(
        values, rate, window, count, int(OVERLAP * count), detrend="constant", scaling="density", axis=0
    )
    freedom = freedom_of(window, step, segments)
    tail = 0.5 * (1.0 - confidence)
    return Density(
        frequency=frequency,
        density=density,
        length=count / rate,
        segments=segments,
        freedom=freedom,
        lower=freedom / float(chi2.ppf(1.0 - tail, freedom)),
        upper=freedom / float(chi2.ppf(tail, freedom)),
        confidence=confidence,
    )


def freedom_of(window: np.ndarray, step: int, segments: int) -> float:
    """Degrees of freedom of the mean of windowed transforms every `step` samples (of white noise; see above)."""
    alike = 0.0
    for m in range(1, min(segments, math.ceil(len(window) / step))):
        correlation = float(window[m * step :] @ window[: len(window) - m * step]) / float(window @ window)
        alike += (1.0 - m / segments) * correlation**2
    return 2.0 * segments / (1.0 + 2.0 * alike)


def density_group(values: np.ndarray, rate: float, length: float | None = None) -> Group:
    """The density of sensor accelerations (n, sensors, 3), its settings and interval as attributes."""
    found = density_of(values, rate, length)
    group = Group(
        attributes={
            "window": "Hann, periodic; segments overlap by half, the mean of each taken out",
            "scaling": "one-sided power spectral density: integrates over frequency to the mean square",
            "segment_s": found.length,
            "segments": found.segments,
            "degrees_of_freedom": found.freedom,
            "confidence": found.confidence,
            "lower_factor": found.lower,
            "upper_factor": found.upper,
            "interval": "of a random, steady signal: density times lower_factor to density times upper_factor",
        }
    )
    group.add("frequency", ("frequency",), found.frequency, "Hz", "frequency")
    words = "power spectral density of acceleration, one-sided, Hann, by Welch's averaging"
    group.add("acceleration_density", ("frequency", "sensor", "axis"), found.density, "m2 s-3", words)
    return group
