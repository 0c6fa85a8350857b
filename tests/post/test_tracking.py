"""Order tracking of signals whose orders are known, along run-ups of known crank angle."""

from __future__ import annotations

import math

import numpy as np
import pytest

from vibsim.inputs.errors import InputError
from vibsim.post.gabor import gabor_orders
from vibsim.post.tracking import HANN_VARIANCE, resampling_error, track_orders, turning_part

RATE, DURATION = 5000.0, 4.0
TIME = np.arange(round(RATE * DURATION) + 1) / RATE
# from 1200 to 4800 rpm, with a ripple of the speed at half order as cylinders that differ make it
START, RISE = 1200.0 * math.pi / 30.0, 900.0 * math.pi / 30.0
ANGLE = START * TIME + 0.5 * RISE * TIME**2
ANGLE = ANGLE + 0.02 * np.sin(0.5 * ANGLE)


def chirp(order, amplitude, phase):
    return amplitude * np.cos(order * ANGLE + phase)


@pytest.mark.parametrize(
    ("order", "amplitude", "phase"), [(0.5, 3.0, 0.4), (1.0, 2.0, -2.0), (1.5, 0.2, 3.0), (6.0, 1.0, 1.0)]
)
def test_chirp_at_a_known_order_is_recovered(order, amplitude, phase):
    """Derived: over the angle a chirp of one order is a tone, in whose windows the transform is exact; what is left is
    what the spline misses between samples, which is stated."""
    values = chirp(order, amplitude, phase) + 5.0 + chirp(2.0, 0.7, 0.3)
    found = track_orders(values, ANGLE, TIME, cycle_turns=2.0)
    index = round(2 * order)
    assert found.orders[index] == order
    expected = amplitude * np.exp(1j * phase)
    missed = np.abs(found.amplitude[:, index] - expected)
    assert missed.max() < max(5.0 * math.sqrt(2.0) * found.resampling, 1e-9)
    assert found.resampling < 1e-3
    np.testing.assert_allclose(found.amplitude[:, 0].real, 5.0, atol=1e-6)


def test_orders_that_are_not_there_are_not_found():
    found = track_orders(chirp(1.0, 2.0, 0.5), ANGLE, TIME, cycle_turns=2.0)
    rest = np.delete(np.abs(found.amplitude), 2, axis=1)
    assert rest.max() < 1e-6


def test_tone_of_constant_frequency_is_no_order():
    """Law: what keeps its frequency in a run-up is found only where an order passes it, and lower than it is."""
    values = np.cos(2.0 * math.pi * 45.0 * TIME)
    found = track_orders(values, ANGLE, TIME, cycle_turns=2.0, window_turns=16.0)
    first = np.abs(found.amplitude[:, 2])
    passing = found.speed[first.argmax()] / (2.0 * math.pi)
    assert passing == pytest.approx(45.0, rel=0.03)
    assert first.max() < 1.0
    assert first[np.abs(found.speed / (2.0 * math.pi) - 45.0) > 15.0].max() < 0.02


def test_speed_and_time_are_those_of_the_record():
    found = track_orders(chirp(1.0, 1.0, 0.0), ANGLE, TIME, cycle_turns=2.0)
    # derived: in a window of length L the mean speed differs by about rise²·L²/(speed³·12); ripple is averaged
    np.testing.assert_allclose(found.speed, START + RISE * found.time, rtol=2e-3)
    assert np.all(np.diff(found.speed) > 0.0)


def test_amplitude_that_bends_is_read_with_the_error_that_the_window_makes():
    """Derived: A + ½·A''·(1/12 − 1/2π²)·L², L the window; a slope alone does no harm to its own order."""
    bend, slope = 2e-6, 1e-3
    amplitude = 1.0 + slope * ANGLE + 0.5 * bend * ANGLE**2
    found = track_orders(amplitude * np.cos(2.0 * ANGLE + 0.7), ANGLE, TIME, cycle_turns=2.0, window_turns=8.0)
    true = 1.0 + slope * found.angle + 0.5 * bend * found.angle**2
    length = 2.0 * math.pi * 8.0
    bias = 0.5 * bend * HANN_VARIANCE * length**2
    np.testing.assert_allclose(np.abs(found.amplitude[:, 4]), true + bias, atol=1e-6)
    inner = slice(2, -2)
    assert found.error[inner, 4] == pytest.approx(bias + math.sqrt(2.0) * found.resampling, rel=0.02)


