"""Third-octave bands of acceleration: base ten, edges as in IEC 61260-1 (in CHECKS: 10^±0.05 of the exact mid).

Levels come from the spectrum, not from filters: the mean square of the lines between the edges. In a steady run these
are the exact lines of the cycle, each in the band it lies in; of any other record those of the Hann-windowed
transform, of which the lines at an edge count by the share that lies inside. Bands narrower than `FEWEST_LINES` lines
are left out: from there on a sine is passed and rejected within class 1 of the standard.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vibsim.post.spectra import spectrum_of
from vibsim.post.time_lines import Lines, cycle_lines
from vibsim.results.labelled import Group

NOMINAL = (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0)  # ISO 266
LOWEST, TOP = -4, 34  # 0.4 Hz to 2500 Hz
FEWEST_LINES = 6.0
HALF_BAND = 10.0**0.05


def mid_frequency(number: int | np.ndarray) -> np.ndarray:
    """Exact mid frequency (Hz) of band numbers, 0 at 1 Hz."""
    return 10.0 ** (np.asarray(number) / 10.0)


def nominal_frequency(number: int) -> float:
    """The name (Hz) that a band goes by."""
    return float(f"{NOMINAL[number % 10] * 10.0 ** (number // 10):.4g}")


@dataclass(frozen=True)
class Bands:
    """`number` (b) of the bands, 0 at 1 Hz; `power` (b, ...) mean square of each; `method` in words."""

    number: np.ndarray
    power: np.ndarray
    method: str

    @property
    def middle(self) -> np.ndarray:
        return mid_frequency(self.number)

    @property
    def rms(self) -> np.ndarray:
        return np.sqrt(self.power)


def bands_of_lines(lines: Lines, weight: np.ndarray | None = None) -> Bands:
    """Bands of exact lines, each line whole in its band; with a weight (k) of every line, or (k, ...)."""
    power = lines.power() if weight is None else lines.power() * _like(weight, lines.line) ** 2
    numbers = np.arange(LOWEST, TOP + 1)
    at = np.searchsorted(np.append(mid_frequency(numbers) / HALF_BAND, mid_frequency(TOP) * HALF_BAND), lines.frequency)
    found = np.zeros((len(numbers), *power.shape[1:]))
    for band in range(len(numbers)):
        found[band] = power[at == band + 1].sum(axis=0)
    return Bands(numbers, found, "exact lines of one cycle, no window, each in the band it lies in")


def bands_of_record(values: np.ndarray, rate: float) -> Bands:
    """Bands of values (n, ...) sampled at `rate` (Hz)."""
    spectrum = spectrum_of(values, rate)
    return bands_of_density(spectrum.frequency, spectrum.density, rate)


def bands_of_density(frequency: np.ndarray, density: np.ndarray, rate: float) -> Bands:
    """Bands of a one-sided power spectral density (k, ...) at frequencies (k) from 0 in equal steps (Hz), of a record
    sampled at `rate` (Hz); they may end before half of it, past the last band."""
    apart = float(frequency[1])
    numbers = np.arange(LOWEST, TOP + 1)
    wide = mid_frequency(numbers) * (HALF_BAND - 1.0 / HALF_BAND) >= FEWEST_LINES * apart
    numbers = numbers[wide & (mid_frequency(numbers) * HALF_BAND <= 0.5 * rate)]
    words = f"Hann window over the whole record, lines {apart:.3g} Hz apart, those at a band's edge by the share inside"
    if not len(numbers):
        return Bands(numbers, density[:0], words)
    edges = np.concatenate([mid_frequency(numbers) / HALF_BAND, mid_frequency(numbers[-1:]) * HALF_BAND])
    return Bands(numbers, np.diff(_power_below(edges, frequency, density * apart), axis=0), words)


def _like(weight: np.ndarray, values: np.ndarray) -> np.ndarray:
    return weight.reshape(weight.shape + (1,) * (values.ndim - weight.ndim))


def _power_below(edges: np.ndarray, frequency: np.ndarray, power: np.ndarray) -> np.ndarray:
    """Power (edges, ...) below frequencies, every line spread evenly over the step of frequency about it."""
    place = edges / frequency[1] + 0.5  # in lines, from the lower end of the line at zero
    whole = np.clip(np.floor(place).astype(int), 0, len(frequency) - 1)
    share = np.clip(place - whole, 0.0, 1.0).reshape((-1,) + (1,) * (power.ndim - 1))
    before = np.concatenate([np.zeros_like(power[:1]), np.cumsum(power, axis=0)])
    return before[whole] + share * power[whole]


def third_octave_group(results: Group) -> Group | None:
    """Rms per band, sensor and axis, and of the bands together."""
    if "sensor_acceleration" not in results or len(results["time"]) < 16:
        return None
    lines = cycle_lines(results)
    bands = bands_of_lines(lines) if lines is not None else bands_of_record(*acceleration_record(results))
    if not len(bands.number):
        return None
    group = Group(attributes={"bands": "third octaves, base ten, edges by IEC 61260-1", "from": bands.method})
    group.add("band", ("band",), bands.middle, "Hz", "exact mid frequency of the third-octave band")
    names = np.array([f"{nominal_frequency(int(n)):g}" for n in bands.number], dtype=object)
    group.add("nominal", ("band",), names, "Hz", "nominal mid frequency, the band's name")
    group.add("lower_edge", ("band",), bands.middle / HALF_BAND, "Hz", "lower edge of the band")
    group.add("upper_edge", ("band",), bands.middle * HALF_BAND, "Hz", "upper edge of the band")
    words = "root mean square of acceleration in the band, unweighted"
    group.add("acceleration_rms", ("band", "sensor", "axis"), bands.rms, "m s-2", words)
    return group


def acceleration_record(results: Group) -> tuple[np.ndarray, float]:
    """Sensor accelerations over the whole record, and their sampling rate (Hz)."""
    time = results["time"]
    return results["sensor_acceleration"], (len(time) - 1) / float(time[-1] - time[0])
