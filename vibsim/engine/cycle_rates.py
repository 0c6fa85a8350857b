"""Rates of the working cycle of one cylinder by crank angle.

First law of an open system with absolute enthalpies: dU = −p dV − dQ_wall + Σ h dm, U = Σ mᵢ·uᵢ(T) over air, fuel
vapour and burnt gas (derived); burning turns air and fuel into burnt gas and needs no heating value. What flows back
into the intake waits in the port and returns first.
"""

from __future__ import annotations

import math

from vibsim.engine.course import course_at
from vibsim.engine.flow import STEEPEST, flow_factor
from vibsim.engine.gas_tables import energies
from vibsim.engine.wall_heat import wall_loss
from vibsim.jit import inner

# state: temperature; masses of air, fuel vapour and burnt gas; of what waits in the port the same three, its enthalpy
# and its mass times gas constant times temperature
T_, AIR_, FUEL_, BURNT_, W_AIR, W_FUEL, W_BURNT, W_HEAT, W_RT = range(9)
STATES = 9
# sums over a cycle: work, wall heat, enthalpy in and out, fresh charge in; work of compression and expansion; blow-by,
# fuel burned; enthalpy, air, fuel and burnt gas out through the exhaust, and what comes back
WORK, WALL, H_IN, H_OUT, FRESH, GROSS, LEAK, BURNED, X_HEAT, X_AIR, X_FUEL, X_BURNT, BACK = range(13)
SUMS = 13
NEARLY_GONE = 0.1  # share of spent gas below which it no longer leaves ahead of the fresh charge


@inner
def gas_state(temperature, air, fuel, burnt, volume, gas):
    """Of what is in the cylinder: pressure, energy, Σ m·cv, Σ m·R, and the table's eight values."""
    t = energies(temperature, gas)
    constant = air * gas.r_air + fuel * gas.r_fuel + burnt * t[6]
    capacity = air * t[1] + fuel * t[3] + burnt * t[5]
    energy = air * t[0] + fuel * t[2] + burnt * t[4]
    return constant * temperature / volume, energy, capacity, constant, t


@inner
def fill_rates(cell, share, y, feed, shut, model, k, s, sums, span):
    """Write derivatives of the state by crank angle into row s of k (3, 9), at a share of a cell of the course; add
    `span` (rad) of their rates to the sums (13). Returns p and, from row 0, dp/dθ.

    `feed`: kg of fuel burning and injected per rad, constant over a step so that all burns whatever the step; most of
    what waits in the port that may leave per rad; `steepest` of the flow; whether it is hot, and whether outside of
    gas exchange. `shut` as in `woschni_speed`.
    """
    gas, temperature = model.gas, y[T_]
    volume, volume1, intake, exhaust = course_at(cell, share, model)
    pressure, energy, capacity, constant, t = gas_state(temperature, y[AIR_], y[FUEL_], y[BURNT_], volume, gas)
    mass = y[AIR_] + y[FUEL_] + y[BURNT_]
    for c in range(STATES):
        k[s, c] = 0.0
    heat = 0.0
    if intake > 0.0 or exhaust > 0.0 or model.leak_area > 0.0:
        root = math.sqrt(constant * temperature / mass)
        inside = (pressure, 1.0 + constant / capacity, root, (energy + constant * temperature) / mass, mass)
        if intake > 0.0:
            heat += _through_intake(intake, y, inside, feed, model, k, s, sums, span)
        if exhaust > 0.0:
            heat += _through_exhaust(exhaust, y, inside, t, feed[3], model, k, s, sums, span)
        if model.leak_area > 0.0:
            heat += _past_the_rings(y, inside, model, k, s, sums, span)
    if feed[0] > 0.0 or feed[1] > 0.0:
        heat += _burning(feed[0], feed[1], gas, k, s, sums, span)
    if model.wall_factor > 0.0:
        still = intake == 0.0 and exhaust == 0.0
        wall = wall_loss(pressure, temperature, volume, shut, still, feed[4], model) / model.speed
        sums[WALL] += span * wall
        heat -= wall
    work = pressure * volume1
    sums[WORK] += span * work
    if feed[5]:
        sums[GROSS] += span * work
    heat -= work + k[s, AIR_] * t[0] + k[s, FUEL_] * t[2] + k[s, BURNT_] * t[4]
    rise = heat / capacity
    k[s, T_] = rise
    if s > 0:
        return pressure, 0.0
    constant1 = k[s, AIR_] * gas.r_air + k[s, FUEL_] * gas.r_fuel + k[s, BURNT_] * t[6] + y[BURNT_] * t[7] * rise
    return pressure, pressure * (constant1 / constant + rise / temperature - volume1 / volume)


@inner
def _take(share, y, k, s):
    """Let the mixture of the cylinder out at a share of it per rad."""
    k[s, AIR_] -= share * y[AIR_]
    k[s, FUEL_] -= share * y[FUEL_]
    k[s, BURNT_] -= share * y[BURNT_]


