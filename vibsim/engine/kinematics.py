"""The exact slider-crank, in the plane of one cylinder.

Axes: `a` along the cylinder axis away from the crank, `c` at right angles to it in the direction of rotation.
ψ is the crankpin's angle from the cylinder axis. Derived: the rod of length l joins the crankpin (r cos ψ, r sin ψ)
to the wrist pin (s, δ), so with the rod's direction (κ, σ): σ = (δ − r sin ψ)/l, κ = √(1 − σ²), s = r cos ψ + l κ.
"""

from __future__ import annotations

import math

from vibsim.jit import inlined


@inlined
def slider_crank(cos_psi, sin_psi, radius, rod_length, offset):
    """Wrist pin and rod direction with their first and second derivatives by crank angle.

    Parameters: cos ψ, sin ψ, throw radius, rod length and offset δ of the cylinder axis (all m).
    Returns (s, s', s'', κ, κ', κ'', σ, σ', σ''), s in m, κ and σ the rod's direction cosines.
    """
    sigma = (offset - radius * sin_psi) / rod_length
    sigma1 = -radius * cos_psi / rod_length
    sigma2 = radius * sin_psi / rod_length
    kappa = math.sqrt(1.0 - sigma * sigma)
    kappa1 = -sigma * sigma1 / kappa
    kappa2 = -(sigma1 * sigma1 + sigma * sigma2 + kappa1 * kappa1) / kappa
    s = radius * cos_psi + rod_length * kappa
    s1 = -radius * sin_psi + rod_length * kappa1
    s2 = -radius * cos_psi + rod_length * kappa2
    return s, s1, s2, kappa, kappa1, kappa2, sigma, sigma1, sigma2


def top_dead_centre(radius: float, rod_length: float, offset: float) -> tuple[float, float]:
    """Angle ψ (rad) and wrist-pin height s (m) at top dead centre: crank and rod in one line."""
    reach = rod_length + radius
    return math.asin(offset / reach), math.sqrt(reach * reach - offset * offset)


def bottom_dead_centre(radius: float, rod_length: float, offset: float) -> tuple[float, float]:
    """Angle ψ (rad) and wrist-pin height s (m) at bottom dead centre: crank folded back along the rod."""
    reach = rod_length - radius
    return math.pi + math.asin(offset / reach), math.sqrt(reach * reach - offset * offset)
