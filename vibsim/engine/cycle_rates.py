"""Rates of the working cycle of one cylinder by crank angle.

First law of an open system with absolute enthalpies: dU = −p dV − dQ_wall + Σ h dm, U = Σ mᵢ·uᵢ(T) over air, fuel
vapour and burnt gas (derived); burning turns air and fuel into burnt gas and needs no heating value. What flows back into
the intake waits in the port and returns first.
"""

from __future__ import annotations

import math

from vibsim.engine.flow import flow_factor, open_area
from vibsim.engine.gas_tables import energies
from vibsim.engine.kinematics import slider_crank
from vibsim.engine.wall_heat import wall_loss
from vibsim.jit import inner

# state: temperature, masses of air, fuel vapour, burnt gas; the same three and enthalpy of what waits in the port
T_, AIR_, FUEL_, BURNT_, W_AIR, W_FUEL, W_BURNT, W_HEAT = range(8)
STATES = 8
# sums over the cycle: work, wall heat, enthalpy in and out, fresh mixture in; of the exhaust enthalpy, air, fuel and
# burnt gas out less in; work of compression and expansion; blow-by
WORK, WALL, H_IN, H_OUT, FRESH, X_HEAT, X_AIR, X_FUEL, X_BURNT, GROSS, LEAK = range(8, 19)
COLUMNS = 19


@inner
def volume_of(angle, model):
    """Volume (m³) and its slope (m³/rad) at an angle from firing top dead centre."""
    psi = angle + model.top_angle
    slider = slider_crank(math.cos(psi), math.sin(psi), model.radius, model.rod_length, model.offset)
    return model.clearance + model.area * (model.top - slider[0]), -model.area * slider[1]


@inner
def gas_state(temperature, air, fuel, burnt, volume, gas):
    """Pressure, energies and heat capacity of what is in the cylinder: p, γ, (u, h) of the mixture, Σ m·cv, Σ m·R and
    the table's eight values."""
    t = energies(temperature, gas)
    constant = air * gas.r_air + fuel * gas.r_fuel + burnt * t[6]
    capacity = air * t[1] + fuel * t[3] + burnt * t[5]
    pressure = constant * temperature / volume
    energy = air * t[0] + fuel * t[2] + burnt * t[4]
    return pressure, 1.0 + constant / capacity, energy, capacity, constant, t


@inner
def fill_rates(angle, y, burn, shut, model, k, s):
    """Write derivatives by crank angle of state and sums into row s of k (4, 19); returns p and dp/dθ.

    `burn` kg of fuel burning per rad, constant over a step so that all of it burns whatever the step; `shut` as in
    `wall_loss`.
    """
    gas, per_second = model.gas, 1.0 / model.speed
    temperature, air, fuel, burnt = y[T_], y[AIR_], y[FUEL_], y[BURNT_]
    volume, volume1 = volume_of(angle, model)
    pressure, gamma, energy, capacity, constant, t = gas_state(temperature, air, fuel, burnt, volume, gas)
    mass = air + fuel + burnt
    enthalpy = (energy + constant * temperature) / mass
    for c in range(COLUMNS):
        k[s, c] = 0.0
    a_in = open_area(angle, model.intake_opens, model.intake_span, model.intake_area, model.cycle)
    a_out = open_area(angle, model.exhaust_opens, model.exhaust_span, model.exhaust_area, model.cycle)
    heat = 0.0
    if a_in > 0.0:
        heat += _through_intake(a_in * per_second, y, pressure, gamma, enthalpy, mass, constant, model, k, s)
    if a_out > 0.0:
        heat += _through_exhaust(a_out * per_second, y, pressure, gamma, enthalpy, mass, constant, t, model, k, s)
    if model.leak_area > 0.0:
        flow = model.leak_area * per_second * pressure / math.sqrt(constant / mass * temperature)
        flow *= flow_factor(min(model.crankcase_pressure / pressure, 1.0), gamma)
        _take(flow / mass, y, k, s)
        k[s, LEAK], k[s, H_OUT] = flow, k[s, H_OUT] + flow * enthalpy
        heat -= flow * enthalpy
    if burn > 0.0:
        k[s, AIR_] -= burn * gas.air_per_fuel
        k[s, BURNT_] += burn * (1.0 + gas.air_per_fuel)
        if model.direct:
            k[s, H_IN] += burn * gas.liquid
            heat += burn * gas.liquid
        else:
            k[s, FUEL_] -= burn
    if model.wall_factor > 0.0:
        past = angle - model.burn_start
        past -= math.floor(past / model.cycle) * model.cycle
        still, hot = a_in == 0.0 and a_out == 0.0, past < math.pi
        k[s, WALL] = per_second * wall_loss(pressure, temperature, volume, shut, still, hot, model)
    k[s, WORK] = pressure * volume1
    k[s, GROSS] = k[s, WORK] if angle < math.pi or angle > model.cycle - math.pi else 0.0
    heat -= k[s, WALL] + k[s, WORK] + k[s, AIR_] * t[0] + k[s, FUEL_] * t[2] + k[s, BURNT_] * t[4]
    k[s, T_] = heat / capacity
    constant1 = k[s, AIR_] * gas.r_air + k[s, FUEL_] * gas.r_fuel + k[s, BURNT_] * t[6] + burnt * t[7] * k[s, T_]
    slope = pressure * (constant1 / constant + k[s, T_] / temperature - volume1 / volume)
    return pressure, slope


