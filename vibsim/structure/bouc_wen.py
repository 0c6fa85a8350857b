"""Closed forms of the Bouc–Wen element that friction mounts use, driven with a sine of constant amplitude.

In steady motion of amplitude X the element comes back from ∓Z along its first slope to z = 0, then yields by
dz/dd = 1 − (z/u)ⁿ up to ±Z. So d rises by s(z) = ∫dz/(1 − (z/u)ⁿ) = z·₂F₁(1, 1/n; 1 + 1/n; (z/u)ⁿ), and Z + s(Z) = 2X
(derived).
"""

from __future__ import annotations

import numpy as np

POINTS = 2000  # of the loop's rising branch


def turning_point(deflection: float, exponent: float, amplitude: float) -> float:
    """Z (m) of a steady loop of some amplitude (m); `deflection` is u."""
    from scipy.optimize import brentq

    def gap(share: float) -> float:
        return deflection * (share + _travel(share, exponent)) - 2.0 * amplitude

    most = 1.0 - 1e-15
    return deflection * (brentq(gap, 0.0, most, xtol=1e-16) if gap(most) > 0.0 else most)


def loop_energy(stiffness: float, deflection: float, exponent: float, amplitude: float) -> float:
    """Energy lost per cycle (J): twice the rising branch, k·Z²·(₂F₁(1, 2/n; 1 + 2/n; (Z/u)ⁿ) − 1) (derived)."""
    from scipy.special import hyp2f1

    z = turning_point(deflection, exponent, amplitude)
    share = (z / deflection) ** exponent
    return float(stiffness * z * z * (hyp2f1(1.0, 2.0 / exponent, 1.0 + 2.0 / exponent, share) - 1.0))


def loop_stiffness(stiffness: float, deflection: float, exponent: float, amplitude: float) -> complex:
    """Complex stiffness (N/m) of the first harmonic: its real part by the mean of force times motion over the loop, its
    imaginary part the energy over π·X² (equivalent linearisation, Caughey 1960, from memory)."""
    if stiffness == 0.0:
        return 0.0j
    z = turning_point(deflection, exponent, amplitude)
    back = np.linspace(-z, 0.0, POINTS)
    share = z / deflection * (1.0 - np.linspace(1.0, 0.0, POINTS) ** 2)  # closer where it yields
    place = np.concatenate([-amplitude + z + back, -amplitude + z + deflection * _travel(share, exponent)])
    value = np.concatenate([back, deflection * share])
    phase = (np.arange(POINTS) + 0.5) * np.pi / POINTS
    motion = -amplitude * np.cos(phase)
    real = 2.0 * float(np.mean(np.interp(motion, place, value) * motion)) / amplitude**2
    lost = loop_energy(stiffness, deflection, exponent, amplitude)
    return complex(stiffness * real, lost / (np.pi * amplitude**2))


def _travel(share, exponent: float):
    """s(z)/u at shares z/u."""
    from scipy.special import hyp2f1

    return share * hyp2f1(1.0, 1.0 / exponent, 1.0 + 1.0 / exponent, share**exponent)
