"""The torque roll axis: what a free body turns about when a torque about the crank acts on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Axis:
    """A line in vehicle axes: a `point` (3) m on it, its unit `direction` (3), and the `pitch` (m/rad) of the travel
    along it that comes with a turn about it (0: a turn alone)."""

    point: np.ndarray
    direction: np.ndarray
    pitch: float


def torque_roll_axis(mass: np.ndarray, centre: np.ndarray, crank_direction: np.ndarray) -> Axis:
    """The axis of a body with mass matrix (6, 6) about `centre` (3), free, under a torque about the crank (3).

    The acceleration M⁻¹·(0, u) as a screw. For a rigid body it passes through its centre of mass along J⁻¹·u and has no
    pitch (Jeong & Singh, J. Sound Vib. 234, 2000, concept from memory). A torque about this axis itself turns the body
    about it only where it is a principal axis of inertia.
    """
    push = np.concatenate([np.zeros(3), crank_direction / np.linalg.norm(crank_direction)])
    return screw_axis(np.linalg.solve(mass, push), centre)


def screw_axis(motion: np.ndarray, centre: np.ndarray) -> Axis:
    """The axis of a small motion (6): translation of `centre` (3) and turn. Raises ValueError when nothing turns.

    Derived: t + r×d is least, and along r, at d = r×t/|r|².
    """
    shift, turn = motion[:3], motion[3:]
    size = float(np.linalg.norm(turn))
    if size == 0.0:
        raise ValueError("a motion without a turn has no axis")
    pitch = float(shift @ turn) / size**2
    return Axis(centre + np.cross(turn, shift) / size**2, turn / size, pitch)


def axes_along(direction: np.ndarray) -> np.ndarray:
    """Columns: the unit direction, and two at right angles to it, the third as near to vertical as can be."""
    up = np.array([0.0, 0.0, 1.0]) if abs(direction[2]) < 0.9 * np.linalg.norm(direction) else np.array([1.0, 0.0, 0.0])
    first = direction / np.linalg.norm(direction)
    second = np.cross(up, first)
    second /= np.linalg.norm(second)
    return np.column_stack([first, second, np.cross(first, second)])
