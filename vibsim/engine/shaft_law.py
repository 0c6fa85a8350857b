"""Torque of a shaft over its twist: one stiffness, or stages and lash with rounded corners.

T(δ) = T₀ + k₀·(δ − δ₀) + Σ Δkᵢ·r(δ − δᵢ), with r(x) = 0 below −w, x above w and (x + w)²/4w between: a line in pieces
whose slope turns over ±w about each corner (derived), so that torque and stiffness are continuous.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vibsim.inputs.rotor_models import Shaft
from vibsim.jit import inner

ROUNDING = 0.1  # of the shortest stage beside a corner, over which it is rounded to either side
FRICTION_RATE = 0.2  # rad/s over which dry friction changes sign
FARTHEST = 100.0  # rad, twist looked for


@inner
def ramp(x, width):
    """Rounded max(x, 0), the corner within ±width."""
    if x <= -width:
        return 0.0
    if x >= width:
        return x
    return 0.25 * (x + width) * (x + width) / width


@inner
def ramp_slope(x, width):
    """Slope of `ramp`, 0 to 1."""
    if x <= -width:
        return 0.0
    if x >= width:
        return 1.0
    return 0.5 * (x + width) / width


@inner
def spring_torque(twist, slope, twist_ref, torque_ref, numbers, at, corners):
    """Torque (N m) at a twist (rad); corners (place, change of slope, width) stand in `numbers` from `at` on."""
    torque = torque_ref + slope * (twist - twist_ref)
    for n in range(corners):
        k = at + 3 * n
        torque += numbers[k + 1] * ramp(twist - numbers[k], numbers[k + 2])
    return torque


@inner
def damping_torque(twist, rate, damping, friction, half_lash, width):
    """Torque (N m) of damper and dry friction; across the lash nothing touches, so the damper does nothing."""
    contact = 1.0
    if half_lash > 0.0:
        contact = ramp_slope(abs(twist) - half_lash, width)
    return damping * contact * rate + friction * math.tanh(rate / FRICTION_RATE)


@dataclass(frozen=True)
class SpringLaw:
    """Numbers of a spring: slope (N m/rad) below all corners, a point on that line (rad, N m), corners (n, 3)."""

    slope: float
    twist_ref: float
    torque_ref: float
    corners: tuple[tuple[float, float, float], ...] = ()
    half_lash: float = 0.0
    lash_width: float = 0.0

    def torque(self, twist: float) -> float:
        """N m at a twist (rad)."""
        line = self.torque_ref + self.slope * (twist - self.twist_ref)
        return line + sum(change * ramp.py_func(twist - place, width) for place, change, width in self.corners)

    def stiffness(self, twist: float) -> float:
        """Tangent (N m/rad) at a twist (rad)."""
        return self.slope + sum(
            change * ramp_slope.py_func(twist - place, width) for place, change, width in self.corners
        )

    def twist(self, torque: float) -> float:
        """Twist (rad) that carries a torque (N m), the middle of the lash for none."""
        from scipy.optimize import brentq

        if self.slope == 0.0 and not self.corners:
            return 0.0
        if not self.corners:
            return self.twist_ref + (torque - self.torque_ref) / self.slope
        if torque == 0.0:
            return 0.0
        return float(brentq(lambda twist: self.torque(twist) - torque, -FARTHEST, FARTHEST, xtol=1e-13, rtol=1e-14))


def spring_law(shaft: Shaft) -> SpringLaw:
    """The law of a shaft from its keys; what is given from twist 0 on holds both ways."""
    if shaft.stage_twist is None or shaft.stage_torque is None:
        assert shaft.stiffness is not None
        if shaft.lash == 0.0:
            return SpringLaw(shaft.stiffness, 0.0, 0.0)
        twist, torque = np.array([-1.0, 0.0, 1.0]), np.array([-1.0, 0.0, 1.0]) * shaft.stiffness
    else:
        twist, torque = np.array(shaft.stage_twist), np.array(shaft.stage_torque)
        if twist[0] == 0.0:
            twist, torque = np.append(-twist[:0:-1], twist), np.append(-torque[:0:-1], torque)
    half = 0.5 * shaft.lash
    if half > 0.0:
        middle = int(np.flatnonzero(twist == 0.0)[0])
        twist = np.concatenate([twist[:middle] - half, [-half, half], twist[middle + 1 :] + half])
        torque = np.insert(torque, middle, 0.0)
    return _in_pieces(twist, torque, half)


def _in_pieces(twist: np.ndarray, torque: np.ndarray, half: float) -> SpringLaw:
    spans, slopes = np.diff(twist), np.diff(torque) / np.diff(twist)
    corners = []
    for n in range(len(slopes) - 1):
        width = ROUNDING * min(spans[n], spans[n + 1])
        if slopes[n + 1] != slopes[n]:
            corners.append((float(twist[n + 1]), float(slopes[n + 1] - slopes[n]), float(width)))
    width = next((width for place, _, width in corners if place == half), 0.0) if half else 0.0
    return SpringLaw(float(slopes[0]), float(twist[0]), float(torque[0]), tuple(corners), half, width)
