"""What the exhaust gas loses to the walls of its port on the way from the valve to the manifold."""

from __future__ import annotations

import math

DIAMETER, LENGTH = 0.4, 1.2  # of a port, in bores; common practice
PRANDTL = 0.7


def cooled_share(flow: float, temperature: float, capacity: float, bore: float) -> float:
    """Share of its excess over the wall's temperature that gas keeps through the port, 0 to 1.

    Mass flow kg/s, temperature K, heat capacity at constant pressure J/kg/K, bore m. Nu = 0.07·Re^(3/4) in intakes and
    exhausts (Depcik & Assanis 2002, SAE 2002-01-0372), along a pipe exp(−h·A/(ṁ·c_p)) (derived).
    """
    if flow <= 0.0:
        return 1.0
    diameter, length = DIAMETER * bore, LENGTH * bore
    viscosity = gas_viscosity(temperature)
    reynolds = 4.0 * flow / (math.pi * diameter * viscosity)
    conductivity = viscosity * capacity / PRANDTL
    coefficient = 0.07 * reynolds**0.75 * conductivity / diameter
    return math.exp(-coefficient * math.pi * diameter * length / (flow * capacity))


def gas_viscosity(temperature: float) -> float:
    """Pa·s, of air and exhaust gas: 3.3e-7·T^0.7 (Heywood 1988, eq. 4.51, from memory)."""
    return 3.3e-7 * temperature**0.7
