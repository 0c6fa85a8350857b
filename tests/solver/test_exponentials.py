"""Exponentials of many matrices against scipy's."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import expm

from vibsim.solver.exponentials import exponentials


@pytest.mark.parametrize("size", [1e-3, 1.0, 40.0])
def test_equal_those_of_a_library(size: float) -> None:
    """Independent: Padé approximants of scipy; both to some hundred roundings of the largest entry."""
    random = np.random.default_rng(2)
    matrices = size * random.standard_normal((4, 7, 7)) / 7.0
    expected = np.array([expm(matrix) for matrix in matrices])
    scale = np.abs(expected).max(axis=(1, 2), keepdims=True)
    assert np.abs((exponentials(matrices) - expected) / scale).max() < 1e-12


def test_what_is_not_finite_stays_so() -> None:
    assert np.all(np.isnan(exponentials(np.full((2, 3, 3), np.inf))))
