"""Kinetic energy of modes along other axes than the vehicle's, and how well one direction is decoupled."""

from __future__ import annotations

import numpy as np

from vibsim.structure.elastic_axes import shift_matrix
from vibsim.structure.modes import Modes


def energy_along(modes: Modes, mass: np.ndarray, body: int, away: np.ndarray, axes: np.ndarray) -> np.ndarray:
    """Shares (n, 6) of each mode's whole kinetic energy in shifts along and turns about the columns of `axes` (3, 3)
    through a point of one body, `away` (3) m from its reference point.

    `mass` (unknowns, unknowns) vehicle axes. The share of entry i is Re(conj(φ_i)·(M·φ)_i) over the mode's sum, in the
    coordinates at that point (common practice, no source); over all entries of all bodies it sums to 1 in any axes.
    """
    at = slice(6 * body, 6 * body + 6)
    change = shift_matrix(away) @ np.kron(np.eye(2), axes)
    own = change.T @ mass[at, at] @ change
    shapes = modes.vector
    local = np.linalg.solve(change, shapes[:, at].T).T
    whole = np.real(np.einsum("ni,ij,nj->n", shapes.conj(), mass, shapes))
    return np.real(local.conj() * (local @ own.T)) / whole[:, None]


def decoupling(shares: np.ndarray) -> tuple[float, int]:
    """Decoupling of one direction from its shares (n) over the modes: the greatest, and in which mode.

    1 when one mode alone holds that motion and does nothing else (common practice, no source).
    """
    index = int(shares.argmax())
    return float(shares[index]), index
