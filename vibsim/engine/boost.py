"""What a charging system gives an engine that draws a given flow, and what it takes from the crank for it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from vibsim.engine.charging.charge_air import Charge, charge_for
from vibsim.engine.charging.compressor import flag_words
from vibsim.engine.charging.driven import DrivenPoint, driven_point
from vibsim.engine.charging.electric import ElectricPoint, bus_limit, electric_point, motor_torque_limit
from vibsim.engine.charging.pack import ELECTRIC, ENGINE_DRIVEN, EXHAUST_TURBINE, Charger
from vibsim.engine.charging.turbine import OFF_CURVE
from vibsim.engine.charging.turbocharger import TurboPoint, turbo_point

LITTLE_BOOST = 1.0 + 1e-5  # over the inlet's pressure: below it the flap feeds the engine and the motor stands
BISECTIONS = 40
MET = 1.0 - 1e-4  # of the target


@dataclass(frozen=True)
class Drawn:
    """What the engine draws and puts out: crank `speed` rad/s, air and exhaust flow kg/s, exhaust temperature K and
    pressure Pa behind a turbine."""

    speed: float
    air_flow: float
    exhaust_flow: float
    exhaust_temperature: float
    outlet_pressure: float


@dataclass(frozen=True)
class Boost:
    """A steady point of a charging system.

    `pressure` Pa and `temperature` K of the charge; `back_pressure` Pa at the exhaust ports; `crank_torque` N m that it
    takes from the crank; `reached` whether the target is met, else `limited_by` says by what; `charge` None while an
    electric compressor stands; of the point itself the one that its source has.
    """

    pressure: float
    temperature: float
    back_pressure: float
    crank_torque: float
    target: float
    limited_by: str
    charge: Charge | None
    electric: ElectricPoint | None = None
    turbo: TurboPoint | None = None
    driven: DrivenPoint | None = None

    @property
    def reached(self) -> bool:
        return not self.limited_by

    @property
    def flags(self) -> list[str]:
        """Where the point lies outside the maps, in words; empty inside them."""
        words = flag_words(self.charge.flags) if self.charge else []
        if self.turbo and self.turbo.turbine_flags & OFF_CURVE:
            words.append("turbine beyond its efficiency curve")
        return words


def boost_at(target: float, drawn: Drawn, charger: Charger) -> Boost:
    """The steady point nearest to a target pressure (Pa), which is not passed but where the source can go no lower."""
    return {ELECTRIC: _electric, EXHAUST_TURBINE: _turbine, ENGINE_DRIVEN: _driven}[charger.kind](
        target, drawn, charger
    )


def _delivered(
    charge: Charge, back_pressure: float, target: float, limited_by: str, crank_torque: float = 0.0
) -> Boost:
    return Boost(charge.pressure, charge.temperature, back_pressure, crank_torque, target, limited_by, charge)


def _electric(target: float, drawn: Drawn, charger: Charger) -> Boost:
    """By the motor's limits at the coolant's temperature: the greatest pressure whose torque it can hold."""
    parts = charger.parts[0]
    air, motor, supply, winding = parts.air, parts.motor, parts.supply, parts.thermal.coolant
    power = bus_limit(drawn.speed, supply)

    def charge_to(pressure: float) -> tuple[Charge, float]:
        charge = charge_for(
            drawn.air_flow, pressure, air.ambient, air.inlet_temperature, charger.compressor, parts.cooler
        )
        return charge, charge.torque - motor_torque_limit(charge.speed, winding, winding, power, motor)

    if target <= LITTLE_BOOST * air.ambient:
        return Boost(air.ambient, air.inlet_temperature, drawn.outlet_pressure, 0.0, target, "", None)
    (charge, over), limited_by = charge_to(target), ""
    if over > 0.0:
        limited_by = _what_limits(charge, drawn.speed, charger)
        low, high = air.ambient * LITTLE_BOOST, target
        if charge_to(low)[1] > 0.0:  # it cannot even pass the flow: the flap feeds the engine
            limited_by = "compressor too small for the flow"
            return Boost(air.ambient, air.inlet_temperature, drawn.outlet_pressure, 0.0, target, limited_by, None)
        for _ in range(BISECTIONS):
            middle = 0.5 * (low + high)
            low, high = (low, middle) if charge_to(middle)[1] > 0.0 else (middle, high)
        charge = charge_to(low)[0]
    point = electric_point(charge.torque, charge.speed, winding, drawn.speed, motor, supply)
    found = _delivered(charge, drawn.outlet_pressure, target, limited_by, point.crank_torque)
    return replace(found, electric=point)


def _what_limits(charge: Charge, crank_speed: float, charger: Charger) -> str:
    motor, supply, cool = charger.parts[0].motor, charger.parts[0].supply, charger.parts[0].thermal.coolant
    if charge.speed >= 0.98 * motor.speed_limit:
        return "motor speed"
    free = motor_torque_limit(charge.speed, cool, cool, math.inf, motor)
    if free > motor_torque_limit(charge.speed, cool, cool, bus_limit(crank_speed, supply), motor) * (1.0 + 1e-9):
        return "electric supply"
    return "motor power" if charge.speed * motor.torque_limit > motor.power_limit else "motor torque"


def _turbine(target: float, drawn: Drawn, charger: Charger) -> Boost:
    parts = charger.parts[0]
    air = parts.air
    point = turbo_point(
        target,
        drawn.air_flow,
        drawn.exhaust_flow,
        drawn.exhaust_temperature,
        drawn.outlet_pressure,
        air.ambient,
        air.inlet_temperature,
        charger.compressor,
        parts.cooler,
        parts.turbine,
        charger.curve,
    )
    limited_by = "" if point.charge.pressure >= MET * target else "exhaust energy"
    charge = point.charge
    return replace(_delivered(charge, point.back_pressure, target, limited_by), turbo=point)


def _driven(target: float, drawn: Drawn, charger: Charger) -> Boost:
    parts = charger.parts[0]
    air = parts.air
    point = driven_point(
        drawn.speed,
        drawn.air_flow,
        max(target, air.ambient),
        air.ambient,
        air.inlet_temperature,
        charger.compressor,
        parts.cooler,
        parts.drive,
    )
    charge, limited_by = point.charge, "" if point.reached else "drive ratio"
    found = _delivered(charge, drawn.outlet_pressure, target, limited_by, point.crank_torque)
    return replace(found, driven=point)
