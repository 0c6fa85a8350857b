"""Turbine and compressor on one shaft at steady speed."""

from __future__ import annotations

from typing import NamedTuple

from vibsim.engine.charging.charge_air import Charge, charge_at, charge_for
from vibsim.engine.charging.nozzle import back_pressure
from vibsim.engine.charging.turbine import match_turbine, rotor_rate, turbine_point
from vibsim.jit import inner, kernel

BISECTIONS = 60


class TurboPoint(NamedTuple):
    """Steady point of a turbocharger. `charge` as made; `back_pressure` Pa ahead of the turbine; flows through turbine
    and wastegate kg/s, the wastegate's effective area m²; `turbine_power` W and `shaft_loss` W in bearings and
    coupling; `outlet_temperature` K of both flows mixed; `turbine_flags` see `turbine`; `reached` whether the target
    is met, `held` whether the wastegate is large enough to hold it down to that."""

    charge: Charge
    back_pressure: float
    turbine_flow: float
    wastegate_flow: float
    wastegate_area: float
    turbine_power: float
    shaft_loss: float
    turbine_efficiency: float
    outlet_temperature: float
    turbine_flags: int
    reached: bool
    held: bool


@kernel
def free_speed(
    area, air_flow, exhaust_flow, temperature, outlet_pressure, inlet_pressure, inlet_temperature,
    compressor, cooler, turbine, curve,
):  # fmt: skip
    """Rotor speed (rad/s) at which the torques balance with an effective wastegate area (m²) open.

    Flows in kg/s, exhaust temperature K and pressure Pa behind the turbine, inlet Pa and K of the compressor. Turbine
    torque falls and compressor torque rises with speed, so there is one.
    """
    ahead = back_pressure(
        exhaust_flow, turbine.area + area, temperature, outlet_pressure, turbine.gamma, turbine.gas_constant
    )
    low, high = 0.0, compressor.reference_speed
    for _ in range(BISECTIONS):
        point = turbine_point(high, ahead, temperature, outlet_pressure, turbine, curve)
        charge = charge_at(high, air_flow, inlet_pressure, inlet_temperature, compressor, cooler)
        if rotor_rate(point.torque, charge.torque, high, turbine) <= 0.0:
            break
        low, high = high, 2.0 * high
    for _ in range(BISECTIONS):
        middle = 0.5 * (low + high)
        point = turbine_point(middle, ahead, temperature, outlet_pressure, turbine, curve)
        charge = charge_at(middle, air_flow, inlet_pressure, inlet_temperature, compressor, cooler)
        if rotor_rate(point.torque, charge.torque, middle, turbine) > 0.0:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


@inner
def _turbo_point(charge, ahead, area, exhaust_flow, temperature, outlet_pressure, turbine, curve, reached, held):
    point = turbine_point(charge.speed, ahead, temperature, outlet_pressure, turbine, curve)
    past = max(exhaust_flow - point.mass_flow, 0.0)
    mixed = temperature
    if exhaust_flow > 0.0:
        mixed = (point.mass_flow * point.temperature + past * temperature) / exhaust_flow
    return TurboPoint(
        charge,
        ahead,
        point.mass_flow,
        past,
        area,
        point.power,
        point.power - charge.power,
        point.efficiency,
        mixed,
        point.flags,
        reached,
        held,
    )


@kernel
def turbo_point(
    target, air_flow, exhaust_flow, temperature, outlet_pressure, inlet_pressure, inlet_temperature,
    compressor, cooler, turbine, curve,
):  # fmt: skip
    """Steady point (TurboPoint) with the wastegate set for a target intake pressure (Pa); arguments as `free_speed`.

    If the wastegate shut gives less, that point; if wide open it gives more, that one.
    """
    for area in (0.0, turbine.wastegate_area):
        shut = area == 0.0
        speed = free_speed(
            area, air_flow, exhaust_flow, temperature, outlet_pressure, inlet_pressure, inlet_temperature,
            compressor, cooler, turbine, curve,
        )  # fmt: skip
        charge = charge_at(speed, air_flow, inlet_pressure, inlet_temperature, compressor, cooler)
        if (shut and charge.pressure <= target) or (not shut and charge.pressure >= target):
            ahead = back_pressure(
                exhaust_flow, turbine.area + area, temperature, outlet_pressure, turbine.gamma, turbine.gas_constant
            )
            return _turbo_point(
                charge, ahead, area, exhaust_flow, temperature, outlet_pressure, turbine, curve, not shut, shut
            )
    charge = charge_for(air_flow, target, inlet_pressure, inlet_temperature, compressor, cooler)
    match = match_turbine(charge.power, charge.speed, exhaust_flow, temperature, outlet_pressure, turbine, curve)
    return _turbo_point(
        charge, match.pressure, match.wastegate_area, exhaust_flow, temperature, outlet_pressure, turbine, curve,
        True, True,
    )  # fmt: skip