@inner
def _take(share, y, k, s):
    """Let the mixture of the cylinder out at a share of it per rad."""
    k[s, AIR_] -= share * y[AIR_]
    k[s, FUEL_] -= share * y[FUEL_]
    k[s, BURNT_] -= share * y[BURNT_]


@inner
def _through_intake(area, y, pressure, gamma, enthalpy, mass, constant, model, k, s):
    """Flow through the intake; returns the enthalpy it brings per rad."""
    outside = model.intake_pressure
    if outside >= pressure:
        flow = area * outside / math.sqrt(model.fresh_constant * model.intake_temperature)
        flow *= flow_factor(pressure / outside, 1.38)
        waiting = y[W_AIR] + y[W_FUEL] + y[W_BURNT]
        share = flow / (waiting + model.port_mixing)  # of what waits; fresh charge mixes with its end
        k[s, W_AIR], k[s, W_FUEL], k[s, W_BURNT] = -share * y[W_AIR], -share * y[W_FUEL], -share * y[W_BURNT]
        k[s, W_HEAT] = -share * y[W_HEAT]
        fresh = flow - share * waiting
        k[s, AIR_] += share * y[W_AIR] + fresh * (1.0 - model.fresh_fuel)
        k[s, FUEL_] += share * y[W_FUEL] + fresh * model.fresh_fuel
        k[s, BURNT_] += share * y[W_BURNT]
        k[s, FRESH] = fresh
        k[s, H_IN] += fresh * model.fresh_enthalpy
        return fresh * model.fresh_enthalpy + share * y[W_HEAT]
    flow = area * pressure / math.sqrt(constant / mass * y[T_]) * flow_factor(outside / pressure, gamma)
    share = flow / mass
    _take(share, y, k, s)
    k[s, W_AIR], k[s, W_FUEL], k[s, W_BURNT] = share * y[AIR_], share * y[FUEL_], share * y[BURNT_]
    k[s, W_HEAT] = flow * enthalpy
    return -flow * enthalpy


@inner
def _through_exhaust(area, y, pressure, gamma, enthalpy, mass, constant, t, model, k, s):
    """Flow through the exhaust; returns the enthalpy it brings per rad. Of what leaves while fresh charge is there, a
    share `scavenging` is burnt gas pushed out ahead of it, the rest the mixture."""
    outside = model.exhaust_pressure
    if outside > pressure:
        back = model.exhaust
        flow = area * outside / math.sqrt(back.constant * back.temperature) * flow_factor(pressure / outside, 1.33)
        k[s, AIR_] += flow * back.air
        k[s, FUEL_] += flow * back.fuel
        k[s, BURNT_] += flow * back.burnt
        k[s, X_AIR], k[s, X_FUEL], k[s, X_BURNT] = -flow * back.air, -flow * back.fuel, -flow * back.burnt
        k[s, X_HEAT] = -flow * back.enthalpy
        k[s, H_IN] += flow * back.enthalpy
        return flow * back.enthalpy
    flow = area * pressure / math.sqrt(constant / mass * y[T_]) * flow_factor(outside / pressure, gamma)
    ahead = model.scavenging if y[BURNT_] > 0.02 * mass else 0.0
    share = flow * (1.0 - ahead) / mass
    air, fuel, burnt = share * y[AIR_], share * y[FUEL_], share * y[BURNT_] + flow * ahead
    k[s, AIR_] -= air
    k[s, FUEL_] -= fuel
    k[s, BURNT_] -= burnt
    k[s, X_AIR], k[s, X_FUEL], k[s, X_BURNT] = air, fuel, burnt
    carried = air * t[0] + fuel * t[2] + burnt * t[4]
    carried += (air * model.gas.r_air + fuel * model.gas.r_fuel + burnt * t[6]) * y[T_]
    k[s, X_HEAT] = carried
    k[s, H_OUT] += carried
    return -carried
