"""The butterfly ahead of the intake valves: area, opening, and the pressure behind it that its flow asks for."""

from __future__ import annotations

import math
from typing import NamedTuple

from vibsim.engine.charging.air import GAMMA, GAS_CONSTANT
from vibsim.engine.charging.nozzle import nozzle_flow, throttle_area
from vibsim.engine.layout import Layout
from vibsim.inputs.models import CycleGas, Throttle

USUAL_AREA_PER_VOLUME = 1.1  # m² of bore per m³ of swept volume: 60 m/s at 8000 rpm; common practice, no source
CRITICAL = (2.0 / (GAMMA + 1.0)) ** (GAMMA / (GAMMA - 1.0))
BISECTIONS = 60


class Butterfly(NamedTuple):
    """All throttles of an engine: how many, bore m, angle of the shut plate rad, discharge coefficient, effective leak
    area m² of each."""

    number: int
    diameter: float
    closed_angle: float
    discharge: float
    leak: float


def butterfly_of(gas: CycleGas, layout: Layout) -> Butterfly:
    """The case's throttle, or one of the usual size for this swept volume."""
    table = gas.throttle
    if table is None:
        diameter = math.sqrt(4.0 / math.pi * USUAL_AREA_PER_VOLUME * layout.swept_volume)
        table = Throttle(diameter=diameter)
    return Butterfly(table.count, table.diameter, table.closed_angle, table.discharge_coefficient, table.leak_area)


def opened_area(opening: float, butterfly: Butterfly) -> float:
    """Effective area (m²) of all throttles at an opening, 0 shut to 1 wide open."""
    _, diameter, closed, discharge, leak = butterfly
    return butterfly.number * float(throttle_area(opening, diameter, closed, discharge, leak))


def opening_of(area: float, butterfly: Butterfly) -> float:
    """Opening, 0 to 1, at which the throttles have an effective area (m²): `throttle_area` turned round."""
    bore = butterfly.discharge * 0.25 * math.pi * butterfly.diameter**2
    shut = math.cos(butterfly.closed_angle)
    cosine = shut * (1.0 - (area / butterfly.number - butterfly.leak) / bore)
    angle = math.acos(min(max(cosine, 0.0), shut))
    return (angle - butterfly.closed_angle) / (0.5 * math.pi - butterfly.closed_angle)


def throttle_flow(area: float, ahead: float, temperature: float, behind: float) -> float:
    """Mass flow (kg/s) of air through an effective area (m²) from a pressure (Pa) and temperature (K) ahead."""
    return float(nozzle_flow(area, ahead, temperature, behind, temperature, GAMMA, GAS_CONSTANT))


def area_for(mass_flow: float, ahead: float, temperature: float, behind: float) -> float:
    """Effective area (m²) that passes a mass flow (kg/s) between two pressures (Pa); infinite without a difference."""
    flux = throttle_flow(1.0, ahead, temperature, behind)
    return mass_flow / flux if flux > 0.0 else math.inf


def pressure_behind(mass_flow: float, area: float, ahead: float, temperature: float) -> float:
    """Pressure (Pa) behind an effective area (m²) that passes a mass flow (kg/s); the critical one if it chokes."""
    low, high = CRITICAL * ahead, ahead
    if throttle_flow(area, ahead, temperature, low) <= mass_flow:
        return low
    for _ in range(BISECTIONS):
        middle = 0.5 * (low + high)
        if throttle_flow(area, ahead, temperature, middle) > mass_flow:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)
