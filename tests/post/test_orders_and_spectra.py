"""Orders and spectra of known signals; spectra against SciPy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from vibsim.post.orders import orders_of
from vibsim.post.spectra import density_up_to, spectrum_of
from vibsim.post.torque import speed_fluctuation

CYCLE = np.linspace(0.0, 4.0 * np.pi, 720, endpoint=False)


@pytest.mark.parametrize(
    ("order", "amplitude", "phase"), [(0.5, 3.0, 0.4), (1.0, 2.0, -2.0), (7.5, 0.1, 3.0), (24.0, 1.0, 1.0)]
)
def test_order_recovers_amplitude_and_phase(order, amplitude, phase):
    # derived: the transform over whole cycles is exact to rounding
    values = 5.0 + amplitude * np.cos(order * CYCLE + phase) + 0.7 * np.cos(12.5 * CYCLE)
    found = orders_of(values, turns=2.0, cycle_turns=2.0)
    index = round(2 * order)
    assert found.order[index] == order
    assert found.amplitude[index] == pytest.approx(amplitude, abs=1e-12)
    assert found.phase[index] == pytest.approx(phase, abs=1e-11)
    assert found.amplitude[0] == pytest.approx(5.0, abs=1e-12)


def test_orders_of_several_cycles_fall_on_the_same_lines():
    angle = np.linspace(0.0, 5 * 4.0 * np.pi, 5 * 720, endpoint=False)
    values = np.stack([np.cos(1.5 * angle), 2.0 * np.sin(3.0 * angle)], axis=1)
    for windowed in (
        False,
        True,
    ):  # the Hann window keeps a line's height at its own order (derived: mean of the window)
        found = orders_of(values, turns=10.0, cycle_turns=2.0, windowed=windowed)
        assert found.amplitude[3] == pytest.approx([1.0, 0.0], abs=1e-12)
        assert found.amplitude[6] == pytest.approx([0.0, 2.0], abs=1e-12)


def test_the_line_at_half_the_sampling_rate_is_left_out():
    # there amplitude and phase cannot be told apart (derived: sampling theorem)
    angle = np.linspace(0.0, 4.0 * np.pi, 36, endpoint=False)
    found = orders_of(np.cos(9.0 * angle) + np.cos(8.5 * angle), turns=2.0, cycle_turns=2.0)
    assert found.order[-1] == 8.5
    assert found.amplitude[-1] == pytest.approx(1.0, abs=1e-12)


def test_two_stroke_has_no_half_orders():
    angle = np.linspace(0.0, 2.0 * np.pi, 360, endpoint=False)
    assert orders_of(np.cos(angle), turns=1.0, cycle_turns=1.0).order[1] == 1.0


def test_spectrum_equals_scipy_periodogram():
    # reference: scipy.signal.periodogram, an independent implementation of the same scaling
    generator = np.random.default_rng(3)
    values = generator.normal(size=(1001, 2))
    found = spectrum_of(values, 500.0)
    frequency, density = signal.periodogram(values, 500.0, window="hann", detrend="constant", axis=0)
    np.testing.assert_allclose(found.frequency, frequency, rtol=1e-14, atol=0)
    np.testing.assert_allclose(found.density, density, rtol=1e-10, atol=1e-18)
    _, power = signal.periodogram(values, 500.0, window="hann", detrend="constant", scaling="spectrum", axis=0)
    inner = slice(1, -1)
    np.testing.assert_allclose(found.amplitude[inner], np.sqrt(2.0 * power[inner]), rtol=1e-10, atol=1e-18)


def test_sine_reads_its_peak_amplitude():
    time = np.arange(1000) / 1000.0
    found = spectrum_of(3.0 * np.sin(2.0 * np.pi * 50.0 * time), 1000.0)
    assert found.amplitude[50] == pytest.approx(3.0, abs=1e-10)


def test_density_integrates_to_mean_square():
    # published: CHECKS section 10 (scipy.signal.welch), a sine of amplitude 3 off the lines has mean square 4.5
    time = np.arange(65536) / 1024.0
    found = spectrum_of(3.0 * np.sin(2.0 * np.pi * 50.25 * time), 1024.0)
    assert np.sum(found.density) * found.frequency[1] == pytest.approx(4.5, rel=1e-6)


def test_noise_bandwidth_of_the_window():
    # published: Hann 1.5 bins (CHECKS section 10, scipy)
    assert spectrum_of(np.zeros(1024), 1024.0).noise_bandwidth == pytest.approx(1.5, rel=1e-5)


def test_speed_fluctuation():
    assert speed_fluctuation(np.array([99.0, 100.0, 101.0])) == pytest.approx(0.02, rel=1e-12)


@pytest.mark.parametrize("count", [1000, 1001])
def test_density_up_to_a_frequency_is_that_of_the_spectrum(count):
    values = np.random.default_rng(4).normal(size=count)
    whole = spectrum_of(values, 500.0)
    frequency, density = density_up_to(values, 500.0, 100.0)
    assert frequency[-2] < 100.0 <= frequency[-1]
    np.testing.assert_allclose(frequency, whole.frequency[: len(frequency)], rtol=1e-14)
    np.testing.assert_allclose(density, whole.density[: len(frequency)], rtol=1e-10)
