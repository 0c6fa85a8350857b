"""Short-time spectra: how the acceleration at a sensor spreads over frequency from moment to moment."""

from __future__ import annotations

import numpy as np
from scipy.signal import ShortTimeFFT
from scipy.signal.windows import hann

from vibsim.results.labelled import Group

SEGMENT = 0.2  # s unless asked otherwise: lines 5 Hz apart
MOST_MOMENTS = 400
FEWEST_SEGMENTS = 4.0  # of a segment in the record unless asked otherwise


def short_time_group(values: np.ndarray, rate: float, length: float | None = None) -> Group:
    """Density over time and frequency of accelerations (n, sensors, 3) sampled at `rate` (Hz): the mean taken out, Hann
    segments of `length` s a quarter of it apart, or further in a long record, none reaching past its ends."""
    count = len(values)
    wanted = min(SEGMENT, count / rate / FEWEST_SEGMENTS) if length is None else length
    span = int(min(max(round(wanted * rate), 16), count))
    step = max(span // 4, -(-(count - span) // MOST_MOMENTS), 1)
    transform = ShortTimeFFT(hann(span, sym=False), step, rate, fft_mode="onesided2X", scale_to="psd")
    # segments wholly inside the record
    first = -(-(span // 2) // step)
    last = (count - (span - span // 2)) // step + 1
    density = transform.spectrogram(values - values.mean(axis=0), p0=first, p1=last, axis=0)  # frequency, ..., time
    density = np.moveaxis(density, -1, 0)
    group = Group(
        attributes={
            "window": "Hann, periodic, of segment_s, every step_s; the mean of the record taken out",
            "scaling": "one-sided power spectral density of every segment",
            "segment_s": span / rate,
            "step_s": step / rate,
        }
    )
    group.add("moment", ("moment",), step / rate * np.arange(first, last), "s", "middle of the segment")
    group.add("frequency", ("frequency",), transform.f, "Hz", "frequency")
    words = "power spectral density of acceleration in a segment, one-sided, Hann"
    group.add("acceleration_density", ("moment", "frequency", "sensor", "axis"), density, "m2 s-3", words)
    return group
