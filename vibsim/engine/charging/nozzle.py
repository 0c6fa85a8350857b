"""Flow through openings: throttle, bypass flap, wastegate, turbine nozzle."""

from __future__ import annotations

import math

from vibsim.engine.flow import flow_factor
from vibsim.jit import inlined, kernel

BISECTIONS = 60


@inlined
def nozzle_flow(area, pressure, temperature, outlet_pressure, outlet_temperature, gamma, gas_constant):
    """Mass flow (kg/s) through an effective area (m²) from a pressure (Pa) and temperature (K) to those beyond it.

    Negative when gas flows back. One-dimensional, isentropic, choked below the critical ratio (Heywood 1988, app. C,
    from memory).
    """
    if pressure >= outlet_pressure:
        speed = math.sqrt(gas_constant * temperature)
        return area * pressure / speed * flow_factor(outlet_pressure / pressure, gamma)
    speed = math.sqrt(gas_constant * outlet_temperature)
    return -area * outlet_pressure / speed * flow_factor(pressure / outlet_pressure, gamma)


@kernel
def back_pressure(mass_flow, area, temperature, outlet_pressure, gamma, gas_constant):
    """Pressure (Pa) that drives a mass flow (kg/s, 0 or more) at a temperature (K) through an effective area (m²)."""
    low, high = outlet_pressure, 2.0 * outlet_pressure
    while nozzle_flow(area, high, temperature, outlet_pressure, temperature, gamma, gas_constant) < mass_flow:
        low, high = high, 2.0 * high
    for _ in range(BISECTIONS):
        middle = 0.5 * (low + high)
        if nozzle_flow(area, middle, temperature, outlet_pressure, temperature, gamma, gas_constant) < mass_flow:
            low = middle
        else:
            high = middle
    return high


@inlined
def throttle_area(opening, diameter, closed_angle, discharge, leak):
    """Effective area (m²) of a butterfly in a bore (m): opening 0 (closed, plate at `closed_angle` rad from square) to
    1 (plate along the flow), discharge coefficient, effective `leak` area (m²).

    A = C_d·π/4·D²·(1 − cos ψ/cos ψ₀), shaft neglected (Heywood 1988, ch. 7, from memory).
    """
    angle = closed_angle + opening * (0.5 * math.pi - closed_angle)
    bore = 0.25 * math.pi * diameter * diameter
    return leak + discharge * bore * (1.0 - math.cos(angle) / math.cos(closed_angle))
