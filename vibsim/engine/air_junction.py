"""Between compressor and throttle: the pressure at which as much air comes as goes on, found anew at every moment."""

from __future__ import annotations

import math
from typing import NamedTuple

from vibsim.engine.charging.air import GAMMA, GAS_CONSTANT
from vibsim.engine.charging.charge_air import delivered, flap_flow
from vibsim.engine.charging.compressor import compressor_flow, compressor_ratio
from vibsim.engine.charging.intercooler import cooled_temperature, cooler_loss
from vibsim.engine.charging.nozzle import nozzle_flow, throttle_area
from vibsim.engine.charging.pack import ENGINE_DRIVEN, NONE
from vibsim.jit import apart, inlined, inner

ITERATIONS = 60
CLOSE = 1e-12  # of the square root of a pressure


class Command(NamedTuple):
    """What is asked for: throttle opening, 0 to 1, and the pressure (Pa) that the boost control holds ahead of the
    throttle, the surroundings' or less for none."""

    opening: float
    pressure: float


class Joint(NamedTuple):
    """Ahead of the throttle: pressure Pa and temperature K; flows kg/s through the throttle, the compressor, the flap
    around it, and blown off; of the compressor its pressure `ratio`, outlet temperature K, power W, torque N m on its
    shaft, and flags; `cooler_heat` W."""

    pressure: float
    temperature: float
    flow: float
    compressor_flow: float
    flap_flow: float
    blow_off: float
    ratio: float
    compressor_temperature: float
    power: float
    torque: float
    flags: int
    cooler_heat: float


@inlined
def _opened_area(opening, butterfly):
    b = butterfly
    return b.number * throttle_area(opening, b.diameter, b.closed_angle, b.discharge, b.leak)


@inlined
def _through(area, pressure, temperature, behind, behind_temperature):
    return nozzle_flow(area, pressure, temperature, behind, behind_temperature, GAMMA, GAS_CONSTANT)


@inner
def _cooler(point, path):
    """Pressure (Pa) and temperature (K) behind the intercooler."""
    cooler, behind = path.charger.parts[0].cooler, point.ratio * path.ambient
    loss = cooler_loss(point.mass_flow, behind / (GAS_CONSTANT * point.temperature), cooler)
    return behind - loss, cooled_temperature(point.temperature, cooler)


@apart
def _surplus(root, speed, area, intake, intake_temperature, path):
    """What comes less what the throttle passes (kg/s), with the pressure behind the compressor root² above the
    intake's; compressor, flap's flow, pressure and temperature ahead of the throttle and its flow."""
    behind = intake + root * root
    point = compressor_flow(speed, behind / path.ambient, path.ambient, path.inlet_temperature, path.charger.compressor)
    pressure, temperature = _cooler(point, path)
    flap = flap_flow(path.charger.parts[0].air.bypass_area, path.ambient, path.inlet_temperature, pressure)
    brought = point.mass_flow + flap
    mixed = path.inlet_temperature
    if brought > 0.0:
        mixed = (point.mass_flow * temperature + flap * path.inlet_temperature) / brought
    flow = _through(area, pressure, mixed, intake, intake_temperature)
    return brought - flow, point, flap, pressure, mixed, flow


@inner
def _joint(pressure, mixed, flow, point, flap, blow_off, path):
    cooled = cooled_temperature(point.temperature, path.charger.parts[0].cooler)
    heat = GAMMA / (GAMMA - 1.0) * GAS_CONSTANT * point.mass_flow * (point.temperature - cooled)
    return Joint(
        pressure,
        mixed,
        flow,
        point.mass_flow,
        flap,
        blow_off,
        point.ratio,
        point.temperature,
        point.power,
        point.torque,
        point.flags,
        heat,
    )


@apart
def _balanced(speed, area, intake, intake_temperature, path):
    """The joint at which the surplus is nothing, by regula falsi (Anderson & Björck 1973) in the square root of the
    pressure above the intake's, in which the throttle's flow is nearly straight."""
    shut = compressor_ratio(speed, 0.0, path.ambient, path.inlet_temperature, path.charger.compressor).ratio
    low, high = 0.0, math.sqrt(max(max(shut, 1.0) * path.ambient - intake, 0.0))
    below = _surplus(low, speed, area, intake, intake_temperature, path)
    above = _surplus(high, speed, area, intake, intake_temperature, path)
    found, f_low, f_high, scale = above, below[0], above[0], CLOSE * math.sqrt(intake)
    if f_low <= 0.0:
        found, f_high = below, 0.0
    last = 0
    for _ in range(ITERATIONS):
        if f_high >= 0.0 or high - low <= scale:
            break
        root = (low * f_high - high * f_low) / (f_high - f_low)
        if not low < root < high:
            break
        found = _surplus(root, speed, area, intake, intake_temperature, path)
        miss = found[0]
        if abs(miss) <= CLOSE * found[5]:
            break
        if miss > 0.0:
            keep = 1.0 - miss / f_low
            if last > 0:
                f_high *= keep if keep > 0.0 else 0.5
            low, f_low, last = root, miss, 1
        else:
            keep = 1.0 - miss / f_high
            if last < 0:
                f_low *= keep if keep > 0.0 else 0.5
            high, f_high, last = root, miss, -1
    _, point, flap, pressure, mixed, flow = found
    return _joint(pressure, mixed, flow, point, flap, 0.0, path)


@apart
def joint_behind(speed, opening, intake, intake_temperature, path):
    """The joint (Joint) at a rotor speed (rad/s) and throttle opening, with intake pressure (Pa) and temperature (K).

    A compressor driven by the crank blows off to the surroundings what goes beyond the pressure asked for. One at rest
    is a resistance. Where the intake has the higher pressure nothing flows back through a compressor.
    """
    area = _opened_area(opening, path.butterfly)
    if path.charger.kind == NONE:
        flow = _through(area, path.ambient, path.inlet_temperature, intake, intake_temperature)
        return Joint(
            path.ambient, path.inlet_temperature, flow, 0.0, 0.0, 0.0, 1.0, path.inlet_temperature, 0.0, 0.0, 0, 0.0
        )
    if path.charger.kind == ENGINE_DRIVEN:
        held, parts = max(path.command.pressure, path.ambient), path.charger.parts[0]
        compressor = path.charger.compressor
        charge = delivered(speed, held, path.ambient, path.inlet_temperature, compressor, parts.cooler)
        flow = _through(area, held, charge.temperature, intake, intake_temperature)
        if charge.mass_flow >= flow:
            return Joint(
                held,
                charge.temperature,
                flow,
                charge.mass_flow,
                0.0,
                charge.mass_flow - flow,
                charge.ratio,
                charge.compressor_temperature,
                charge.power,
                charge.torque,
                charge.flags,
                charge.cooler_heat,
            )
    return _balanced(speed, area, intake, intake_temperature, path)
