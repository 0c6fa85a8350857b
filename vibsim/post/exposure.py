"""What people feel at sensors declared as a grip, seat, backrest or footrest: weighted accelerations of one run.

In a steady run the weighted levels come from the exact lines of one cycle times the transfer function of the weighting:
no leakage, no settling of filters, however short the record. Of any other run the record is filtered in time from rest.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from vibsim.post.exposure_rules import CAUTION, CREST_LIMIT, DOSE_LIMIT, HOUR, HOURS, MTVV_LIMIT, RULES, Rule
from vibsim.post.spectra import density_up_to
from vibsim.post.third_octave import Bands, acceleration_record, bands_of_density, bands_of_lines
from vibsim.post.time_lines import HIGHEST, Lines, cycle_lines
from vibsim.post.weighting import transfer_at, weight_at
from vibsim.results.labelled import Group

RUNNING = 1.0  # s, of the running rms whose greatest value is the MTVV (ISO 2631-1, 6.3.1)
BY_LINES = "exact lines of one cycle times the transfer function of the weighting"
BY_FILTER = "digital filter over the whole record, from rest"
BY_SPECTRUM = "transfer function of the weighting on the spectrum of the record: sampled too slowly for a filter"


@dataclass(frozen=True)
class Felt:
    """A sensor that someone touches, by axis X, Y, Z (3): `raw` rms, and weighted `rms`, `peak`, `mtvv` in m/s², dose
    `vdv` in m/s^1.75 over `seconds`; no multiplying factors in any. Third-octave bands (b, 3) raw and weighted."""

    name: str
    contact: str
    seconds: float
    raw: np.ndarray
    rms: np.ndarray
    peak: np.ndarray
    mtvv: np.ndarray
    vdv: np.ndarray
    bands: Bands
    weighted_bands: Bands
    method: str

    @property
    def rule(self) -> Rule:
        return RULES[self.contact]

    @property
    def for_health(self) -> np.ndarray | None:
        """What counts towards A(8), m/s²: the vector sum (1) of a grip, every axis with its factor (3) otherwise; None
        where health is not judged."""
        if self.rule.health is None:
            return None
        felt = np.array(self.rule.health) * self.rms
        return np.array([np.linalg.norm(felt)]) if self.rule.vector_sum else felt

    @property
    def total(self) -> float | None:
        """Vibration total value for comfort, m/s²; None where comfort is not judged."""
        return None if self.rule.comfort is None else float(np.linalg.norm(np.array(self.rule.comfort) * self.rms))

    @property
    def crest(self) -> np.ndarray:
        """Weighted peak over weighted rms (3); 0 where nothing moves."""
        return np.divide(self.peak, self.rms, out=np.zeros(3), where=self.rms > 0.0)

    @property
    def dose_in_an_hour(self) -> np.ndarray:
        """Vibration dose of an hour of it (3), m/s^1.75."""
        return self.vdv * (HOUR / self.seconds) ** 0.25

    @property
    def shocks(self) -> bool:
        """Whether shocks make the rms alone say too little of a whole body: crest factor, MTVV or dose past the bounds
        of ISO 2631-1, 6.3."""
        if self.contact == "grip" or not self.rms.any():
            return False
        most = self.rms >= 0.1 * self.rms.max()  # axes that matter
        dose = self.vdv[most] / (self.rms[most] * self.seconds**0.25)
        past = (self.crest[most] > CREST_LIMIT) | (self.mtvv[most] > MTVV_LIMIT * self.rms[most]) | (dose > DOSE_LIMIT)
        return bool(past.any())


def contacts_of(results: Group) -> dict[str, str]:
    """Contact by sensor, of those that have one."""
    if "sensor_contact" not in results:
        return {}
    words = (str(word) for word in results["sensor_contact"])
    return {name: word for name, word in zip(results.labels("sensor"), words, strict=True) if word}


def felt_in(results: Group) -> list[Felt]:
    """What is felt at every sensor with a contact; none where no sensor has one."""
    contacts = contacts_of(results)
    if not contacts:
        return []
    sensors = results.labels("sensor")
    lines = cycle_lines(results)
    if lines is not None:
        return [_felt_of_lines(name, word, _only(lines, sensors.index(name))) for name, word in contacts.items()]
    values, rate = acceleration_record(results)
    return [felt_of_record(name, word, values[:, sensors.index(name)], rate) for name, word in contacts.items()]


def _only(lines: Lines, sensor: int) -> Lines:
    return Lines(lines.frequency, lines.line[:, sensor], lines.period, lines.mean_square[sensor], lines.steps)


def _felt_of_lines(name: str, contact: str, lines: Lines) -> Felt:
    curves, weights = [], []
    for axis, weighting in enumerate(RULES[contact].weightings):
        transfer = transfer_at(weighting, lines.frequency)
        one = Lines(lines.frequency, lines.line[:, axis], lines.period, lines.mean_square[axis], lines.steps)
        curves.append(one.curve(transfer))
        weights.append(np.abs(transfer))
    weight = np.stack(weights, axis=1)
    curve = np.stack(curves, axis=1)
    square = curve**2
    return Felt(
        name=name,
        contact=contact,
        seconds=lines.period,
        raw=np.sqrt(lines.mean_square),
        rms=np.sqrt(square.mean(axis=0)),
        peak=np.abs(curve).max(axis=0),
        mtvv=np.array([_greatest_of_period(square[:, axis], lines.period) for axis in range(3)]),
        vdv=((square**2).mean(axis=0) * lines.period) ** 0.25,
        bands=bands_of_lines(lines),
        weighted_bands=bands_of_lines(lines, weight),
        method=BY_LINES,
    )


def _greatest_of_period(square: np.ndarray, period: float) -> float:
    """Greatest rms over any second of what repeats; square (n) over one period (s)."""
    whole = math.floor(RUNNING / period)
    rest = (RUNNING - whole * period) / period * len(square)  # in steps
    total = np.concatenate([[0.0], np.cumsum(np.tile(square, 2))])
    ends = np.arange(len(square)) + rest
    part = np.interp(ends, np.arange(len(total)), total) - total[: len(square)]
    return math.sqrt((whole * square.sum() + float(part.max())) / (whole * len(square) + rest))


def felt_of_record(name: str, contact: str, values: np.ndarray, rate: float) -> Felt:
    """What is felt of accelerations (n, 3) sampled at `rate` (Hz), vehicle axes; n at least 16."""
    from scipy.fft import prev_fast_len  # loads half a second of library, which steady runs do without

    from vibsim.post import weighting_filter as filters

    weightings = RULES[contact].weightings
    method = BY_FILTER if all(rate >= filters.least_rate(one) for one in weightings) else BY_SPECTRUM
    weigh = filters.weighted_in_time if method == BY_FILTER else filters.weighted_by_spectrum
    transformed = prev_fast_len(len(values), real=True)  # a prime count takes twenty times as long
    levels, raw, weighted_bands = [], [], []
    for axis, weighting in enumerate(weightings):
        column = np.ascontiguousarray(values[:, axis])
        levels.append(_levels(weigh(column, rate, weighting), rate))
        frequency, density = density_up_to(column[:transformed], rate, HIGHEST)
        raw.append(bands_of_density(frequency, density, rate))
        weight = _weight_at_lines(weighting, len(frequency), float(frequency[1]))
        weighted_bands.append(bands_of_density(frequency, density * weight**2, rate))
    mean_square, peak, mtvv, dose = np.array(levels).T
    return Felt(
        name=name,
        contact=contact,
        seconds=len(values) / rate,
        raw=np.sqrt(np.einsum("na,na->a", values, values) / len(values)),
        rms=np.sqrt(mean_square),
        peak=peak,
        mtvv=mtvv,
        vdv=dose**0.25,
        bands=_side_by_side(raw),
        weighted_bands=_side_by_side(weighted_bands),
        method=method,
    )


def _levels(weighted: np.ndarray, rate: float) -> tuple[float, float, float, float]:
    """Mean square, greatest size, greatest rms over a second, integral of the fourth power; overwrites."""
    peak = max(float(weighted.max()), -float(weighted.min()))
    square = np.multiply(weighted, weighted, out=weighted)
    return float(square.mean()), peak, _greatest_of_record(square, rate), float(square @ square) / rate


@lru_cache(maxsize=8)
def _weight_at_lines(weighting: str, count: int, apart: float) -> np.ndarray:
    return weight_at(weighting, apart * np.arange(count))


def _side_by_side(axes: list[Bands]) -> Bands:
    return Bands(axes[0].number, np.stack([one.power for one in axes], axis=1), axes[0].method)


def _greatest_of_record(square: np.ndarray, rate: float) -> float:
    """Greatest rms over any second of a record; over all of a shorter one."""
    span = round(RUNNING * rate)
    if span >= len(square):
        return math.sqrt(float(square.mean()))
    total = np.cumsum(square)
    most = max(float((total[span:] - total[:-span]).max()), float(total[span - 1]))
    return math.sqrt(most / span)


def exposure_group(results: Group) -> Group | None:
    """Weighted levels of every sensor with a contact; None where none has one."""
    if not contacts_of(results) or len(results["time"]) < 16:
        return None
    felt = felt_in(results)
    group = Group(
        attributes={
            "weighted_by": "; ".join(dict.fromkeys(item.method for item in felt)),
            "standards": "; ".join(dict.fromkeys(item.rule.standard for item in felt)),
            "dose_over_s": felt[0].seconds,
            "running_rms_s": RUNNING,
            "caution": CAUTION,
        }
    )
    names = np.array([item.name for item in felt], dtype=object)
    group.add("felt_at", ("felt_at",), names, "1", "sensor that someone touches")
    group.add("contact", ("felt_at",), np.array([item.contact for item in felt], dtype=object), "1", "how")
    rows = ("felt_at", "axis")
    used = np.array([item.rule.weightings for item in felt], dtype=object)
    group.add("weighting", rows, used, "1", "frequency weighting by axis")
    none = (0.0, 0.0, 0.0)
    group.add("health_factor", rows, [item.rule.health or none for item in felt], "1", "factor; 0 where not judged")
    group.add("comfort_factor", rows, [item.rule.comfort or none for item in felt], "1", "factor; 0 where not judged")
    for name, units, words in (
        ("raw", "m s-2", "unweighted root mean square"),
        ("rms", "m s-2", "weighted root mean square, without factors"),
        ("peak", "m s-2", "greatest weighted size"),
        ("mtvv", "m s-2", "greatest weighted rms over a second"),
        ("vdv", "m s-1.75", "weighted vibration dose value over dose_over_s"),
        ("crest", "1", "weighted peak over weighted rms"),
    ):
        group.add(name, rows, [getattr(item, name) for item in felt], units, words)
    health = [0.0 if item.for_health is None else float(item.for_health.max()) for item in felt]
    group.add("a8", ("felt_at",), health, "m s-2", f"A(8) after {HOURS:g} h of this run; 0 where health is not judged")
    comfort = [item.total or 0.0 for item in felt]
    group.add("comfort_total", ("felt_at",), comfort, "m s-2", "vibration total value; 0 where comfort is not judged")
    return group
