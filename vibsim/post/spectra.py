"""Acceleration spectra at the sensors, per hertz."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from vibsim.results.labelled import Group


@dataclass(frozen=True)
class Spectrum:
    """`frequency` (n) Hz; `amplitude` (n, ...) peak amplitude of a sine at that line; `density` (n, ...) one-sided
    power spectral density. Hann window over the whole record, mean taken out; `noise_bandwidth` in Hz."""

    frequency: np.ndarray
    amplitude: np.ndarray
    density: np.ndarray
    noise_bandwidth: float


@lru_cache(maxsize=2)
def _hann(count: int) -> np.ndarray:
    return np.hanning(count + 1)[:-1]


def spectrum_of(values: np.ndarray, rate: float) -> Spectrum:
    """Amplitude spectrum and power spectral density of values (n, ...) sampled at `rate` (Hz).

    Scaling: amplitude by the window's mean, density by its mean square (Heinzel, Rüdiger & Schilling 2002, from
    memory). Over the frequencies the density integrates to the windowed signal's mean square.
    """
    count = len(values)
    window = _hann(count).reshape((-1,) + (1,) * (values.ndim - 1))
    transform = np.fft.rfft((values - values.mean(axis=0)) * window, axis=0)
    sides = np.full(len(transform), 2.0)
    sides[0] = 1.0
    if count % 2 == 0:
        sides[-1] = 1.0
    scale = sides.reshape((-1,) + (1,) * (values.ndim - 1))
    return Spectrum(
        frequency=np.fft.rfftfreq(count, 1.0 / rate),
        amplitude=scale * np.abs(transform) / window.sum(),
        density=scale * np.abs(transform) ** 2 / (rate * np.sum(window**2)),
        noise_bandwidth=float(rate * np.sum(window**2) / window.sum() ** 2),
    )


def density_up_to(values: np.ndarray, rate: float, highest: float) -> tuple[np.ndarray, np.ndarray]:
    """Frequencies (k) up to a highest one (Hz) and the density (k) there of values (n), as `spectrum_of` gives it."""
    window = _hann(len(values))
    count = min(math.ceil(highest * len(values) / rate), (len(values) - 1) // 2) + 1
    line = np.fft.rfft((values - values.mean()) * window)[:count]
    density = (line.real**2 + line.imag**2) * (2.0 / (rate * float(window @ window)))
    density[0] *= 0.5
    return np.arange(count) * (rate / len(values)), density


def spectra_group(results: Group) -> Group | None:
    """Spectra of every sensor and axis over the time record."""
    if "sensor_acceleration" not in results or len(results["time"]) < 16:
        return None
    time = results["time"]
    spectrum = spectrum_of(results["sensor_acceleration"], (len(time) - 1) / (time[-1] - time[0]))
    group = Group(
        attributes={
            "window": "Hann, periodic, whole record, mean taken out",
            "amplitude_scaling": "peak amplitude of a sine at the line: 2*|X|/sum(window)",
            "density_scaling": "one-sided: 2*|X|^2/(rate*sum(window^2))",
            "equivalent_noise_bandwidth_Hz": spectrum.noise_bandwidth,
        }
    )
    dims = ("frequency", "sensor", "axis")
    group.add("frequency", ("frequency",), spectrum.frequency, "Hz", "frequency")
    group.add("acceleration_amplitude", dims, spectrum.amplitude, "m s-2", "peak amplitude of acceleration per line")
    group.add("acceleration_density", dims, spectrum.density, "m2 s-3", "power spectral density of acceleration")
    return group
