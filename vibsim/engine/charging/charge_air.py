"""The charge's way from compressor through intercooler into the intake."""

from __future__ import annotations

from typing import NamedTuple

from vibsim.engine.charging.air import GAMMA, GAS_CONSTANT
from vibsim.engine.charging.compressor import compressor_flow, compressor_ratio, compressor_speed
from vibsim.engine.charging.intercooler import cooled_temperature, cooler_loss
from vibsim.engine.charging.nozzle import nozzle_flow
from vibsim.jit import inlined, inner, kernel

ITERATIONS = 60
CLOSE = 1e-11  # of the pressure


class Charge(NamedTuple):
    """Air on its way into the intake: `speed` of the rotor rad/s, `mass_flow` kg/s, `pressure` Pa, `temperature` K and
    `density` kg/m³ where it arrives; of the compressor its pressure `ratio`, outlet temperature K, `power` W, `torque`
    N m, isentropic `efficiency`, `surge_margin` and `flags` (see `compressor`); `cooler_heat` W taken out."""

    speed: float
    mass_flow: float
    pressure: float
    temperature: float
    density: float
    ratio: float
    compressor_temperature: float
    power: float
    torque: float
    efficiency: float
    surge_margin: float
    cooler_heat: float
    flags: int


@inner
def _charge(speed, point, pressure, cooler):
    temperature = cooled_temperature(point.temperature, cooler)
    heat_capacity = GAMMA / (GAMMA - 1.0) * GAS_CONSTANT
    return Charge(
        speed,
        point.mass_flow,
        pressure,
        temperature,
        pressure / (GAS_CONSTANT * temperature),
        point.ratio,
        point.temperature,
        point.power,
        point.torque,
        point.efficiency,
        point.surge_margin,
        point.mass_flow * heat_capacity * (point.temperature - temperature),
        point.flags,
    )


@inner
def _loss(point, inlet_pressure, cooler):
    density = point.ratio * inlet_pressure / (GAS_CONSTANT * point.temperature)
    return cooler_loss(point.mass_flow, density, cooler)


@kernel
def delivered(speed, pressure, inlet_pressure, inlet_temperature, compressor, cooler):
    """Charge at a rotor speed (rad/s) into an intake at a pressure (Pa), from an inlet (Pa, K): for the rates of a run.

    The pressure behind the compressor, above the intake's by the intercooler's loss, is found by regula falsi
    (Illinois): flow, and so the loss, falls with it.
    """
    low = pressure
    point = compressor_flow(speed, low / inlet_pressure, inlet_pressure, inlet_temperature, compressor)
    below = -_loss(point, inlet_pressure, cooler)
    if below >= -CLOSE * pressure:
        return _charge(speed, point, pressure, cooler)
    high = pressure - below
    point = compressor_flow(speed, high / inlet_pressure, inlet_pressure, inlet_temperature, compressor)
    above = high - pressure - _loss(point, inlet_pressure, cooler)
    last = 0
    if above <= CLOSE * pressure:
        return _charge(speed, point, pressure, cooler)
    for _ in range(ITERATIONS):
        middle = (low * above - high * below) / (above - below)
        trial = compressor_flow(speed, middle / inlet_pressure, inlet_pressure, inlet_temperature, compressor)
        miss = middle - pressure - _loss(trial, inlet_pressure, cooler)
        if miss < 0.0:
            low, below = middle, miss
            above = 0.5 * above if last < 0 else above
            last = -1
        else:
            high, above, point = middle, miss, trial
            below = 0.5 * below if last > 0 else below
            last = 1
        if abs(miss) <= CLOSE * pressure or high - low <= CLOSE * pressure:
            point = trial
            break
    return _charge(speed, point, pressure, cooler)


@kernel
def charge_for(mass_flow, pressure, inlet_pressure, inlet_temperature, compressor, cooler):
    """Charge, with the rotor speed it takes, for a mass flow (kg/s) into an intake at a pressure (Pa): steady running.

    The intake must be at or above the inlet pressure. The intercooler's loss and the compressor's outlet temperature
    are found in turn.
    """
    behind = pressure
    speed = compressor_speed(mass_flow, behind / inlet_pressure, inlet_pressure, inlet_temperature, compressor)
    point = compressor_flow(speed, behind / inlet_pressure, inlet_pressure, inlet_temperature, compressor)
    for _ in range(ITERATIONS):
        density = behind / (GAS_CONSTANT * point.temperature)
        last, behind = behind, pressure + cooler_loss(mass_flow, density, cooler)
        if abs(behind - last) <= CLOSE * pressure:
            break
        speed = compressor_speed(mass_flow, behind / inlet_pressure, inlet_pressure, inlet_temperature, compressor)
        point = compressor_flow(speed, behind / inlet_pressure, inlet_pressure, inlet_temperature, compressor)
    return _charge(speed, point, pressure, cooler)


@kernel
def charge_at(speed, mass_flow, inlet_pressure, inlet_temperature, compressor, cooler):
    """Charge that a rotor speed (rad/s) makes of a mass flow (kg/s): its pressure is what the compressor reaches less
    the intercooler's loss."""
    point = compressor_ratio(speed, mass_flow, inlet_pressure, inlet_temperature, compressor)
    pressure = point.ratio * inlet_pressure - _loss(point, inlet_pressure, cooler)
    return _charge(speed, point, pressure, cooler)


@inlined
def flap_flow(area, inlet_pressure, inlet_temperature, pressure):
    """Mass flow (kg/s) through the flap around the compressor (effective area m²): open towards the intake alone."""
    flow = nozzle_flow(area, inlet_pressure, inlet_temperature, pressure, inlet_temperature, GAMMA, GAS_CONSTANT)
    return max(flow, 0.0)
