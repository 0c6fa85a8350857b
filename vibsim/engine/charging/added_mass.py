"""What a charger's mass does to the body that carries it."""

from __future__ import annotations

import numpy as np


def with_added_mass(
    mass: float, centre: np.ndarray, inertia: np.ndarray, added: float, at: np.ndarray
) -> tuple[float, np.ndarray, np.ndarray]:
    """Mass (kg), centre of mass (3) m and inertia (3, 3) kg m² about it of a body with a point mass (kg) put on at a
    place (3) m: Steiner's theorem with the reduced mass (derived)."""
    total = mass + added
    apart = np.asarray(at, dtype=float) - centre
    reduced = mass * added / total
    spread = apart @ apart * np.eye(3) - np.outer(apart, apart)
    return total, centre + added / total * apart, inertia + reduced * spread
