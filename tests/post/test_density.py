"""Averaged density and short-time spectra: Parseval, published windows, how often the interval holds."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import get_window

from vibsim.post.density import density_group, density_of, freedom_of
from vibsim.post.short_time import short_time_group


@pytest.mark.parametrize("length", [1.0, 2.0, 7.0])
def test_density_integrates_to_the_mean_square(length):
    # CHECKS section 10: sine of amplitude 3 off the lines, 4.5 to 1e-6 with Hann; taking the mean of every segment
    # out, as here, costs 2e-5 more
    time = np.arange(65536) / 1024.0
    found = density_of(3.0 * np.sin(2.0 * np.pi * 50.25 * time), 1024.0, length)
    assert found.density.sum() * found.frequency[1] == pytest.approx(4.5, rel=3e-5)


def test_freedom_of_half_overlapping_hann_windows():
    # derived: correlation of Hann windows half a length apart is 1/6; ν = 2K/(1 + 2(1 − 1/K)/36)
    window = get_window("hann", 512)
    assert freedom_of(window, 256, 15) == pytest.approx(30.0 / (1.0 + 2.0 * (14.0 / 15.0) / 36.0), rel=1e-12)
    assert freedom_of(window, 512, 8) == 16.0
    assert freedom_of(window, 256, 1) == 2.0


@pytest.mark.parametrize("confidence", [0.8, 0.95])
def test_interval_holds_as_often_as_it_says(confidence):
    # seeded white noise of density 2/rate: 60 records of 113 lines, neighbours correlated by the window: ± 1.2 %
    generator, hits, count = np.random.default_rng(2), 0, 0
    for _ in range(60):
        found = density_of(generator.normal(size=4000), 500.0, 0.5, confidence)
        inner = found.density[3:-3]
        hits += int(np.sum((inner * found.lower <= 2.0 / 500.0) & (inner * found.upper >= 2.0 / 500.0)))
        count += len(inner)
    assert hits / count == pytest.approx(confidence, abs=0.012)


def test_settings_are_stated():
    values = np.random.default_rng(1).normal(size=(4001, 2, 3))
    group = density_group(values, 1000.0)
    assert group.attributes["segments"] == 15
    assert group.attributes["segment_s"] == pytest.approx(0.5)
    assert "Hann" in group.attributes["window"]
    assert "one-sided" in group.attributes["scaling"]
    assert group["acceleration_density"].shape == (len(group["frequency"]), 2, 3)
    assert group.attributes["lower_factor"] < 1.0 < group.attributes["upper_factor"]


def test_short_time_spectra_keep_the_power():
    # Parseval for each segment: a sine of amplitude 3 has 4.5 at every moment
    time = np.arange(6001) / 1000.0
    values = 3.0 * np.sin(2.0 * np.pi * 100.0 * time)[:, None, None] * np.array([[[1.0, 2.0, 0.0]]])
    group = short_time_group(values, 1000.0)
    power = group["acceleration_density"].sum(axis=1) * group["frequency"][1]
    np.testing.assert_allclose(power[:, 0], np.tile([4.5, 18.0, 0.0], (len(power), 1)), rtol=1e-3, atol=1e-12)


def test_short_time_spectra_follow_a_chirp():
    # from 50 to 250 Hz in 4 s: at every moment the strongest line is the nearest, 5 Hz apart
    time = np.arange(8001) / 2000.0
    values = np.sin(2.0 * np.pi * (50.0 * time + 25.0 * time**2))[:, None, None]
    group = short_time_group(np.repeat(values, 3, axis=2), 2000.0)
    peak = group["frequency"][group["acceleration_density"][:, :, 0, 0].argmax(axis=1)]
    np.testing.assert_allclose(peak, 50.0 + 50.0 * group["moment"], atol=5.0)
    half = 0.5 * group.attributes["segment_s"]
    assert group["moment"][0] >= half - 1e-9
    assert group["moment"][-1] <= time[-1] - half + 1e-3
