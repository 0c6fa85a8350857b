"""What the pictures of bodies on their mounts draw: boxes for bodies, points and springs for mounts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vibsim.inputs.case_checks import GROUND, inertia_matrix
from vibsim.inputs.loader import CaseFile
from vibsim.inputs.models import Body, Case

WHEEL_SHAPE = np.array([0.7, 0.2, 0.7])  # of the radius: a wheel's box is not taken for its outline
EDGES = [(a, b) for a in range(8) for b in range(a + 1, 8) if bin(a ^ b).count("1") == 1]


@dataclass(frozen=True)
class Box:
    """The cuboid (8 corners, 3; m, vehicle axes as drawn) with a body's mass and inertia, about its centre of mass."""

    body: str
    centre: np.ndarray
    corners: np.ndarray


def boxes_of(case: Case) -> list[Box]:
    """One box per body: a homogeneous cuboid of sides a, b, c has I_x = m·(b² + c²)/12 about its principal axes."""
    return [_box(body) for body in case.body]


def _box(body: Body) -> Box:
    inertia = inertia_matrix(np.array(body.inertia), body.inertia_products == "integral")
    principal, axes = np.linalg.eigh(inertia)
    squares = 6.0 * (principal.sum() - 2.0 * principal) / body.mass
    half = 0.5 * np.sqrt(np.maximum(squares, 1e-6))
    signs = np.array([[1.0 if corner >> bit & 1 else -1.0 for bit in range(3)] for corner in range(8)])
    centre = np.array(body.centre_of_mass)
    return Box(body.name, centre, centre + (signs * half) @ axes.T)


def wheels_of(case: Case) -> list[Box]:
    """One box per wheel, as wide as a tyre about is."""
    signs = np.array([[1.0 if corner >> bit & 1 else -1.0 for bit in range(3)] for corner in range(8)])
    return [
        Box(f"wheel {wheel.name}", np.array(wheel.at), np.array(wheel.at) + signs * wheel.radius * WHEEL_SHAPE)
        for wheel in case.wheel
    ]


def mounts_of(case_file: CaseFile, body: str | None) -> list[int]:
    """Indices of the mounts of one body, or of all."""
    return [n for n, mount in enumerate(case_file.case.mount) if body is None or body in mount.between]


def carried(points: np.ndarray, centre: np.ndarray, motion: np.ndarray) -> np.ndarray:
    """Points (n, 3) of a body under a small motion (6) of its centre: shift and turn."""
    return points + motion[:3] + np.cross(motion[3:], points - centre)


def ends_of(case: Case, index: int) -> tuple[str | None, str | None]:
    """The bodies a mount joins, None for the ground."""
    first, second = case.mount[index].between
    return (None if first == GROUND else first), (None if second == GROUND else second)
