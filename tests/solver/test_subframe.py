"""A subframe between what shakes and what holds it: two springs in a row, closed forms (derived)."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.cases import mount
from tests.solver.test_frequency import body, case_file
from vibsim.studies.response import Shake, force_response

ENGINE, SUBFRAME, RATE = 100.0, 25.0, 4e5  # kg, kg, N/m
CORNERS = ((200, 150), (200, -150), (-200, 150), (-200, -150))


def on_subframe(second: float, mass: float = SUBFRAME) -> dict:
    """A machine on four mounts of RATE together, on a subframe on four of `second` (N/m) together."""
    sets = (("upper", ["machine", "subframe"], RATE), ("lower", ["subframe", "ground"], second))
    return {
        "body": [body("machine", ENGINE), body("subframe", mass)],
        "mount": [
            mount(f"{name} {n}", between=between, at_mm=[x, y, 0], stiffness_N_per_mm=[2.5e-4 * k] * 3)
            for name, between, k in sets
            for n, (x, y) in enumerate(CORNERS)
        ],
        "sensor": [{"name": "top", "body": "machine", "at_mm": [0, 0, 0]}],
    }


def passed_on(raw: dict, frequencies: np.ndarray) -> np.ndarray:
    """Force on the ground per force on the machine, along Z."""
    found = force_response(case_file(raw), frequencies, Shake("machine", "Z"))
    return found.mount[:, 4:, 2].sum(axis=1)


def test_two_springs_in_a_row_pass_on_their_closed_form():
    """k₁k₂/((k₁ − m₁ω²)(k₁ + k₂ − m₂ω²) − k₁²)."""
    frequencies = np.array([3.0, 8.0, 30.0, 90.0])
    square, second = (2.0 * math.pi * frequencies) ** 2, 1.5 * RATE
    below = (RATE - ENGINE * square) * (RATE + second - SUBFRAME * square) - RATE**2
    assert passed_on(on_subframe(second), frequencies) == pytest.approx(RATE * second / below, rel=1e-3)


def test_an_isolating_subframe_gains_24_db_per_octave_and_a_rigid_one_12():
    """Far above both natural frequencies force falls as ω⁻⁴, with one spring as ω⁻²."""
    octave = np.array([800.0, 1600.0])
    soft = np.abs(passed_on(on_subframe(1.5 * RATE), octave))
    assert 20.0 * math.log10(soft[1] / soft[0]) == pytest.approx(-24.08, abs=0.1)
    stiff = np.abs(passed_on(on_subframe(1e6 * RATE), 0.25 * octave))
    assert 20.0 * math.log10(stiff[1] / stiff[0]) == pytest.approx(-12.04, abs=0.1)


def test_a_stiffly_mounted_subframe_is_the_case_without_it():
    """Limit: bushings 10⁵ times stiffer than the mounts leave 10⁻⁵ of the subframe's part."""
    frequencies = np.array([2.0, 12.0, 40.0])
    raw = on_subframe(1e5 * RATE)
    held = [{**entry, "between": ["machine", "ground"]} for entry in raw["mount"][:4]]
    plain = {**raw, "body": raw["body"][:1], "mount": held}
    shake = Shake("machine", "Z")
    found = force_response(case_file(raw), frequencies, shake).sensor
    expected = force_response(case_file(plain), frequencies, shake).sensor
    assert found[:, 0, 2] == pytest.approx(expected[:, 0, 2], rel=1e-3)