@inner
def _burning(burn, inject, gas, k, s, sums, span):
    """Fuel turns into burnt gas, injected fuel into vapour; returns the enthalpy that comes in per rad."""
    k[s, AIR_] -= burn * gas.air_per_fuel
    k[s, FUEL_] += inject - burn
    k[s, BURNT_] += burn * (1.0 + gas.air_per_fuel)
    sums[BURNED] += span * burn
    sums[H_IN] += span * inject * gas.liquid
    return inject * gas.liquid


@inner
def _past_the_rings(y, inside, model, k, s, sums, span):
    """Blow-by; returns the enthalpy it brings per rad."""
    pressure, gamma, root, enthalpy, mass = inside
    flow = model.leak_area * pressure / (root * model.speed)
    flow *= flow_factor(min(model.crankcase_pressure / pressure, 1.0), gamma, STEEPEST)
    _take(flow / mass, y, k, s)
    sums[LEAK] += span * flow
    sums[H_OUT] += span * flow * enthalpy
    return -flow * enthalpy


@inner
def _through_intake(area, y, inside, feed, model, k, s, sums, span):
    """Flow through the intake; returns the enthalpy it brings per rad. What waits mixes with `port_mixing` of fresh
    charge at its end."""
    pressure, gamma, root, enthalpy, mass = inside
    outside = model.intake_pressure
    if outside < pressure:
        flow = area * pressure / (root * model.speed) * flow_factor(outside / pressure, gamma, feed[3])
        share = flow / mass
        _take(share, y, k, s)
        k[s, W_AIR], k[s, W_FUEL], k[s, W_BURNT] = share * y[AIR_], share * y[FUEL_], share * y[BURNT_]
        k[s, W_HEAT], k[s, W_RT] = flow * enthalpy, flow * root * root
        return -flow * enthalpy
    waiting = y[W_AIR] + y[W_FUEL] + y[W_BURNT]
    there = waiting + model.port_mixing
    upstream = math.sqrt((y[W_RT] + model.port_mixing * model.fresh_rt) / there)
    flow = area * outside / (upstream * model.speed) * flow_factor(pressure / outside, model.fresh_gamma, feed[3])
    share = min(flow / there, feed[2])
    fresh = flow - share * waiting
    k[s, W_AIR], k[s, W_FUEL], k[s, W_BURNT] = -share * y[W_AIR], -share * y[W_FUEL], -share * y[W_BURNT]
    k[s, W_HEAT], k[s, W_RT] = -share * y[W_HEAT], -share * y[W_RT]
    k[s, AIR_] += share * y[W_AIR] + fresh * (1.0 - model.fresh_fuel)
    k[s, FUEL_] += share * y[W_FUEL] + fresh * model.fresh_fuel
    k[s, BURNT_] += share * y[W_BURNT]
    sums[FRESH] += span * fresh
    sums[H_IN] += span * fresh * model.fresh_enthalpy
    return fresh * model.fresh_enthalpy + share * y[W_HEAT]


@inner
def _through_exhaust(area, y, inside, t, steepest, model, k, s, sums, span):
    """Flow through the exhaust; returns the enthalpy it brings per rad. Of what leaves a share `scavenging` is spent
    gas pushed out ahead of the fresh charge while there is some, the rest the mixture."""
    pressure, gamma, root, _, mass = inside
    outside, back, gas = model.exhaust_pressure, model.exhaust, model.gas
    if outside > pressure:
        flow = area * outside / (math.sqrt(back.constant * back.temperature) * model.speed)
        flow *= flow_factor(pressure / outside, back.gamma, steepest)
        k[s, AIR_] += flow * back.air
        k[s, FUEL_] += flow * back.fuel
        k[s, BURNT_] += flow * back.burnt
        sums[BACK] += span * flow
        sums[H_IN] += span * flow * back.enthalpy
        return flow * back.enthalpy
    flow = area * pressure / (root * model.speed) * flow_factor(outside / pressure, gamma, steepest)
    spent, ahead = model.spent, 0.0
    if model.scavenging > 0.0 and spent.burnt > 0.0:
        ahead = model.scavenging * min(y[BURNT_] / (NEARLY_GONE * spent.burnt * mass), 1.0)
    share, first = flow * (1.0 - ahead) / mass, flow * ahead
    air, fuel = share * y[AIR_] + first * spent.air, share * y[FUEL_] + first * spent.fuel
    burnt = share * y[BURNT_] + first * spent.burnt
    k[s, AIR_] -= air
    k[s, FUEL_] -= fuel
    k[s, BURNT_] -= burnt
    sums[X_AIR] += span * air
    sums[X_FUEL] += span * fuel
    sums[X_BURNT] += span * burnt
    carried = air * t[0] + fuel * t[2] + burnt * t[4]
    carried += (air * gas.r_air + fuel * gas.r_fuel + burnt * t[6]) * y[T_]
    sums[X_HEAT] += span * carried
    sums[H_OUT] += span * carried
    return -carried
