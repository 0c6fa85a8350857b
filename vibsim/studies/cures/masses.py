"""Reciprocating mass as a design variable: how much heavier a piston must be for what no counterweight reaches."""

from __future__ import annotations

import numpy as np
from scipy.optimize import lsq_linear

from vibsim.engine.layout import Layout
from vibsim.engine.phasors import cylinders_of
from vibsim.studies.balance import Balance
from vibsim.studies.cures.goals import SECOND, Kind

LEAST = 1e-3  # weight of the mass itself: of equal cures the lighter


def find_masses(balance: Balance, kind: Kind, indices: list[int], most: float) -> np.ndarray:
    """Mass (kg) to add to the reciprocating parts of cylinders `indices`, each 0 to `most`, for the least backward
    first-order force and couple: force first or couple first by `kind`.

    Derived: a reciprocating mass m adds m·conj(s₁)·e^{i(2β − α)} to the backward phasor, s₁ the first harmonic of its
    stroke; bounded linear least squares in the masses.
    """
    pushes = _backward_per_mass(balance.layout)
    arms = np.array([c.at for c in balance.layout.cylinders]) - balance.middle
    first, second = (1.0, SECOND) if kind == "force" else (SECOND, 1.0)
    square = balance.about_crank.speed**2
    force, couple = first * square / balance.unit, second * square / balance.couple_unit
    now = [
        first * balance.force.at(1.0)[1] / balance.unit,
        second * balance.couple.at(1.0)[1] / balance.couple_unit,
    ]
    rows = np.array([force * pushes[indices], couple * (pushes * arms)[indices]])
    typical = balance.unit / (square * balance.layout.cylinders[0].radius)
    effort = LEAST / typical * np.eye(len(indices))
    matrix = np.vstack([rows.real, rows.imag, effort])
    wanted = -np.concatenate([np.real(now), np.imag(now), np.zeros(len(indices))])
    return lsq_linear(matrix, wanted, (0.0, most), method="bvls").x


def _backward_per_mass(layout: Layout) -> np.ndarray:
    """Backward first-order phasor (cylinders) at unit speed per reciprocating mass, m."""
    parts = cylinders_of(layout)
    return np.conj(parts.stroke_form[:, 0]) * np.exp(1j * (2.0 * parts.bank - parts.pin))
