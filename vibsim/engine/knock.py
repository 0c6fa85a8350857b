"""Whether the end gas would ignite by itself: the ignition-delay integral of petrol, and the margin in octane numbers.

The correlation was fitted to one engine and one family of fuels: take the margin as good to about 5 octane numbers
(common practice, no source), and differences between two settings of one engine as better than that.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from vibsim.engine.cycle import Cycle, solve_at
from vibsim.engine.cycle_setup import Conditions, cycle_gas, fuel_of
from vibsim.engine.layout import ResolvedCylinder
from vibsim.inputs.models import Engine

UNBURNED_EXPONENT = 1.31  # isentropic, of warm mixture
LAST_TO_BURN = 0.85  # burned share past which too little is left to knock; common practice
OCTANE_POWER = 3.402
UNCERTAINTY = 5.0  # octane numbers; common practice
LATEST = math.radians(25.0)
CLOSE = math.radians(0.02)


def delay_integral(cycle: Cycle, octane: float) -> float:
    """∫ dt/τ over the end gas from intake closing to where 85 % has burned; 1 where it would ignite by itself.

    τ = 17.68 ms·(ON/100)^3.402·p^−1.7·exp(3800 K/T), p in atm (Douaud & Eyzat 1978, SAE 780080, as in Heywood 1988,
    eq. 9.61, from memory). The end gas is compressed without loss from its state at intake closing.
    """
    if cycle.burn is None:
        return 0.0
    angle, pressure = _closed_part(cycle)
    start = float(np.interp(angle[0], angle, pressure))
    temperature = cycle.trapped_temperature * (pressure / start) ** (1.0 - 1.0 / UNBURNED_EXPONENT)
    tau = 17.68e-3 * (octane / 100.0) ** OCTANE_POWER * (pressure / 101325.0) ** -1.7 * np.exp(3800.0 / temperature)
    return float(np.trapezoid(1.0 / tau, angle) / cycle.conditions.speed)


def _closed_part(cycle: Cycle) -> tuple[np.ndarray, np.ndarray]:
    """Angles (rad) and pressures from intake closing to the last of the end gas, top dead centre at 0."""
    assert cycle.burn is not None
    period = cycle.angle[-1]
    angle = np.where(cycle.angle[:-1] > 0.5 * period, cycle.angle[:-1] - period, cycle.angle[:-1])
    order = np.argsort(angle)
    table = cycle.burn.table()
    end = cycle.burn.start + cycle.burn.span * float(np.interp(LAST_TO_BURN, table, np.linspace(0.0, 1.0, len(table))))
    shut = cycle.intake_closes - period if cycle.intake_closes > 0.5 * period else cycle.intake_closes
    grid = np.linspace(shut, end, 400)
    return grid, np.interp(grid, angle[order], cycle.pressure[:-1][order])


def octane_of(engine: Engine) -> float:
    """Research octane number of what the engine burns."""
    gas = cycle_gas(engine)
    return gas.octane_number or fuel_of(gas).octane


def octane_margin(engine: Engine, cycle: Cycle) -> float:
    """Octane numbers to spare before knock, negative where there are too few (derived: the integral goes with
    ON^−3.402, so it needs ON·integral^(1/3.402))."""
    octane = octane_of(engine)
    return octane - octane * delay_integral(cycle, octane) ** (1.0 / OCTANE_POWER)


def knock_limited(engine: Engine, cylinder: ResolvedCylinder, at: Conditions, margin: float = 0.0) -> Cycle:
    """The cycle with its burn set late just as far as leaves a margin of octane numbers, at most 25° later than the
    case says; a fuel without an octane number is left as it is."""
    cycle = solve_at(engine, cylinder, at)
    if not octane_of(engine) or cycle.burn is None or octane_margin(engine, cycle) >= margin:
        return cycle
    low, high = 0.0, LATEST
    latest = _later(engine, cylinder, at, high)
    if octane_margin(engine, latest) < margin:
        return latest
    while high - low > CLOSE:
        middle = 0.5 * (low + high)
        if octane_margin(engine, _later(engine, cylinder, at, middle)) >= margin:
            high = middle
        else:
            low = middle
    return _later(engine, cylinder, at, high)


def _later(engine: Engine, cylinder: ResolvedCylinder, at: Conditions, late: float) -> Cycle:
    return solve_at(engine, cylinder, replace(at, late=late))
