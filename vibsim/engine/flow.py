"""Compressible flow through an opening."""

from __future__ import annotations

import math

from vibsim.jit import inner, kernel

LINEAR = 0.995  # pressure ratio past which the flow is straight, where the square root would have no slope


@kernel
def flow_factor(ratio, gamma):
    """Mass flow over A·p/√(R·T) for a downstream over upstream pressure ratio; choked below the critical one.

    One-dimensional isentropic flow (Heywood 1988, app. C, from memory); linear in the last half per cent before equal
    pressures.
    """
    critical = (2.0 / (gamma + 1.0)) ** (gamma / (gamma - 1.0))
    if ratio <= critical:
        return math.sqrt(gamma) * (2.0 / (gamma + 1.0)) ** (0.5 * (gamma + 1.0) / (gamma - 1.0))
    r = min(ratio, LINEAR)
    power = r ** (1.0 / gamma)
    value = power * math.sqrt(2.0 * gamma / (gamma - 1.0) * (1.0 - r / power))
    if ratio > LINEAR:
        value *= (1.0 - ratio) / (1.0 - LINEAR)
    return value


@inner
def open_area(angle, opens, span, greatest, cycle):
    """Effective area (m²) of a valve or port that opens and shuts as a squared sine over `span` rad."""
    past = angle - opens
    past -= math.floor(past / cycle) * cycle
    return greatest * math.sin(math.pi * past / span) ** 2 if past < span else 0.0
