"""Single-zone working cycle of one cylinder, repeated until it closes.

Air, fuel vapour and burnt gas with properties over temperature, heat release after Wiebe, wall heat after Woschni or
Hohenberg, compressible flow through both valves or ports. Blowdown is the flow through the opening exhaust valve.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from vibsim.engine.burn import POINTS as BURN_POINTS
from vibsim.engine.cycle_rates import (
    AIR_,
    BURNT_,
    COLUMNS,
    FUEL_,
    STATES,
    T_,
    fill_rates,
    gas_state,
    open_area,
    volume_of,
)
from vibsim.engine.flow import LINEAR
from vibsim.engine.gas_tables import GasTables
from vibsim.jit import inner, kernel

POINTS_PER_DEGREE = 1
CYCLE_TOLERANCE = 1e-6
MOST_CYCLES = 200
STIFFNESS = 2.0  # of a Runge–Kutta step, over which an open valve would level pressures: below the limit of 2.8
MOST_SUBSTEPS = 400
SLOPE = (2.0 / (1.0 - LINEAR)) ** 0.5  # of the flow over the pressure ratio near equal pressures (derived)


class Exhaust(NamedTuple):
    """What flows back from the exhaust: temperature K, gas constant and enthalpy J/kg, mass shares."""

    temperature: float
    constant: float
    enthalpy: float
    air: float
    fuel: float
    burnt: float


class CycleModel(NamedTuple):
    """One cylinder and its operating point, SI units, angles in rad from firing top dead centre.

    `fresh_fuel` share of fuel vapour in what flows in, `fresh_enthalpy` J/kg and `fresh_constant` its gas constant;
    `fuel_limit` kg of fuel a cycle for direct injection; `burnable` share of the fuel that burns; `burn_table` burned
    share over the burn; `port_mixing` kg over which
    returning and fresh charge mix in the intake port.
    """

    gas: GasTables
    exhaust: Exhaust
    burn_table: np.ndarray
    burn_start: float
    burn_span: float
    burnable: float
    direct: bool
    fuel_limit: float
    fresh_fuel: float
    fresh_enthalpy: float
    fresh_constant: float
    radius: float
    rod_length: float
    offset: float
    top_angle: float
    top: float
    bore: float
    area: float
    clearance: float
    swept: float
    cycle: float
    speed: float
    piston_speed: float
    wall_temperature: float
    wall_factor: float
    wall_law: int
    intake_pressure: float
    intake_temperature: float
    exhaust_pressure: float
    intake_opens: float
    intake_span: float
    exhaust_opens: float
    exhaust_span: float
    intake_area: float
    exhaust_area: float
    leak_area: float
    crankcase_pressure: float
    scavenging: float
    port_mixing: float


@inner
def _burned(angle, model):
    """Burned share at an angle."""
    past = angle - model.burn_start
    past -= math.floor(past / model.cycle) * model.cycle
    place = past / model.burn_span * (BURN_POINTS - 1)
    if place >= BURN_POINTS - 1:
        return 1.0
    node = int(place)
    low = model.burn_table[node]
    return low + (place - node) * (model.burn_table[node + 1] - low)


@inner
def _substeps(angle, h, y, model):
    """How many steps a grid step needs so that flow through open valves stays within the stable range."""
    middle = angle + 0.5 * h
    area = open_area(middle, model.intake_opens, model.intake_span, model.intake_area, model.cycle)
    area += open_area(middle, model.exhaust_opens, model.exhaust_span, model.exhaust_area, model.cycle)
    if area == 0.0:
        return 1
    volume = volume_of(middle, model)[0]
    speed_of_gas = math.sqrt(287.0 * max(y[T_], model.intake_temperature))
    rate = 1.4 * speed_of_gas * area / volume * SLOPE / model.speed
    return min(1 + int(rate * h / STIFFNESS), MOST_SUBSTEPS)


@inner
def _step(angle, h, y, burn_mass, shut, model, trial, k, sums):
    """One classical Runge–Kutta step over angle h; returns p and dp/dθ at its start. `trial` (8), k (5, 19) work."""
    begin, end = _burned(angle, model), _burned(angle + h, model)
    burn = burn_mass * max(end - begin, 0.0) / h if burn_mass > 0.0 else 0.0
    pressure = slope = 0.0
    for stage in range(4):
        share = 0.0 if stage == 0 else (h if stage == 3 else 0.5 * h)
        last = max(stage - 1, 0)
        for c in range(STATES):
            trial[c] = y[c] + share * k[last, c] if stage > 0 else y[c]
        found = fill_rates(angle + share, trial, burn, shut, model, k, stage)
        if stage == 0:
            pressure, slope = found
    for c in range(COLUMNS):
        rise = h / 6.0 * (k[0, c] + 2.0 * k[1, c] + 2.0 * k[2, c] + k[3, c])
        if c < STATES:
            y[c] += rise
        else:
            sums[c] += rise
    return pressure, slope


@inner
def _one_cycle(model, first, points, y, out, sums, trial, k):
    """One cycle from grid point `first` on, filling out and sums; false when the gas left the tables' range."""
    h = model.cycle / points
    begin = first * h
    volume = volume_of(begin, model)[0]
    pressure = gas_state(y[T_], y[AIR_], y[FUEL_], y[BURNT_], volume, model.gas)[0]
    shut = (pressure, volume, y[T_])
    fuel = model.fuel_limit if model.direct else y[FUEL_]
    burn_mass = model.burnable * min(fuel, y[AIR_] / model.gas.air_per_fuel)
    for n in range(points):
        node = (first + n) % points
        out[node, 2], out[node, 3], out[node, 4] = y[T_], y[AIR_] + y[FUEL_] + y[BURNT_], y[BURNT_]
        angle = node * h
        count = _substeps(angle, h, y, model)
        for j in range(count):
            pressure, slope = _step(angle + j * h / count, h / count, y, burn_mass, shut, model, trial, k, sums)
            if j == 0:
                out[node, 0], out[node, 1] = pressure, slope
            if not (150.0 < y[T_] < 5000.0 and y[AIR_] + y[FUEL_] + y[BURNT_] > 0.0):
                return False
    return True


@kernel
def run_cycles(model, first, points, count, tolerance, y, out, sums, trial, k):
    """Repeat the cycle until it closes, at most `count` times; returns how many it took, −1 out of range, 0 not yet.

    Begins at grid point `first`. Fills out (points, 5) with p, dp/dθ, T, mass and burnt mass, and sums (19) with those
    of the last cycle; y (8) is the state, trial (8) and k (4, 19) work space.
    """
    for cycle in range(count):
        temperature, air, fuel, burnt = y[T_], y[AIR_], y[FUEL_], y[BURNT_]
        sums[:] = 0.0
        if not _one_cycle(model, first, points, y, out, sums, trial, k):
            return -1
        mass = air + fuel + burnt
        change = abs(y[T_] / temperature - 1.0)
        change += (abs(y[AIR_] - air) + abs(y[FUEL_] - fuel) + abs(y[BURNT_] - burnt)) / mass
        if change < tolerance:
            return cycle + 1
    return 0
