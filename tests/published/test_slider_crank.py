"""Slider-crank harmonics, extremes and inertia torque against published series and exact values."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from tests import cases
from vibsim.engine.kinematics import slider_crank
from vibsim.solver.observe import observe
from vibsim.solver.start import state_at

LAMBDAS = [0.2, 0.25, 0.3, 1.0 / 3.0, 0.35]
POINTS = 256  # harmonics fall by 20 or more from one even order to the next: aliases are far below rounding
EXACT = 1e-6  # absolute, the tolerance stated with the values: their last figure
MASS, RADIUS, SPEED = 0.28, 0.03, 300.0  # kg, m, rad/s
HEAVY = 1e9  # kg, kg m²: a block that does not move, a crank whose speed does not change


def acceleration(psi: float, ratio: float) -> float:
    """Towards the crank, over r·ω²."""
    return -slider_crank(math.cos(psi), math.sin(psi), 1.0, 1.0 / ratio, 0.0)[2]


def harmonic(ratio: float, order: int) -> float:
    """Cosine coefficient of the exact acceleration by FFT."""
    angles = 2.0 * math.pi * np.arange(POINTS) / POINTS
    return float(2.0 * np.fft.rfft([acceleration(psi, ratio) for psi in angles])[order].real / POINTS)


@pytest.mark.parametrize(
    ("order", "expected"),
    [
        (2, [0.2020384, 0.2540250, 0.3070507, 0.3431086, 0.3613821]),
        (4, [-0.0020618, -0.0040981, -0.0072377, -0.0100991, -0.0118004]),
        (6, [2.367e-5, 7.438e-5, 1.9194e-4, 3.3443e-4, 4.3352e-4]),
    ],
    ids=["A2", "A4", "A6"],
)
@pytest.mark.parametrize("case", range(5), ids=[f"{ratio:.3f}" for ratio in LAMBDAS])
def test_acceleration_harmonics(order: int, expected: list[float], case: int) -> None:
    """Source: derived (FFT of the exact kinematics by another script)."""
    assert harmonic(LAMBDAS[case], order) == pytest.approx(expected[case], abs=EXACT)


@pytest.mark.parametrize(
    ("order", "series", "left_out"),
    [
        (2, lambda x: x + x**3 / 4 + 15 * x**5 / 128, lambda x: 35 * x**7 / 512),
        (4, lambda x: -(x**3 / 4 + 3 * x**5 / 16), lambda x: 35 * x**7 / 256),
        (6, lambda x: 9 * x**5 / 128, lambda x: 45 * x**7 / 512),
    ],
    ids=["A2", "A4", "A6"],
)
@pytest.mark.parametrize("ratio", LAMBDAS)
def test_acceleration_series(order: int, series, left_out, ratio: float) -> None:
    """Source: handbook series in λ (P-, from memory); the first term left out (derived) bounds the difference."""
    # the terms left out form a series in λ² with growing coefficients: at λ = 0.35 they sum to 1.5 times the first
    assert abs(harmonic(ratio, order) - series(ratio)) < 1.5 * left_out(ratio)


@pytest.mark.parametrize("ratio", LAMBDAS)
def test_acceleration_at_dead_centres(ratio: float) -> None:
    """r·ω²·(1 + λ) at top, −r·ω²·(1 − λ) at bottom dead centre. Source: derived, exact; rounding only."""
    assert acceleration(0.0, ratio) == pytest.approx(1.0 + ratio, rel=1e-14)
    assert acceleration(math.pi, ratio) == pytest.approx(-(1.0 - ratio), rel=1e-14)


@pytest.mark.parametrize(
    ("ratio", "speed", "degrees"),
    [(0.25, 1.030883, 76.7210), (0.3, 1.044332, 74.5289), (1.0 / 3.0, 1.054640, 73.1753)],
)
def test_greatest_speed(ratio: float, speed: float, degrees: float) -> None:
    """Greatest piston speed over r·ω and where it occurs. Source: derived, exact."""
    found = minimize_scalar(
        lambda psi: slider_crank(math.cos(psi), math.sin(psi), 1.0, 1.0 / ratio, 0.0)[1],
        bounds=(0.5, 2.0),
        method="bounded",
        options={"xatol": 1e-9},
    )
    assert -found.fun == pytest.approx(speed, abs=EXACT)
    assert math.degrees(found.x) == pytest.approx(degrees, abs=1e-4)  # the figure printed; the search is at 1e-6


def inertia_torque(ratio: float) -> np.ndarray:
    """Inertia torque over m·r²·ω² at POINTS angles of a turn: a massless rod, constant speed, a still block."""
    raw = cases.single()
    engine, body = raw["engine"], raw["body"][0]
    engine |= {"stroke_mm": 2e3 * RADIUS, "rod_length_mm": 1e3 * RADIUS / ratio}
    engine["piston"] = {"mass_g": 1e3 * MASS}
    engine["rod"], engine["crank"] = {"mass_g": 0.0}, {"inertia_kg_m2": HEAVY}
    body |= {"moving_parts": "separate", "mass_kg": HEAVY, "inertia_kg_m2": [HEAVY, HEAVY, HEAVY, 0.0, 0.0, 0.0]}
    packed = cases.packed(raw)[1]
    angles = 2.0 * math.pi * np.arange(POINTS) / POINTS
    states = np.array([state_at(packed, np.zeros((1, 6)), angle, SPEED) for angle in angles])
    return observe(states, packed, ()).inertia_torque / (MASS * RADIUS**2 * SPEED**2)


def sine_coefficient(torque: np.ndarray, order: int) -> float:
    return float(-2.0 * np.fft.rfft(torque)[order].imag / POINTS)


@pytest.mark.parametrize(
    ("order", "expected"),
    [(1, 0.063506), (2, -0.500130), (3, -0.192056), (4, -0.016129), (5, 0.002592), (6, 0.00039)],
)
def test_inertia_torque_of_the_model(order: int, expected: float) -> None:
    """λ = 0.25, from the equations of motion. Source: derived, exact (order 6 given to 1e-5)."""
    figure = 5e-6 if order == 6 else EXACT
    assert sine_coefficient(inertia_torque(0.25), order) == pytest.approx(expected, abs=figure)


@pytest.mark.parametrize(
    ("order", "series", "power"),
    [
        (1, lambda x: x / 4 + x**3 / 16 + 15 * x**5 / 512, 7),
        (2, lambda x: -(1 / 2 + x**4 / 32), 6),
        (3, lambda x: -(3 * x / 4 + 9 * x**3 / 32 + 81 * x**5 / 512), 7),
        (4, lambda x: -(x**2 / 4 + x**4 / 8), 6),
    ],
    ids=["first", "second", "third", "fourth"],
)
@pytest.mark.parametrize("ratio", [0.15, 0.25, 0.35])
def test_inertia_torque_series(order: int, series, power: int, ratio: float) -> None:
    """Source: handbook series in λ (P-, from memory); the rest starts at the next power, coefficient below 1/8."""
    # 1e-7 covers the rounding of I·φ̈ with I 1e9 kg m² and the block's own motion, 1e-9 of the torque
    assert abs(sine_coefficient(inertia_torque(ratio), order) - series(ratio)) < ratio**power / 8.0 + 1e-7


def test_inertia_torque_has_no_mean_and_no_cosines() -> None:
    """Source: derived: kinetic energy is even about top dead centre, so its slope is odd."""
    spectrum = np.fft.rfft(inertia_torque(0.3)) / POINTS
    assert np.abs(spectrum.real).max() < 1e-7  # rounding, as above
