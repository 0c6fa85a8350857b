"""Filling and emptying of a volume: intake between compressor or throttle and valves, exhaust ahead of the turbine.

Adiabatic, perfectly mixed ideal gas of constant heat capacity (Watson & Janota 1982; Heywood 1988, ch. 14, from
memory). States are mass and temperature. From d(m·c_v·T) = Σ ṁ·c_p·T_donor follows

    m·dT/dt = γ·Σ ṁ·T_donor − T·Σ ṁ,    dp/dt = γ·R/V·Σ ṁ·T_donor.
"""

from __future__ import annotations

from vibsim.jit import inlined


@inlined
def plenum_pressure(mass, temperature, volume, gas_constant):
    """Pressure (Pa) of a mass (kg) at a temperature (K) in a volume (m³)."""
    return mass * gas_constant * temperature / volume


@inlined
def carried(flow, upstream_temperature, temperature):
    """Mass flow times the temperature of the gas it takes along (kg K/s): that upstream, or the plenum's when
    leaving."""
    return flow * (upstream_temperature if flow >= 0.0 else temperature)


@inlined
def plenum_rates(flow, heat_flow, mass, temperature, gamma):
    """Rates of mass (kg/s) and temperature (K/s) under the sum of flows into the plenum (kg/s, leaving negative) and
    the sum of their `carried` (kg K/s)."""
    return flow, (gamma * heat_flow - temperature * flow) / mass
