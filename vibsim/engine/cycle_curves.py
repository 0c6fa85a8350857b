"""What a working cycle goes through, finely over crank angle: state, heat released, heat to the walls, when how much
has burned."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vibsim.engine.course import course_at
from vibsim.engine.cycle import Cycle
from vibsim.engine.cycle_setup import cycle_model
from vibsim.engine.layout import ResolvedCylinder
from vibsim.engine.volume import cylinder_volume
from vibsim.engine.wall_heat import wall_loss
from vibsim.inputs.models import Engine
from vibsim.jit import kernel

STEP = math.radians(0.5)


@dataclass(frozen=True, eq=False)
class Curves:
    """Over angle (n) rad from half a cycle before firing top dead centre to half a cycle after, both ends in: volume
    m³, pressure Pa, temperature K, burned share of what burns, heat released and heat to the walls, J/rad."""

    angle: np.ndarray
    volume: np.ndarray
    pressure: np.ndarray
    temperature: np.ndarray
    burned: np.ndarray
    heat_rate: np.ndarray
    wall_rate: np.ndarray


def cycle_curves(engine: Engine, cylinder: ResolvedCylinder, cycle: Cycle) -> Curves:
    """Curves of a cylinder's cycle every half degree: pressures on the cubics between the nodes of the cycle, Σ m·R
    straight between them."""
    from scipy.interpolate import CubicHermiteSpline

    period = float(cycle.angle[-1])
    angle = np.linspace(-0.5 * period, 0.5 * period, round(period / STEP) + 1)
    place, volume = angle % period, cylinder_volume(cylinder, angle)[0]
    pressure = CubicHermiteSpline(cycle.angle, cycle.pressure, cycle.pressure_slope)(place)
    constant = cycle.pressure * cylinder_volume(cylinder, cycle.angle)[0] / cycle.temperature
    temperature = pressure * volume / np.interp(place, cycle.angle, constant)
    burned, pace = _burn_course(cycle, angle)
    first = round(cycle.valves_shut / float(cycle.angle[1]))
    shut = (cycle.pressure[first], cylinder_volume(cylinder, cycle.angle[first : first + 1])[0][0])
    start = 0.0 if cycle.burn is None else cycle.burn.start
    model = cycle_model(engine, cylinder, cycle.conditions)._replace(burn_start=start)
    walls = np.zeros(len(angle))
    if model.wall_factor > 0.0:
        _wall_rates(place, pressure, temperature, (*shut, cycle.temperature[first]), model, walls)
    return Curves(angle, volume, pressure, temperature, burned, cycle.heat_released * pace, walls)


def _burn_course(cycle: Cycle, angle: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Burned share (n) and its slope (n) per rad."""
    if cycle.burn is None:
        return np.zeros(len(angle)), np.zeros(len(angle))
    table = cycle.burn.table()
    share, past = np.linspace(0.0, 1.0, len(table)), (angle - cycle.burn.start) / cycle.burn.span
    slope = np.interp(past, share, np.gradient(table, share), left=0.0, right=0.0) / cycle.burn.span
    return np.interp(past, share, table), slope


@kernel
def _wall_rates(angle, pressure, temperature, shut, model, rates):
    """Heat to the walls, J/rad, into rates (n), at angles (n) of one cycle; the other words as in `woschni_speed`."""
    for n in range(len(angle)):
        cell = min(int(angle[n] / model.step), model.course.shape[0] - 1)
        volume, _, intake, exhaust = course_at(cell, angle[n] / model.step - cell, model)
        still = intake == 0.0 and exhaust == 0.0
        hot = (angle[n] - model.burn_start) % model.cycle < math.pi
        rates[n] = wall_loss(pressure[n], temperature[n], volume, shut, still, hot, model) / model.speed


def burned_angle(cycle: Cycle, share: float) -> float | None:
    """Where a share of what burns has burned, rad from firing top dead centre; None where nothing burns."""
    if cycle.burn is None:
        return None
    table = cycle.burn.table()
    return cycle.burn.start + cycle.burn.span * float(np.interp(share, table, np.linspace(0.0, 1.0, len(table))))
