"""Smoothing against the filters it is said to be, run over a cycle repeated until its ends do not matter."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.signal import butter, savgol_coeffs, sosfiltfilt

from tests.traces import CYCLE, DEGREES, as_measured, computed, engine_of
from vibsim.engine.trace_smoothing import low_pass, savitzky_golay, smooth
from vibsim.inputs.errors import InputError
from vibsim.inputs.trace import Trace


@pytest.fixture(scope="module")
def noisy() -> Trace:
    return as_measured(computed(3000.0, 1.0), noise=5e3)


@pytest.mark.parametrize("cut_off", [20.0, 60.0])
def test_low_pass_is_the_butterworth_filter_both_ways(cut_off, noisy):
    # scipy's digital filter bends frequencies near its Nyquist order of 360: by tan(x)/x − 1 = 9 % at order 180 in
    # degrees of a half-degree step, less than 0.1 % up to order 20; both ends of seven repeats are left out
    sections = butter(2, cut_off / 360.0, output="sos")
    repeated = sosfiltfilt(sections, np.tile(noisy.pressures, 7))
    reference = repeated.reshape(7, -1)[3]
    found = low_pass(noisy, cut_off, CYCLE, "trace")
    signal, noise = np.ptp(noisy.pressures), 5e3
    assert np.sqrt(np.mean((found - reference) ** 2)) < 1e-5 * signal + 0.05 * noise


def test_low_pass_leaves_half_at_the_cut_off_and_shifts_nothing():
    angles = np.radians(DEGREES)
    for order, share in ((10.0, 1.0 / (1.0 + 0.25**4)), (40.0, 0.5), (80.0, 1.0 / 17.0)):
        wave = np.cos(order * angles + 0.7)
        np.testing.assert_allclose(low_pass(Trace(angles, wave), 40.0, CYCLE, ""), share * wave, atol=1e-9)


def test_savitzky_golay_wraps_round_the_cycle(noisy):
    found = savitzky_golay(noisy, math.radians(5.0), "trace")
    coefficients = savgol_coeffs(11, 3)
    repeated = np.convolve(np.tile(noisy.pressures, 3), coefficients, mode="same").reshape(3, -1)[1]
    np.testing.assert_allclose(found, repeated, rtol=1e-9)


def test_a_cubic_passes_savitzky_golay():
    angles = np.radians(np.arange(-360.0, 360.0, 1.0))
    cubic = 1.0 + angles - 0.3 * angles**2 + 0.1 * angles**3
    found = savitzky_golay(Trace(angles, cubic), math.radians(9.0), "trace")
    np.testing.assert_allclose(found[5:-5], cubic[5:-5], rtol=1e-9)


def test_uneven_samples_are_smoothed_at_equal_steps():
    degrees = np.concatenate([np.arange(-360.0, -60.0, 2.0), np.arange(-60.0, 90.0, 0.5), np.arange(90.0, 360.0, 2.0)])
    angles = np.radians(degrees)
    gas = engine_of({"source": "trace", "file": "p", "smoothing": "low_pass", "smoothing_cut_off_order": 50})[0].gas
    found = smooth(Trace(angles, 2.0 + np.cos(angles)), gas, CYCLE, "trace")
    np.testing.assert_allclose(np.diff(found.angles), math.radians(0.5), rtol=1e-6)
    # orders far below the cut-off pass, 1 − 1/50⁴; cubic between points two degrees apart: (h/2)⁴·3/8/4! below 1e-8
    np.testing.assert_allclose(found.pressures, 2.0 + np.cos(found.angles), atol=1e-6)


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ({"smoothing": "savitzky_golay", "smoothing_window_deg": 1.0}, "got 1; .* every 0.5 deg, must be at least 2"),
        ({"smoothing": "low_pass", "smoothing_cut_off_order": 400.0}, "got 400; .* holds orders below 360 only"),
    ],
)
def test_samples_too_far_apart(keys, words, noisy):
    gas = engine_of({"source": "trace", "file": "p"} | keys)[0].gas
    with pytest.raises(InputError, match=words):
        smooth(noisy, gas, CYCLE, "the trace")
