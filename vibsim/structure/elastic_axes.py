"""Elastic centre and elastic axes of a body on its mounts, and how far they exist at all.

A force through an elastic centre shifts the body without turning it. With the stiffness K (6, 6) about a point in
blocks of forces F and moments M against shifts t and turns r, a shift t without a turn takes F = K_tt·t and M = K_rt·t:
a force F that only shifts comes with M = N·F, N = K_rt·K_tt⁻¹ (m). It is a single force through p when N = [p×], for
which N must be antisymmetric. In general it is not; then p is where the sum of squares of N − [p×] is least, the axis
of N's antisymmetric part, and its symmetric part is the lever arm left over (derived).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class ElasticAxes:
    """Elastic centre and axes of one body, all others held; vehicle axes.

    `centre` (3) m. `lever_arm` m: the greatest arm with which a unit force through the centre still turns the body, 0
    when the centre is exact; `along_axes` (3) m: how far from the centre a force along each elastic axis would have to
    pass, or its moment about itself, sized. `axes` (3, 3) columns: directions in which a force shifts the body along
    itself, with `stiffness` (3) N/m, in the order nearest X, Y, Z; `turning` (3, 3) columns: directions about which a
    moment about the centre turns it about itself, with `turning_stiffness` (3) N m/rad.
    """

    centre: np.ndarray
    lever_arm: float
    along_axes: np.ndarray
    axes: np.ndarray
    stiffness: np.ndarray
    turning: np.ndarray
    turning_stiffness: np.ndarray


def elastic_axes(stiffness: np.ndarray, point: np.ndarray) -> ElasticAxes | None:
    """Of the stiffness (6, 6) about a `point` (3); None when nothing holds the body in some direction of shift."""
    shift = stiffness[:3, :3]
    if np.linalg.matrix_rank(shift, tol=1e-9 * np.abs(shift).max(initial=1e-300)) < 3:
        return None
    arms = stiffness[3:, :3] @ np.linalg.inv(shift)
    away = 0.5 * np.array([arms[2, 1] - arms[1, 2], arms[0, 2] - arms[2, 0], arms[1, 0] - arms[0, 1]])
    left = 0.5 * (arms + arms.T)
    about_centre = moved_to(stiffness, away)
    rates, axes = _principal(about_centre[:3, :3])
    turning_rates, turning = _principal(about_centre[3:, 3:])
    return ElasticAxes(
        centre=point + away,
        lever_arm=float(np.abs(np.linalg.eigvalsh(left)).max()),
        along_axes=np.linalg.norm(left @ axes, axis=0),
        axes=axes,
        stiffness=rates,
        turning=turning,
        turning_stiffness=turning_rates,
    )


def moved_to(stiffness: np.ndarray, away: np.ndarray) -> np.ndarray:
    """A stiffness or mass matrix (6, 6) about a point, about another that is `away` (3) from it."""
    shift = shift_matrix(away)
    return shift.T @ stiffness @ shift


def shift_matrix(away: np.ndarray) -> np.ndarray:
    """Matrix (6, 6) from the motion of a body at a point `away` (3) to that at the origin: t₀ = t − r×away."""
    x, y, z = away
    matrix = np.eye(6)
    matrix[:3, 3:] = [[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]]
    return matrix


def _principal(block: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Values (3) and unit columns (3, 3) of a symmetric matrix, in the order nearest X, Y, Z, pointing along them."""
    values, columns = np.linalg.eigh(0.5 * (block + block.T))
    order, left = [], [0, 1, 2]
    for row in range(3):
        best = max(left, key=lambda column: abs(columns[row, column]))
        order.append(best)
        left.remove(best)
    columns = columns[:, order]
    signs = np.where(columns[range(3), range(3)] < 0.0, -1.0, 1.0)
    return values[order], columns * signs
