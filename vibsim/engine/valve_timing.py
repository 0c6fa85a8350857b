"""When and how far valves or ports are open, and the part of the cycle in between when all are shut."""

from __future__ import annotations

import math

from vibsim.engine.course import Valve
from vibsim.engine.layout import ResolvedCylinder
from vibsim.inputs.errors import InputError
from vibsim.inputs.models import CycleGas, Engine

VALVE_ANGLES = {  # intake opens, closes, exhaust opens, closes: degrees from firing top dead centre; common practice
    4: (350.0, 590.0, 130.0, 370.0),
    2: (120.0, 240.0, 95.0, 265.0),
}
FLOW_AREA_SHARE = {4: (0.15, 0.12), 2: (0.20, 0.25)}  # effective over bore area, intake and exhaust; common practice
# of the bore area: below it an engine hardly breathes even at idle, above it no valve or port has room
LEAST_SHARE, MOST_SHARE = 0.005, 1.0


def valve_angles(gas: CycleGas, strokes: int) -> tuple[float, float, float, float]:
    """Intake opens, closes, exhaust opens, closes, rad from firing top dead centre."""
    given = (gas.intake_opens, gas.intake_closes, gas.exhaust_opens, gas.exhaust_closes)
    usual = (math.radians(angle) for angle in VALVE_ANGLES[strokes])
    i_open, i_close, e_open, e_close = (a if a is not None else b for a, b in zip(given, usual, strict=True))
    return i_open, i_close, e_open, e_close


def valves_of(engine: Engine, gas: CycleGas, cylinder: ResolvedCylinder) -> tuple[Valve, Valve]:
    """Intake and exhaust of a cylinder. Raises InputError for one open for no time, or two thirds of the cycle, or with
    a flow area that leaves no engine or finds no room."""
    i_open, i_close, e_open, e_close = valve_angles(gas, engine.strokes)
    cycle = engine.strokes * math.pi
    for name, opens, closes in (("intake", i_open, i_close), ("exhaust", e_open, e_close)):
        if not 0.0 < (closes - opens) % cycle < 2.0 / 3.0 * cycle:
            raise InputError(
                f"engine.gas.{name}_opens_deg, {name}_closes_deg: got {math.degrees(opens):g} and "
                f"{math.degrees(closes):g} deg; must be open for more than 0 and less than two thirds of the cycle"
            )
    shares = FLOW_AREA_SHARE[engine.strokes]
    intake = gas.intake_flow_area or shares[0] * cylinder.area
    exhaust = gas.exhaust_flow_area or shares[1] * cylinder.area
    for name, area in (("intake", intake), ("exhaust", exhaust)):
        if not LEAST_SHARE * cylinder.area <= area <= MOST_SHARE * cylinder.area:
            allowed = f"{1e6 * LEAST_SHARE * cylinder.area:.3g} and {1e6 * MOST_SHARE * cylinder.area:.3g} mm2"
            raise InputError(
                f"engine.gas.{name}_flow_area: got {1e6 * area:.4g} mm2; must lie between {allowed}, "
                f"{100.0 * LEAST_SHARE:g} to {100.0 * MOST_SHARE:g} % of the bore's (usually 10 to 25 %)"
            )
    return Valve(i_open, i_close, intake), Valve(e_open, e_close, exhaust)
