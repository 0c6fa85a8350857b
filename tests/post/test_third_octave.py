"""Third-octave bands: names and edges of the standards, what they pass and reject, Parseval."""

from __future__ import annotations

import math

import numpy as np
import pytest

from vibsim.post.third_octave import (
    FEWEST_LINES,
    HALF_BAND,
    LOWEST,
    TOP,
    bands_of_record,
    mid_frequency,
    nominal_frequency,
)

RATE = 2000.0
# class 1 of IEC 61260 for octaves (P+, a public file; edition of 1995, stricter in the pass band than that of 2014):
# exponent of 10^0.3, least and greatest attenuation in dB
CLASS_1 = (
    (0.0, -0.3, 0.3),
    (1 / 8, -0.3, 0.4),
    (1 / 4, -0.3, 0.6),
    (3 / 8, -0.3, 1.3),
    (1.0, 17.5, math.inf),
    (2.0, 42.0, math.inf),
    (3.0, 61.0, math.inf),
    (4.0, 70.0, math.inf),
)


def test_mid_frequencies_and_names():
    # CHECKS section 10 (IEC 61260 / ISO 266)
    exact = [1, 1.2589, 1.5849, 1.9953, 2.5119, 3.1623, 3.9811, 5.0119, 6.3096, 7.9433, 10]
    np.testing.assert_allclose(mid_frequency(np.arange(11)), exact, atol=5e-5)
    names = [nominal_frequency(n) for n in range(11)]
    assert names == [1, 1.25, 1.6, 2, 2.5, 3.15, 4, 5, 6.3, 8, 10]
    assert [nominal_frequency(n) for n in (LOWEST, -1, 15, 21, TOP)] == [0.4, 0.8, 31.5, 125.0, 2500.0]


def test_edges():
    # CHECKS section 10: 0.8912509 and 1.1220185 of the mid
    assert pytest.approx(1.1220185, abs=1e-7) == HALF_BAND
    assert pytest.approx(0.8912509, abs=1e-7) == 1.0 / HALF_BAND
    # a band ends where the next begins
    assert mid_frequency(7) * HALF_BAND == pytest.approx(mid_frequency(8) / HALF_BAND, rel=1e-14)


def level_of(frequency: float, band: int, seconds: float) -> float:
    """Attenuation (dB) of a sine by a band, from a record of some seconds."""
    time = np.arange(round(seconds * RATE)) / RATE
    found = bands_of_record(math.sqrt(2.0) * np.sin(2.0 * np.pi * frequency * time + 0.3), RATE)
    return -10.0 * math.log10(max(float(found.power[list(found.number).index(band)]), 1e-30))


@pytest.mark.parametrize(("exponent", "least", "greatest"), CLASS_1)
@pytest.mark.parametrize("upwards", [True, False])
@pytest.mark.parametrize("extra", [0.0, 0.25, 0.5])
def test_narrowest_band_is_of_class_1(exponent, least, greatest, upwards, extra):
    # third-octave breakpoints from those of octaves: 1 + (G^(1/6) - 1)/(G^(1/2) - 1)·(G^x - 1), and one over it
    grid = 10.0**0.3
    ratio = 1.0 + (grid ** (1 / 6) - 1.0) / (grid**0.5 - 1.0) * (grid**exponent - 1.0)
    band = 20  # 100 Hz
    width = mid_frequency(band) * (HALF_BAND - 1.0 / HALF_BAND)
    seconds = (FEWEST_LINES + extra) / width
    sine = mid_frequency(band) * (ratio if upwards else 1.0 / ratio)
    seconds = round(seconds * RATE + 0.5) / RATE
    assert least <= level_of(float(sine), band, seconds) <= greatest


def test_white_noise_rises_by_a_decibel_a_band():
    # derived: power of a band is density times its width; scatter of a band of n lines about 1.4/√n
    values = np.random.default_rng(11).normal(size=(200_000, 2))
    found = bands_of_record(values, RATE)
    width = found.middle * (HALF_BAND - 1.0 / HALF_BAND)
    lines = width * len(values) / RATE
    expected = width * 2.0 / RATE
    assert (np.abs(found.power / expected[:, None] - 1.0) < 5.0 * 1.4 / np.sqrt(lines)[:, None]).all()


def test_tones_fall_into_their_bands():
    time = np.arange(20_000) / RATE
    found = bands_of_record(3.0 * np.sin(2.0 * np.pi * 50.25 * time) + np.sin(2.0 * np.pi * 315.0 * time), RATE)
    level = dict(zip((nominal_frequency(int(n)) for n in found.number), found.power, strict=True))
    assert level[50.0] == pytest.approx(4.5, rel=1e-4)
    assert level[315.0] == pytest.approx(0.5, rel=1e-4)
    assert level[125.0] < 1e-9


def test_bands_sum_to_the_mean_square():
    # Parseval: what lies between the outermost edges, here all of it
    time = np.arange(40_000) / RATE
    values = sum(np.sin(2.0 * np.pi * f * time) for f in (7.3, 44.7, 44.1, 100.0, 561.2))
    found = bands_of_record(values, RATE)
    assert found.power.sum() == pytest.approx(float((values**2).mean()), rel=1e-4)


def test_narrow_bands_are_left_out():
    # a second has lines 1 Hz apart: 6 of them are in the 31.5 Hz band, not in that of 25 Hz; none past 1000 Hz
    found = bands_of_record(np.ones(2000), RATE)
    assert nominal_frequency(int(found.number[0])) == 31.5
    assert found.middle[-1] * HALF_BAND <= 0.5 * RATE
    assert len(bands_of_record(np.ones(20), RATE).number) == 0
