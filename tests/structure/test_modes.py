"""Modes of small systems with known roots."""

from __future__ import annotations

import numpy as np
import pytest

from vibsim.structure.modes import modes_of

# root pairs of x'' + c·x' + k·x = 0 (derived: c = −(r1 + r2), k = r1·r2)
PAIRS = [(-1.0, -3.0), (-50.0, -100.0), (-2.0 + 40.0j, -2.0 - 40.0j), (-7.0, -900.0), (-5.0, -6.0), (-1.0, -2.0)]


def _matrices(turn: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    damping = np.diag([-(a + b).real if isinstance(a, complex) else -(a + b) for a, b in PAIRS])
    stiffness = np.diag([(a * b).real if isinstance(a, complex) else a * b for a, b in PAIRS])
    return np.eye(6), turn @ damping @ turn.T, turn @ stiffness @ turn.T


@pytest.mark.parametrize("seed", [None, 1, 2])
def test_each_overdamped_pair_counts_once_with_its_slower_root(seed):
    # the same system seen in turned coordinates has the same roots
    turn = np.eye(6)
    if seed is not None:
        turn = np.linalg.qr(np.random.default_rng(seed).normal(size=(6, 6)))[0]
    modes = modes_of(*_matrices(turn))
    slower = sorted(abs(first) for first, _ in PAIRS)
    # eigenvalues of a well-conditioned 12 × 12 matrix
    assert 2.0 * np.pi * modes.frequency == pytest.approx(slower, rel=1e-9)
    vibrating = modes.damping[modes.damping < 0.99]
    assert vibrating == pytest.approx([2.0 / abs(-2.0 + 40.0j)], rel=1e-9)


def test_energy_shares_sum_to_one():
    rng = np.random.default_rng(4)
    root = rng.normal(size=(12, 12))
    mass, stiffness = np.diag(rng.uniform(1.0, 5.0, 12)), root @ root.T + np.eye(12)
    modes = modes_of(mass, 1e-3 * stiffness, stiffness)
    assert modes.energy.sum(axis=(1, 2)) == pytest.approx(np.ones(12), rel=1e-12)
    # derived: proportional damping c = β·k gives ζ = β·ω/2
    assert modes.damping == pytest.approx(0.5e-3 * 2.0 * np.pi * modes.frequency, rel=1e-8)
