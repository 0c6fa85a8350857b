"""Intercooler: effectiveness and pressure loss."""

from __future__ import annotations

from typing import NamedTuple

from vibsim.jit import inlined


class Intercooler(NamedTuple):
    """`effectiveness`, `coolant` temperature K, `loss` = pressure loss·density/flow² (Pa·kg/m³/(kg/s)²)."""

    effectiveness: float
    coolant: float
    loss: float


NO_INTERCOOLER = Intercooler(0.0, 300.0, 0.0)


def rated_loss(pressure_loss: float, mass_flow: float, density: float) -> float:
    """Loss coefficient from a rated pressure loss (Pa), mass flow (kg/s) and density at the inlet (kg/m³)."""
    return pressure_loss * density / mass_flow**2


@inlined
def cooled_temperature(temperature, cooler):
    """Outlet temperature (K): T − ε·(T − T_coolant) (Heywood 1988, ch. 6; Watson & Janota 1982, from memory)."""
    return temperature - cooler.effectiveness * (temperature - cooler.coolant)


@inlined
def cooler_loss(mass_flow, density, cooler):
    """Pressure loss (Pa) of a mass flow (kg/s) entering at a density (kg/m³): ∝ ṁ²/ρ, turbulent (derived)."""
    return cooler.loss * mass_flow * mass_flow / density
