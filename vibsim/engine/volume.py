"""Cylinder volume against the angle from firing top dead centre."""

from __future__ import annotations

import math

import numpy as np

from vibsim.engine.kinematics import top_dead_centre
from vibsim.engine.layout import ResolvedCylinder


def cylinder_volume(cylinder: ResolvedCylinder, angle: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Volume (m³) and its derivative (m³/rad) at angles (rad) from firing top dead centre, any shape.

    Derived: V = V_clearance + A·(s_top − s), s the wrist-pin height of the exact slider-crank.
    """
    psi0, top = top_dead_centre(cylinder.radius, cylinder.rod_length, cylinder.offset)
    r, length = cylinder.radius, cylinder.rod_length
    sine, cosine = np.sin(psi0 + angle), np.cos(psi0 + angle)
    sigma = (cylinder.offset - r * sine) / length
    kappa = np.sqrt(1.0 - sigma**2)
    height, slope = r * cosine + length * kappa, -r * sine + sigma * r * cosine / kappa
    return cylinder.clearance_volume + cylinder.area * (top - height), -cylinder.area * slope


def mean_piston_speed(cylinder: ResolvedCylinder, speed: float) -> float:
    """Mean piston speed (m/s) at crank speed (rad/s): two strokes a turn."""
    return 2.0 * cylinder.radius * speed / math.pi
