"""Compressible flow through an opening."""

from __future__ import annotations

import math

from vibsim.jit import inlined

STEEPEST = 20.0  # of the flow factor near equal pressures, where the root would have no slope
ALL_CHOKE, NONE_CHOKE = 0.486, 0.607  # critical pressure ratios at γ = 5/3 and γ = 1


@inlined
def flow_factor(ratio, gamma, steepest=STEEPEST):
    """Mass flow over A·p/√(R·T) for a downstream over upstream pressure ratio; choked below the critical one.

    One-dimensional isentropic flow (Heywood 1988, app. C, from memory), at most `steepest`·(1 − ratio): with 20 that
    is straight over the last half per cent before equal pressures.
    """
    straight = steepest * (1.0 - ratio)
    if ratio > 0.9 and straight * steepest < 1.75:  # surely below the root, which is above √(1.77·(1 − ratio)) there
        return straight
    if ratio < ALL_CHOKE or (ratio < NONE_CHOKE and ratio <= (2.0 / (gamma + 1.0)) ** (gamma / (gamma - 1.0))):
        value = math.sqrt(gamma) * (2.0 / (gamma + 1.0)) ** (0.5 * (gamma + 1.0) / (gamma - 1.0))
    else:
        power = ratio ** (1.0 / gamma)
        value = power * math.sqrt(2.0 * gamma / (gamma - 1.0) * (1.0 - ratio / power))
    return min(value, straight)
