"""Natural frequencies, damping, shapes and kinetic-energy shares of bodies on mounts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Modes:
    """Modes in order of frequency.

    `frequency` (n) undamped natural frequency in Hz; `damping` (n) share of critical; `shape` (n, bodies, 6) complex,
    largest entry 1 (m, rad); `energy` (n, bodies, 6) share of kinetic energy, each mode summing to 1 with that of the
    elastic modes of bodies, `elastic_energy` (n, elastic modes); `elastic` (n, elastic modes) complex modal
    coordinates; `vector` (n, unknowns) the whole shape in the order of the matrices. Of a mode damped past critical the
    slower root is given, with damping 1.
    """

    frequency: np.ndarray
    damping: np.ndarray
    shape: np.ndarray
    energy: np.ndarray
    elastic: np.ndarray
    elastic_energy: np.ndarray
    vector: np.ndarray


def sixfold(values: np.ndarray, heights: int) -> np.ndarray:
    """Values of unknowns (..., n), of which the last so many are heights, as six each (..., bodies, 6): a mass that has
    a height alone is a body that moves along Z alone."""
    first = values.shape[-1] - heights
    places = np.concatenate([np.arange(first), first + 2 + 6 * np.arange(heights)])
    found = np.zeros((*values.shape[:-1], values.shape[-1] + 5 * heights), values.dtype)
    found[..., places] = values
    return found.reshape(*values.shape[:-1], -1, 6)


def without_modal(values: np.ndarray, elastic: int, heights: int) -> np.ndarray:
    """Values of unknowns (..., n) as six each (..., bodies, 6) as `sixfold` has them, modal coordinates left out."""
    if not elastic and not heights:
        return values.reshape(*values.shape[:-1], -1, 6)
    last = values.shape[-1] - heights
    return sixfold(np.delete(values, np.s_[last - elastic : last], axis=-1), heights)


def modes_of(mass: np.ndarray, damping: np.ndarray, stiffness: np.ndarray, elastic: int = 0, heights: int = 0) -> Modes:
    """Modes of M·x'' + C·x' + K·x = 0 (6 unknowns per body, then so many modal coordinates of elastic modes, then so
    many `heights`, each a body of its own in what is returned), from the eigenvalues of the first-order form.

    The energy share of entry i is Re(conj(φ_i)·(M·φ)_i) over its sum (common practice in mount design, no source).
    """
    size = len(mass)
    inverse = np.linalg.inv(mass)
    first_order = np.block([[np.zeros((size, size)), np.eye(size)], [-inverse @ stiffness, -inverse @ damping]])
    roots, vectors = np.linalg.eig(first_order)
    keep = [index for index, root in enumerate(roots) if root.imag > 0.0]
    real = [index for index, root in enumerate(roots) if root.imag == 0.0]
    keep += _one_of_each_pair(roots, vectors[:size], mass, real)
    keep.sort(key=lambda index: abs(roots[index]))
    roots, shapes = roots[keep], vectors[:size, keep].T
    modal = np.s_[size - heights - elastic : size - heights]
    speed = np.abs(roots)
    energy = np.real(np.conj(shapes) * (shapes @ mass.T))
    energy /= energy.sum(axis=1, keepdims=True)
    shapes = shapes / _largest(shapes, energy, modal)[:, None]
    return Modes(
        frequency=speed / (2.0 * np.pi),
        damping=np.where(speed > 0.0, -roots.real / np.where(speed > 0.0, speed, 1.0), 0.0),
        shape=without_modal(shapes, elastic, heights),
        energy=without_modal(energy, elastic, heights),
        elastic=shapes[:, modal],
        elastic_energy=energy[:, modal],
        vector=shapes,
    )


def _largest(shapes: np.ndarray, energy: np.ndarray, modal: slice) -> np.ndarray:
    """What shapes (n, unknowns) are scaled by (n): their largest entry of bodies, or the largest modal coordinate of
    what has more of its energy (n, unknowns) in elastic modes."""
    elastic = energy[:, modal].sum(axis=1) > 0.5
    size = np.abs(shapes)
    size[~elastic, modal] = -1.0
    if elastic.any():
        size[elastic, : modal.start] = size[elastic, modal.stop :] = -1.0
    return shapes[np.arange(len(shapes)), size.argmax(axis=1)]


def _one_of_each_pair(roots: np.ndarray, shapes: np.ndarray, mass: np.ndarray, real: list[int]) -> list[int]:
    """Of real roots (overdamped pairs, bodies nothing holds) the slower of each pair; partners share their shape."""
    left = sorted(real, key=lambda index: abs(roots[index]))
    kept = []
    while left:
        slow = left.pop(0)
        kept.append(slow)
        if left:
            left.remove(max(left, key=lambda other: _likeness(shapes[:, slow], shapes[:, other], mass)))
    return kept


def _likeness(a: np.ndarray, b: np.ndarray, mass: np.ndarray) -> float:
    """Modal assurance criterion weighted with mass: 1 for equal shapes, 0 for independent ones."""
    across = abs(np.vdot(a, mass @ b)) ** 2
    return float(across / (abs(np.vdot(a, mass @ a)) * abs(np.vdot(b, mass @ b))))
