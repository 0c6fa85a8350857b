"""The Bouc–Wen element of friction mounts, driven with a sine of constant amplitude.

In steady motion of amplitude X the element comes back from ∓Z along its first slope to z = 0, then yields by
dz/dd = 1 − (z/u)ⁿ up to ±Z. So d rises by s(z) = ∫dz/(1 − (z/u)ⁿ), Z + s(Z) = 2X, and a cycle loses
2k·(∫z·dz/(1 − (z/u)ⁿ) − Z²/2) (derived). Both integrals grow as −ln(1 − z/u)/n; only the rest is left to quadrature.
"""

from __future__ import annotations

import numpy as np

POINTS = 400  # of either part of the loop's rising branch
NODES, WEIGHTS = np.polynomial.legendre.leggauss(48)
NEAR = 1e-4  # of z/u from 1, where the rest is taken as what it tends to


def turning_point(deflection: float, exponent: float, amplitude: float) -> float:
    """Z (m) of a steady loop of some amplitude (m); `deflection` is u."""
    from scipy.optimize import brentq

    def gap(share: float) -> float:
        return deflection * (share + float(_grown(np.array(share), exponent, 0))) - 2.0 * amplitude

    most = 1.0 - 1e-15
    return deflection * (brentq(gap, 0.0, most, xtol=1e-16) if gap(most) > 0.0 else most)


def loop_energy(stiffness: float, deflection: float, exponent: float, amplitude: float) -> float:
    """Energy lost per cycle, J."""
    share = turning_point(deflection, exponent, amplitude) / deflection
    grown = float(_grown(np.array(share), exponent, 1))
    return 2.0 * stiffness * deflection**2 * (grown - 0.5 * share * share)


def loop_stiffness(stiffness: float, deflection: float, exponent: float, amplitude: float) -> complex:
    """Complex stiffness (N/m) of the first harmonic: its real part by the mean of force times motion over the loop, its
    imaginary part the energy over π·X² (equivalent linearisation, Caughey 1960, from memory)."""
    if stiffness == 0.0:
        return 0.0j
    z = turning_point(deflection, exponent, amplitude)
    back = np.linspace(-z, 0.0, POINTS)
    share = z / deflection * (1.0 - np.linspace(1.0, 0.0, POINTS) ** 2)  # closer where it yields
    place = np.concatenate([-amplitude + z + back, -amplitude + z + deflection * _grown(share, exponent, 0)])
    value = np.concatenate([back, deflection * share])
    phase = (np.arange(POINTS) + 0.5) * np.pi / POINTS
    motion = -amplitude * np.cos(phase)
    real = 2.0 * float(np.mean(np.interp(motion, place, value) * motion)) / amplitude**2
    lost = loop_energy(stiffness, deflection, exponent, amplitude)
    return complex(stiffness * real, lost / (np.pi * amplitude**2))


def _grown(share: np.ndarray, exponent: float, power: int) -> np.ndarray:
    """∫t^power/(1 − tⁿ) dt from 0 to shares (...) below 1."""
    t = np.maximum(0.5 * share[..., None] * (NODES + 1.0), 1e-300)
    left = 1.0 - t
    rest = t**power / -np.expm1(exponent * np.log(t)) - 1.0 / (exponent * left)
    limit = (exponent - 1.0 - 2.0 * power) / (2.0 * exponent)
    rest = np.where(left < NEAR, limit, rest)
    return -np.log1p(-share) / exponent + 0.5 * share * (rest @ WEIGHTS)
