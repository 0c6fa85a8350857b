"""Friction and accessories for the NumPy right-hand side, derived apart from the solver's: power over crank speed."""

from __future__ import annotations

import numpy as np

from benchmarks.numpy_gas import between
from vibsim.engine.friction import STANDSTILL, peak_pressures
from vibsim.engine.layout import Layout
from vibsim.engine.packed_gas import Gas
from vibsim.inputs.friction_models import Accessory, Alternator, ChenFlynnFriction, OilPump, WaterPump
from vibsim.inputs.models import Engine


class Friction:
    """Friction torque against the rotation, warm oil: power over speed, the power a mean effective pressure swept.

    Chen and Flynn's mean effective pressure is taken cylinder by cylinder, its dry part turning with the speed.
    """

    def __init__(self, engine: Engine, layout: Layout, gas: Gas):
        self.given, self.speeds, self.peaks = engine.friction, gas.nodes.speeds, peak_pressures(gas)
        self.volume = np.array([cylinder.swept_volume for cylinder in layout.cylinders])
        self.travel = np.array([cylinder.swept_volume / cylinder.area for cylinder in layout.cylinders])
        self.swept, self.cycle = float(self.volume.sum()), layout.cycle

    def __call__(self, speed: float) -> float:
        given, sign = self.given, np.tanh(speed / STANDSTILL)
        if isinstance(given, ChenFlynnFriction):
            piston = 2.0 * self.travel * speed / (2.0 * np.pi)
            peak = between(speed, self.speeds, self.peaks)
            pressure = (given.A + given.B * peak) * sign + given.C * piston + given.D * piston * np.abs(piston)
            return given.cold_factor * float(pressure @ self.volume) / self.cycle
        pressure = given.mean_effective_pressure * sign + given.mean_effective_pressure_rise * speed
        torque = given.torque * sign + given.viscous * speed + pressure * self.swept / self.cycle
        return given.cold_factor * float(torque)


def accessory_torque(accessory: Accessory, speed: float) -> float:
    """Torque (N m) an accessory takes from the crank: power of its own shaft over crank speed."""
    ratio, sign = abs(accessory.ratio), np.tanh(speed / STANDSTILL)
    own = ratio * speed
    if isinstance(accessory, WaterPump):
        return accessory.rated_power * ratio * own * abs(own) / accessory.rated_speed**3
    if isinstance(accessory, OilPump):
        work_of_a_turn = accessory.relief_pressure * accessory.displacement / accessory.efficiency
        return ratio * work_of_a_turn / (2.0 * np.pi) * sign
    if isinstance(accessory, Alternator):
        ramp = float(np.interp(abs(own), np.array([1.0, 1.2]) * accessory.cut_in_speed, [0.0, 1.0]))
        most = np.inf if accessory.torque_limit is None else accessory.torque_limit
        torque = min(accessory.electrical_power / accessory.efficiency / abs(own), most)
        return ratio * ramp * torque * np.sign(speed)
    return ratio * accessory.torque * sign