def test_error_bounds_what_a_resonance_passed_puts_into_its_orders():
    """An order that runs through a resonance: no window recovers it wholly, but what it misses is what it says."""
    speed = START + RISE * TIME
    ratio = speed / (2400.0 * math.pi / 30.0)
    response = ratio**2 / (1.0 - ratio**2 + 0.3j * ratio)
    values = np.real(response * np.exp(1j * ANGLE)) + chirp(0.5, 0.4, 0.1)
    found = track_orders(values, ANGLE, TIME, cycle_turns=2.0, window_turns=4.0)
    true = np.interp(found.time, TIME, response.real) + 1j * np.interp(found.time, TIME, response.imag)
    missed = np.abs(found.amplitude[:, 2] - true)
    assert missed.max() > 1e-4
    assert np.all(missed < 2.0 * found.error[:, 2] + 1e-4)
    assert np.all(np.abs(found.amplitude[:, 1] - 0.4 * np.exp(0.1j)) < 2.0 * found.error[:, 1] + 1e-4)


def test_overall_is_the_mean_square_of_all_orders():
    """Parseval: two orders of amplitude a and b have the rms √((a² + b²)/2), whatever constant stands under them."""
    found = track_orders(chirp(1.0, 2.0, 0.5) + chirp(2.5, 1.0, 0.2) + 7.0, ANGLE, TIME, cycle_turns=2.0)
    np.testing.assert_allclose(found.overall, math.sqrt(2.5), rtol=1e-6)


def test_resampling_error_is_that_between_the_samples():
    angle = np.linspace(0.0, 60.0, 301)
    for order in (1.0, 3.0):
        stated = resampling_error(angle, np.cos(order * angle))
        from scipy.interpolate import make_interp_spline

        middle = 0.5 * (angle[10:-11] + angle[11:-10])
        true = make_interp_spline(angle, np.cos(order * angle), 5)(middle) - np.cos(order * middle)
        rms = math.sqrt(np.mean(true**2))
        assert 0.4 * rms < stated < 4.0 * rms


def test_several_channels_are_tracked_at_once():
    values = np.stack([chirp(1.0, 1.0, 0.0), chirp(2.0, 3.0, 1.0)], axis=1)
    found = track_orders(values, ANGLE, TIME, cycle_turns=1.0)
    np.testing.assert_allclose(np.abs(found.amplitude[:, 1:3]), [[[1.0, 0.0], [0.0, 3.0]]] * len(found.time), atol=1e-5)


def test_crank_at_rest_or_turning_back_is_left_out():
    angle = np.concatenate([np.zeros(5), np.linspace(0.0, 50.0, 40), np.linspace(49.9, 49.0, 6)])
    part = turning_part(angle)
    assert (part.start, part.stop) == (5, 45)
    assert np.all(np.diff(angle[part]) > 0.0)
    assert turning_part(np.zeros(9)) == slice(0, 0)


def test_bad_windows_say_what_is_allowed():
    with pytest.raises(InputError, match="--window-turns: got 3; must be a multiple of 2"):
        track_orders(ANGLE, ANGLE, TIME, 2.0, window_turns=3.0)
    with pytest.raises(InputError, match="4 at least"):
        track_orders(ANGLE, ANGLE, TIME, 2.0, window_turns=2.0)
    with pytest.raises(InputError, match="window of 8 crank turns; the record has"):
        track_orders(ANGLE[:200], ANGLE[:200], TIME[:200], 2.0)


def test_gabor_transform_finds_the_same_orders():
    """Derived: cut at half a spacing, π·turns/8 standard deviations of the Gaussian of 16 turns, what is lost of an
    order and taken of its neighbours is at most the erfc stated; the transform of windows is the independent way."""
    values = np.stack([chirp(1.0, 2.0, 0.5) + chirp(1.5, 1.0, -1.0), chirp(3.0, 0.5, 2.0) + 4.0], axis=1)
    windows = track_orders(values, ANGLE, TIME, 2.0, highest=6.0)
    found = gabor_orders(values, ANGLE, windows, [0, 2, 3, 6])
    assert found.orders.tolist() == [0.0, 1.0, 1.5, 3.0]
    assert 0 < len(found.time) < len(windows.time)
    expected = np.array([[0.0, 4.0], [2.0 * np.exp(0.5j), 0.0], [np.exp(-1j), 0.0], [0.0, 0.5 * np.exp(2j)]])
    missed = np.abs(found.amplitude - expected)
    assert np.all(missed <= found.error + 1e-6)
    assert missed.max() < 3e-3


def test_gabor_transform_needs_a_long_enough_record():
    part = slice(0, 2500)
    windows = track_orders(TIME[part], ANGLE[part], TIME[part], 2.0)
    with pytest.raises(InputError, match="--method: got gabor; needs 16 crank turns at least"):
        gabor_orders(TIME[part], ANGLE[part], windows, [1])
