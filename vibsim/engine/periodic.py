"""Fixed points of a map, faster than by repeating it."""

from __future__ import annotations

import numpy as np

REMEMBERED = 4
LITTLE = 1e-12  # on the diagonal of the normal equations, against steps along one line


class Anderson:
    """Anderson's mixing: the next argument from the last few and what the map made of them (Walker & Ni 2011, SIAM J.
    Numer. Anal. 49, 1715, from memory). Sums that the map keeps, the mixing keeps."""

    def __init__(self) -> None:
        self.images: list[np.ndarray] = []
        self.rests: list[np.ndarray] = []

    def next(self, argument: np.ndarray, image: np.ndarray) -> np.ndarray:
        """Argument (n) to try after `argument` (n) gave `image` (n), both scaled alike."""
        self.images.append(image)
        self.rests.append(image - argument)
        del self.images[:-REMEMBERED], self.rests[:-REMEMBERED]
        if len(self.rests) == 1:
            return image
        steps = self.rests[-1] - np.array(self.rests[:-1])
        norms = np.sqrt((steps * steps).sum(axis=1)) + 1e-300
        steps /= norms[:, None]
        normal = steps @ steps.T
        normal[np.diag_indices_from(normal)] += LITTLE
        weights = np.linalg.solve(normal, steps @ self.rests[-1]) / norms
        return image - weights @ (image - np.array(self.images[:-1]))

    def forget(self) -> None:
        """Begin anew, after the map changed or a step went astray."""
        self.images.clear()
        self.rests.clear()
