"""Compressor and turbocharger examples of the textbooks."""

from __future__ import annotations

import pytest

from vibsim.engine.charging.air import compressed_temperature


@pytest.mark.parametrize(("efficiency", "expected"), [(1.0, 365.704), (0.7, 393.863)])
def test_ideal_and_real_outlet_temperature(efficiency, expected):
    """300 K, ratio 2, γ = 1.4 (derived by hand from T₁·[1 + (Π^((γ−1)/γ) − 1)/η])."""
    assert compressed_temperature(300.0, 2.0, efficiency, 1.4) == pytest.approx(expected, abs=1e-3)


def test_a_third_of_a_bar_warms_the_charge_and_is_a_fifth_more_density():
    """Ratio 1.34 at 70 % from 293.15 K, γ = 1.4: +36.5 K uncooled, density ratio 1.1915 and not 1.34 (derived by
    hand)."""
    hot = compressed_temperature(293.15, 1.34, 0.70, 1.4)
    assert hot - 293.15 == pytest.approx(36.5, abs=0.05)
    assert 1.34 * 293.15 / hot == pytest.approx(1.1915, abs=1e-4)


def test_textbook_turbocharger():
    """Çengel & Boles, Thermodynamics, problem on a turbocharger: exhaust 450 to 400 °C at 0.02 kg/s, mechanical
    efficiency 95 %, air 0.018 kg/s from 70 °C, 95 to 135 kPa. Inputs seen in a secondary copy; answers, 126.1 °C and
    0.642, and the book's heat capacities (1.075 and 1.011 kJ/kg K, γ 1.397) from memory; all agree."""
    turbine = 0.02 * 1075.0 * (450.0 - 400.0)
    outlet = 343.15 + 0.95 * turbine / (0.018 * 1011.0)
    assert outlet - 273.15 == pytest.approx(126.1, abs=0.1)
    ideal = compressed_temperature(343.15, 135.0 / 95.0, 1.0, 1.397)
    assert (ideal - 343.15) / (outlet - 343.15) == pytest.approx(0.642, abs=2e-3)
