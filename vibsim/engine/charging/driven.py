"""Engine-driven compressor: its speed follows the crank, a bypass valve holds the target, the crank pays."""

from __future__ import annotations

from typing import NamedTuple

from vibsim.engine.charging.charge_air import Charge, charge_at, delivered
from vibsim.jit import inlined, kernel


class Drive(NamedTuple):
    """Turns of the compressor per crank turn, mechanical efficiency, `inertia` at the compressor's shaft kg m²."""

    ratio: float
    mechanical_efficiency: float
    inertia: float


class DrivenPoint(NamedTuple):
    """`charge` the compressor makes, its flow in full; `bypass_flow` kg/s blown off behind it; `crank_torque` N m, the
    `crank_power` W it is, and the `drive_loss` W in that; `reached` whether the target pressure is met."""

    charge: Charge
    bypass_flow: float
    crank_torque: float
    crank_power: float
    drive_loss: float
    reached: bool


@inlined
def drive_torque(compressor_torque, drive):
    """Torque (N m) on the crank for one on the compressor's shaft."""
    return drive.ratio / drive.mechanical_efficiency * compressor_torque


@kernel
def driven_point(crank_speed, mass_flow, target, inlet_pressure, inlet_temperature, compressor, cooler, drive):
    """Compressor at a crank speed (rad/s) with the engine drawing a mass flow (kg/s) and a target intake pressure (Pa).

    Where it would go beyond the target the bypass blows off, so that it works at the target with more flow than the
    engine takes. Blown off to the surroundings: that air's work is lost and the inlet not heated.
    """
    speed = drive.ratio * crank_speed
    charge = charge_at(speed, mass_flow, inlet_pressure, inlet_temperature, compressor, cooler)
    reached = charge.pressure >= target
    if reached:
        charge = delivered(speed, target, inlet_pressure, inlet_temperature, compressor, cooler)
    torque = drive_torque(charge.torque, drive)
    power = torque * crank_speed
    return DrivenPoint(charge, charge.mass_flow - mass_flow, torque, power, power - charge.power, reached)
