"""Single-zone working cycle of one cylinder, one turn through it.

Air, fuel vapour and burnt gas with properties over temperature, heat release after Wiebe, wall heat after Woschni or
Hohenberg, compressible flow through both valves or ports. Blowdown is the flow through the opening exhaust valve.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from vibsim.engine.burn import POINTS as BURN_POINTS
from vibsim.engine.cycle_rates import AIR_, BURNT_, FUEL_, STATES, T_, fill_rates, gas_state
from vibsim.engine.flow import STEEPEST
from vibsim.engine.gas_tables import GasTables
from vibsim.jit import inner, kernel

STIFFNESS = 1.9  # of a Runge–Kutta step, over which an open valve would level pressures: below the limit of 2.5
CHOKED = 0.75  # the flow factor where its slope is least, with a margin
USUAL_SUBSTEPS, MOST_SUBSTEPS = 10, 400
BURNING_SUBSTEPS, SUBSTEPS_TO_BURN = 2, 30  # in a cell where it burns, and for all the fuel: at least
COLDEST, HOTTEST = 150.0, 5000.0  # K


class Spent(NamedTuple):
    """Mass shares of the gas in the cylinder when the exhaust opens."""

    air: float
    fuel: float
    burnt: float


class Exhaust(NamedTuple):
    """What flows back from the exhaust: temperature K, gas constant J/kg/K, γ, enthalpy J/kg, mass shares."""

    temperature: float
    constant: float
    gamma: float
    enthalpy: float
    air: float
    fuel: float
    burnt: float


class CycleModel(NamedTuple):
    """One cylinder and its operating point, SI units, angles in rad from firing top dead centre.

    `course` of volume and areas over cells of `step` rad, `first` that begins with the valves shut, `blowdown` in which
    the exhaust opens; `burnable` share of the fuel that burns, over the `burn_table`; `injected` kg of fuel a cycle;
    `fresh_fuel` share of fuel vapour in what flows in, with its enthalpy (J/kg), R·T (J/kg) and γ; `port_mixing` kg
    over which returning and fresh charge mix in the intake port; `bore_factor` the bore to the power of −0.2;
    `port_factor` times the coefficient of heat loss in the exhaust port.
    """

    gas: GasTables
    exhaust: Exhaust
    spent: Spent
    burn_table: np.ndarray
    burn_start: float
    burn_span: float
    burnable: float
    injected: float
    fresh_fuel: float
    fresh_enthalpy: float
    fresh_rt: float
    fresh_gamma: float
    course: np.ndarray
    first: int
    blowdown: int
    step: float
    cycle: float
    speed: float
    piston_speed: float
    bore: float
    bore_factor: float
    area: float
    swept: float
    wall_temperature: float
    wall_factor: float
    wall_law: int
    port_factor: float
    intake_pressure: float
    intake_temperature: float
    exhaust_pressure: float
    leak_area: float
    crankcase_pressure: float
    scavenging: float
    port_mixing: float


@inner
def _burned(past, model):
    """Burned share at an angle past the start of the burn."""
    place = past / model.burn_span * (BURN_POINTS - 1)
    if place >= BURN_POINTS - 1:
        return 1.0
    node = int(place)
    low = model.burn_table[node]
    return low + (place - node) * (model.burn_table[node + 1] - low)


@inner
def _burning_share(angle, h, model):
    """Share that burns over a step h."""
    past = (angle - model.burn_start) % model.cycle
    share = _burned(past + h, model) - _burned(past, model)
    if past + h > model.cycle:
        share += _burned(past + h - model.cycle, model)
    return share


@inner
def _pace(cell, y, model):
    """Whether a valve is open in a cell; how many steps it needs so that flow stays within the stable range, and how
    steep the flow may be for that near equal pressures: more steps there would only tell how fast they level."""
    c, after = model.course, (cell + 1) % model.course.shape[0]
    area = max(c[cell, 4] + c[cell, 8], c[after, 4] + c[after, 8])
    if area <= 0.0:
        return False, 1, STEEPEST
    speed_of_gas = math.sqrt(287.0 * max(y[T_], model.intake_temperature))
    rate = 1.4 * speed_of_gas * area * model.step / (c[cell, 0] * model.speed * STIFFNESS)
    count = max(min(math.ceil(rate * STEEPEST), USUAL_SUBSTEPS), math.ceil(rate * CHOKED))
    return True, min(count, MOST_SUBSTEPS), min(count / rate, STEEPEST)


@inner
def _feed(angle, h, flowing, y, burn_mass, model):
    """Fuel burning and injected per rad over a step h; what has left the cylinder cannot burn, nor quite all while gas
    is flowing out."""
    if burn_mass <= 0.0 and model.injected <= 0.0:
        return 0.0, 0.0
    share, most = _burning_share(angle, h, model) / h, (0.9 if flowing or model.leak_area > 0.0 else 1.0) / h
    inject = share * model.injected
    there = min(inject + most * y[FUEL_], most * y[AIR_] / model.gas.air_per_fuel)
    return max(min(share * burn_mass, there), 0.0), inject


@inner
def _step(cell, begin, part, y, feed, shut, model, trial, k, sums):
    """One Runge–Kutta step of third order (Bogacki & Shampine 1989, from memory) over a part of a cell from a share of
    it; returns p and dp/dθ at its start. `trial` (9), k (3, 9) work."""
    h = part * model.step
    pressure = slope = 0.0
    for c in range(STATES):
        trial[c] = y[c]
    for stage in range(3):
        ahead = 0.0 if stage == 0 else (0.5 if stage == 1 else 0.75)
        weight = 2.0 / 9.0 if stage == 0 else (1.0 / 3.0 if stage == 1 else 4.0 / 9.0)
        found = fill_rates(cell, begin + ahead * part, trial, feed, shut, model, k, stage, sums, weight * h)
        if stage == 0:
            pressure, slope = found
        if stage < 2:
            to = 0.5 * h if stage == 0 else 0.75 * h
            for c in range(STATES):
                trial[c] = y[c] + to * k[stage, c]
    for c in range(STATES):
        y[c] += h * (2.0 / 9.0 * k[0, c] + 1.0 / 3.0 * k[1, c] + 4.0 / 9.0 * k[2, c])
    return pressure, slope


@kernel
def run_cycle(model, y, out, sums, trial, k):
    """One cycle from the first cell on; false when the gas leaves the range of the tables.

    Fills out (points + 1, 6) with p, dp/dθ, temperature and masses of air, fuel and burnt gas at the nodes, and sums
    (13); y (9) is the state at begin and end, trial (9) and k (3, 9) work space.
    """
    points = model.course.shape[0]
    closed = points * math.pi / model.cycle + 1e-9
    pressure = gas_state(y[T_], y[AIR_], y[FUEL_], y[BURNT_], model.course[model.first, 0], model.gas)[0]
    shut = (pressure, model.course[model.first, 0], y[T_])
    burn_mass = model.burnable * min(model.injected + y[FUEL_], y[AIR_] / model.gas.air_per_fuel)
    sums[:] = 0.0
    for n in range(points):
        cell = (model.first + n) % points
        angle = cell * model.step
        flowing, count, steepest = _pace(cell, y, model)
        share = _burning_share(angle, model.step, model) if burn_mass > 0.0 else 0.0
        if share > 0.0:
            count = max(count, BURNING_SUBSTEPS, math.ceil(SUBSTEPS_TO_BURN * share))
        hot = (angle - model.burn_start) % model.cycle < math.pi
        gross = cell + 1.0 <= closed or cell >= points - closed
        out[cell, 2], out[cell, 3], out[cell, 4], out[cell, 5] = y[T_], y[AIR_], y[FUEL_], y[BURNT_]
        h = model.step / count
        for j in range(count):
            burn, inject = _feed(angle + j * h, h, flowing, y, burn_mass, model)
            feed = (burn, inject, STIFFNESS / h, steepest, hot, gross)
            pressure, slope = _step(cell, j / count, 1.0 / count, y, feed, shut, model, trial, k, sums)
            if j == 0:
                out[cell, 0], out[cell, 1] = pressure, slope
            if not (COLDEST < y[T_] < HOTTEST and y[AIR_] + y[FUEL_] + y[BURNT_] > 0.0):
                return False
    return True
