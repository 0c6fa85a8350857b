"""Engine oil's viscosity against temperature, and what cold oil does to friction.

Constants of Vogel's equation ν = k·exp(θ₁/(T + θ₂)): Sandoval, "An improved friction model for spark ignition engines",
thesis, MIT 2002, appendix A.2 (read in a copy that quotes it; the basis of Sandoval and Heywood, SAE 2003-01-0725).
"""

from __future__ import annotations

import math

ICE_POINT = 273.15  # K
WARM = 363.15  # K: the temperature of fully warm oil at which friction is given (Sandoval 2002, section 3.2)
# k in m²/s, θ₁ and θ₂ in K (degrees Celsius in the equation)
VOGEL = {
    "5W-20": (0.04576e-6, 1224.0, 134.1),
    "5W-40": (0.15e-6, 1018.74, 125.91),
    "10W-30": (0.1403e-6, 869.72, 104.4),
    "20W-50": (0.0639e-6, 1255.46, 117.7),
    "SAE 30": (0.0246e-6, 1432.29, 132.94),
}


def viscosity(oil: str, temperature: float) -> float:
    """Kinematic viscosity (m²/s) at low shear of an oil named in VOGEL at a temperature (K)."""
    k, first, second = VOGEL[oil]
    return k * math.exp(first / (temperature - ICE_POINT + second))


def thickening(oil: str, temperature: float) -> float:
    """Factor of hydrodynamic friction over that of warm oil: √(ν/ν_warm) (Sandoval 2002, eq. 3).

    For the oil's bulk temperature: at speed its films warm themselves, so that for cold oil this is an upper bound. The
    small change of density and the ratio of high to low shear viscosity of one oil are left out.
    """
    return math.sqrt(viscosity(oil, temperature) / viscosity(oil, WARM))
