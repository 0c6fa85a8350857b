"""Engine oil's viscosity against temperature, and what cold oil does to friction.

Constants of Vogel's equation ν = k·exp(θ₁/(T + θ₂)): Sandoval, "An improved friction model for spark ignition engines",
thesis, MIT 2002, appendix A.2 (read in a copy that quotes it; the basis of Sandoval and Heywood, SAE 2003-01-0725).
"""

from __future__ import annotations

import math

ICE_POINT = 273.15  # K
WARM = 363.15  # K: the temperature of fully warm oil at which friction is given (Sandoval 2002, section 3.2)
DENSITY, CONDUCTIVITY = 870.0, 0.14  # kg/m³, W/m/K: of mineral oil, from memory
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


def thickening(oil: str, temperature: float, sliding: float = 0.0) -> float:
    """Factor of hydrodynamic friction over that of warm oil at a mean piston speed (m/s): √(ν/ν_warm) (Sandoval 2002,
    eq. 3), each viscosity times what is left of it in a film that shearing warms.

    At no speed it is that of the oil's bulk alone. The small change of density and the ratio of high to low shear
    viscosity of one oil are left out.
    """
    cold, warm = (viscosity(oil, at) * film_share(oil, at, sliding) for at in (temperature, WARM))
    return math.sqrt(cold / warm)


def film_share(oil: str, temperature: float, sliding: float) -> float:
    """Share of the bulk's viscosity that a film between walls at a temperature (K) keeps at a sliding speed U (m/s).

    Derived: plane Couette flow with μ·exp(−β·ΔT), heat conducted to both walls, has the stress
    asinh(x)/(x·√(1 + x²)) of that without warming, x² = β·μ·U²/(8·k), whatever the film's thickness; β = θ₁/(T + θ₂)²
    from Vogel's equation.
    """
    _, first, second = VOGEL[oil]
    steepness = first / (temperature - ICE_POINT + second) ** 2
    x = math.sqrt(steepness * DENSITY * viscosity(oil, temperature) * sliding**2 / (8.0 * CONDUCTIVITY))
    return math.asinh(x) / (x * math.sqrt(1.0 + x * x)) if x > 1e-6 else 1.0
