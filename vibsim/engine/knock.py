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
from vibsim.engine.gas_tables import C_AIR, C_FUEL, C_PRODUCTS, COLDEST, NODES, R_PRODUCTS, STEP, GasTables
from vibsim.engine.layout import ResolvedCylinder
from vibsim.inputs.models import Engine

LAST_TO_BURN = 0.85  # burned share past which too little is left to knock; common practice
OCTANE_POWER = 3.402
UNCERTAINTY = 5.0  # octane numbers; common practice
LATEST = math.radians(25.0)
CLOSE = math.radians(0.02)
POINTS = 400

EndGas = tuple[np.ndarray, np.ndarray, np.ndarray]


def delay_integral(course: EndGas, speed: float, octane: float) -> float:
    """∫ dt/τ over the `course` of the end gas, angles (n) rad, pressures (n) Pa and temperatures (n) K, at a speed
    (rad/s); 1 where it would ignite by itself (Livengood & Wu 1955, from memory).

    τ = 17.68 ms·(ON/100)^3.402·p^−1.7·exp(3800 K/T), p in atm (Douaud & Eyzat 1978, SAE 780080, as in Heywood 1988,
    eq. 9.61, from memory).
    """
    angle, pressure, temperature = course
    tau = 17.68e-3 * (octane / 100.0) ** OCTANE_POWER * (pressure / 101325.0) ** -1.7 * np.exp(3800.0 / temperature)
    return float(np.trapezoid(1.0 / tau, angle) / speed)


def end_gas(cycle: Cycle) -> EndGas:
    """Angles (n) rad from valves shut to the last of the end gas, pressures (n) Pa and its temperatures (n) K,
    compressed without loss from the mean state at valves shut (derived: ∫ c_p dT/T = R·ln p)."""
    assert cycle.burn is not None
    period = float(cycle.angle[-1])
    table = cycle.burn.table()
    end = cycle.burn.start + cycle.burn.span * float(np.interp(LAST_TO_BURN, table, np.linspace(0.0, 1.0, len(table))))
    angle = np.linspace((cycle.valves_shut + 0.5 * period) % period - 0.5 * period, end, POINTS)
    pressure = np.interp(angle, cycle.angle, cycle.pressure, period=period)
    air, fuel = cycle.trapped_air / cycle.trapped_mass, cycle.trapped_fuel / cycle.trapped_mass
    shares = np.array([air, fuel, 1.0 - air - fuel])
    rise = np.log(pressure / pressure[0])
    return angle, pressure, isentropic_temperature(cycle.trapped_temperature, rise, shares, cycle.gas)


def isentropic_temperature(start: float, rise: np.ndarray, shares: np.ndarray, tables: GasTables) -> np.ndarray:
    """Temperatures (n) K at rises (n) of ln p of a mixture by mass shares (3) of air, fuel and burnt gas."""
    heat = np.log(COLDEST + STEP * np.arange(NODES))  # ln T of the tables' nodes
    constant = shares[0] * tables.r_air + shares[1] * tables.r_fuel + shares[2] * tables.table[:, R_PRODUCTS]
    power = 1.0 + tables.table[:, [C_AIR, C_FUEL, C_PRODUCTS]] @ shares / constant  # c_p/R
    entropy = np.concatenate([[0.0], np.cumsum(0.5 * (power[1:] + power[:-1]) * np.diff(heat))])
    return np.exp(np.interp(np.interp(math.log(start), heat, entropy) + rise, entropy, heat))


def octane_of(engine: Engine) -> float:
    """Research octane number of what the engine burns, 0 where it ignites by compression."""
    gas = cycle_gas(engine)
    return fuel_of(gas).octane if gas.octane_number is None else gas.octane_number


def octane_margin(engine: Engine, cycle: Cycle) -> float:
    """Octane numbers to spare before knock, negative where there are too few (derived: the integral goes with
    ON^−3.402, so it needs ON·integral^(1/3.402)); infinite where nothing can knock: no burn, or a spray's."""
    octane = octane_of(engine)
    if not octane or cycle.burn is None:
        return math.inf
    integral = delay_integral(end_gas(cycle), cycle.conditions.speed, octane)
    return octane - octane * integral ** (1.0 / OCTANE_POWER)


def knock_limited(engine: Engine, cylinder: ResolvedCylinder, at: Conditions, margin: float = 0.0) -> Cycle:
    """The cycle with its burn set late just as far as leaves a margin of octane numbers, at most 25° later than the
    case says; what cannot knock is left as it is."""
    cycle = solve_at(engine, cylinder, at)
    if octane_margin(engine, cycle) >= margin:
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
