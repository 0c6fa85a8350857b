"""Free forces and moments per order in vehicle axes, about the crank's origin and the centre of mass of its body."""

from __future__ import annotations

from typing import Any

import numpy as np

from vibsim.engine.balance import FreeForces, split
from vibsim.post.orders import orders_of


def vehicle_rows(
    axes: np.ndarray, about_crank: FreeForces, about_mass: FreeForces, highest: float
) -> list[dict[str, Any]]:
    """One row per order up to `highest`: amplitudes along vehicle X, Y, Z of force (N) and of moment (N m, roll of the
    inertia torque in it) about both points; `axes` (3, 3) engine axes in vehicle axes.

    Derived: of f = P·e^{iθ} + Q·e^{−iθ}, F_z = Re f has the phasor P + Q̄ and F_y = −Im f the phasor i·(P − Q̄); the
    couple Σ x·f turns about y with −Re and about z with −Im.
    """
    force = split(about_crank.force, about_crank.turns)
    moments = {"crank_origin": _moments(about_crank), "centre_of_mass": _moments(about_mass)}
    rows = []
    for index, order in enumerate(force.order):
        if order > highest:
            break
        along, across = _along_and_across(force.forward[index], force.backward[index])
        row: dict[str, Any] = {"order": float(order), "force_N": _sizes(axes, np.array([0.0, across, along]))}
        for name, moment in moments.items():
            row[f"moment_about_{name}_N_m"] = _sizes(axes, moment[index])
        rows.append(row)
    return rows


def _moments(free: FreeForces) -> np.ndarray:
    """Phasors (orders, 3) of the moment about engine x, y, z."""
    couple = split(free.couple, free.turns)
    roll = orders_of(free.roll, float(free.turns), float(free.turns))
    rolls = (roll.amplitude * np.exp(1j * roll.phase))[1 : len(couple.order) + 1]
    along, across = _along_and_across(couple.forward, couple.backward)
    return np.column_stack([rolls, -along, across])


def _along_and_across(forward: np.ndarray, backward: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Phasors along z and, negated imaginary part, along y."""
    return forward + np.conj(backward), 1j * (forward - np.conj(backward))


def _sizes(axes: np.ndarray, phasor: np.ndarray) -> list[float]:
    return [float(abs(value)) for value in axes @ phasor]
