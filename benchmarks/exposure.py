"""How long the exposure of people takes: a minute at eight sensors, filtered in time, with bands."""

from __future__ import annotations

import time

import numpy as np

from benchmarks.figure import Figure
from vibsim.post.exposure import felt_of_record

SECONDS, RATE, SENSORS = 60.0, 10_000.0, 8
CONTACTS = ("seat", "grip", "footrest", "backrest")


def exposure_figures(repeats: int) -> list[Figure]:
    """Seeded noise; the points of a record are those a run writes, both ends in."""
    values = np.random.default_rng(1).normal(size=(SENSORS, round(SECONDS * RATE) + 1, 3))
    _exposure_seconds(values[:, : round(RATE)])  # loads the libraries
    found = sorted(_exposure_seconds(values) for _ in range(repeats))
    words = f"exposure of {SECONDS:g} s at {SENSORS} sensors, {1e-3 * RATE:g} kHz"
    return [Figure("exposure_minute_s", words, "s", found[0], found[-1], 1.0)]


def _exposure_seconds(values: np.ndarray) -> float:
    begin = time.perf_counter()
    for number, sensor in enumerate(values):
        felt_of_record(str(number), CONTACTS[number % len(CONTACTS)], sensor, RATE)
    return time.perf_counter() - begin
