"""The engine's air path in a run: its states, their rates, and the flows, torques and powers they make.

Air goes from the surroundings through compressor and intercooler (if there are any), then the throttle, into one intake
volume at the valves; the exhaust of a turbine collects in a volume ahead of it. Between compressor and throttle there
is no volume: pressure there is that at which as much comes as goes on (derived). A volume there, of a litre behind a
compressor whose flow hardly changes with pressure, would settle within a millisecond, far quicker than rotor and
intake do; without it nothing quick is left in the states but the intake itself, whose time constant is V/(γ·R·T) over
the slope of the throttle's flow by pressure: 0.3 ms at the least, by the greatest slope that `flow_factor` has.

The engine draws and puts out what its converged cycles do, interpolated between nodes of crank speed, intake and
exhaust pressure. Each intake pressure has its node temperature. At any other the cycle is taken whose charge has the
same density, for mass trapped and heat released go with density; what is left out is that hotter charge takes up less
heat from the walls and is a little hotter all along, of second order near the node's temperature (derived).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from vibsim.engine.air_junction import Command, Joint, joint_behind
from vibsim.engine.charging.air import GAMMA, GAS_CONSTANT
from vibsim.engine.charging.driven import drive_torque
from vibsim.engine.charging.electric import (
    ElectricPoint,
    boost_torque,
    bus_limit,
    electric_point,
    motor_torque_limit,
)
from vibsim.engine.charging.pack import ELECTRIC, ENGINE_DRIVEN, EXHAUST_TURBINE, NONE, Charger
from vibsim.engine.charging.plenum import carried, plenum_pressure, plenum_rates
from vibsim.engine.charging.thermal import thermal_rates
from vibsim.engine.charging.turbine import rotor_rate, turbine_point, wastegate_flow, wastegate_opening
from vibsim.engine.node_grid import AXIS, Nodes, at_weights, fill_axis, fill_weights
from vibsim.engine.throttle import Butterfly
from vibsim.jit import apart, bare, inlined, inner

# places of the states, by source
AHEAD, OPENING, INTAKE_MASS, INTAKE_TEMPERATURE, ROTOR = range(5)
WINDING, INVERTER, ENERGY = 5, 6, 7  # electric
EXHAUST_MASS, EXHAUST_TEMPERATURE = 5, 6  # exhaust turbine
COUNTS = {NONE: 4, ELECTRIC: 8, EXHAUST_TURBINE: 7, ENGINE_DRIVEN: 4}
# columns of the flows
AIR, EXHAUST, HOT, TORQUE = range(4)
LAST_SHARE = 0.01  # of the battery's energy, over which its power falls to nothing


class Hold(NamedTuple):
    """A brake that holds the crank at a mean `speed` (rad/s): it takes the engine's mean torque of the moment, `slope`
    N m s more for what the crank is faster, and `pull` N m more for each radian that it has run ahead; none with a
    slope of nothing."""

    speed: float
    slope: float
    pull: float


NOT_HELD = Hold(0.0, 0.0, 0.0)


class AirPath(NamedTuple):
    """What the air path is made of.

    `throttle_response` s, in which the throttle goes 63 % of its way; `volume` m³ of the intake, whose walls at a
    temperature `wall` K warm what comes through the throttle a share `warming` of the way to theirs; `ambient` Pa and
    `inlet_temperature` K ahead of everything, `outlet` Pa behind the exhaust; `nodes` the flows are known at, with the
    intake's `densities` there (I) as pressure over temperature, Pa/K;
    `flows` (nodes, 4): air and exhaust kg per rad of crank, exhaust temperature K at the ports, mean torque N m of the
    gas on the crank.
    """

    charger: Charger
    butterfly: Butterfly
    throttle_response: float
    command: Command
    volume: float
    warming: float
    wall: float
    ambient: float
    inlet_temperature: float
    outlet: float
    nodes: Nodes
    densities: np.ndarray
    flows: np.ndarray
    hold: Hold = NOT_HELD


class Drawn(NamedTuple):
    """What the engine takes and gives: air and exhaust kg/s, exhaust temperature K at the ports."""

    air: float
    exhaust: float
    temperature: float


class Shaft(NamedTuple):
    """The charger's drive: rotor speed rad/s and acceleration rad/s², torque (N m) of what drives it, `crank_torque`
    that the crank gives."""

    speed: float
    rate: float
    drive_torque: float
    crank_torque: float


class Spent(NamedTuple):
    """Exhaust: pressure Pa at the ports; flows kg/s through turbine and wastegate; the wastegate's opening; the
    turbine's power W, outlet temperature K and flags."""

    pressure: float
    turbine_flow: float
    wastegate_flow: float
    opening: float
    power: float
    temperature: float
    flags: int


class AirPoint(NamedTuple):
    """All that goes on in the air path at a moment."""

    intake_pressure: float
    joint: Joint
    drawn: Drawn
    shaft: Shaft
    electric: ElectricPoint
    spent: Spent


@inlined
def intake_pressure(y, at, path):
    """Pressure (Pa) at the valves; the states begin at y[at]."""
    return plenum_pressure(y[at + INTAKE_MASS], y[at + INTAKE_TEMPERATURE], path.volume, GAS_CONSTANT)


@inlined
def exhaust_pressure(y, at, path):
    """Pressure (Pa) at the exhaust ports."""
    if path.charger.kind != EXHAUST_TURBINE:
        return path.outlet
    parts = path.charger.parts[0]
    mass, temperature = y[at + EXHAUST_MASS], y[at + EXHAUST_TEMPERATURE]
    return plenum_pressure(mass, temperature, parts.air.exhaust_volume, parts.turbine.gas_constant)


@bare
def equal_density(y, at, path, e, to):
    """Pressure (Pa) at which the nodes' charge has the density of that in the intake; e[to:] is left overwritten."""
    density = intake_pressure(y, at, path) / y[at + INTAKE_TEMPERATURE]
    fill_axis(density, path.densities, e, to)
    equal, first = 0.0, int(e[to])
    for k in range(min(path.densities.size, AXIS - 1)):
        equal += e[to + 1 + k] * path.nodes.intakes[first + k]
    return equal


@bare
def fill_air_weights(y, at, crank_speed, path, e, to):
    """Weights, into e[to : to + WEIGHTS], of the nodes whose charge has the density of that in the intake."""
    equal = equal_density(y, at, path, e, to)
    fill_weights(crank_speed, equal, exhaust_pressure(y, at, path), path.nodes, e, to)


@apart
def _drawn(y, at, crank_speed, path, e, to):
    """Beyond the nodes what is drawn goes on with the density."""
    density, known = intake_pressure(y, at, path) / y[at + INTAKE_TEMPERATURE], path.densities
    beyond = density / min(max(density, known[0]), known[known.size - 1])
    turned = beyond * max(crank_speed, 0.0)
    air = turned * at_weights(path.flows, AIR, path.nodes, e, to)
    exhaust = turned * at_weights(path.flows, EXHAUST, path.nodes, e, to)
    return Drawn(air, exhaust, at_weights(path.flows, HOT, path.nodes, e, to))


@inner
def _nothing_electric():
    return ElectricPoint(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)


@inner
def _supply_limit(energy, crank_speed, supply):
    """Greatest power (W) on the bus; the battery's part ends, over its last hundredth, with the energy (J) drawn."""
    limit = bus_limit(crank_speed, supply)
    left = min(max((supply.energy - energy) / (LAST_SHARE * supply.energy), 0.0), 1.0)
    alone = 0.0
    if supply.share == 0.0:
        alone = min(supply.power_limit, supply.efficiency * supply.torque_limit * max(crank_speed, 0.0))
    return alone + (limit - alone) * left


@apart
def _electric_shaft(y, at, crank_speed, ahead, load, path):
    """Motor on the compressor's shaft, which holds the pressure ahead of the throttle; without a boost to hold it is
    switched off and the rotor runs down."""
    parts, speed, wanted = path.charger.parts[0], y[at + ROTOR], path.command.pressure - path.ambient
    motor, supply = parts.motor, parts.supply
    if wanted <= 0.0:
        return Shaft(speed, -load / motor.inertia, 0.0, 0.0), _nothing_electric()
    winding = y[at + WINDING]
    power = _supply_limit(y[at + ENERGY], crank_speed, supply)
    limit = motor_torque_limit(speed, winding, y[at + INVERTER], power, motor)
    share = max(ahead - path.ambient, 0.0) / wanted
    torque = boost_torque(share, speed, load, limit, parts.air.response_time, motor)
    point = electric_point(torque, speed, winding, crank_speed, motor, supply)
    return Shaft(speed, (torque - load) / motor.inertia, torque, point.crank_torque), point


@apart
def _turbine_shaft(y, at, ahead, load, path):
    """Turbine on the compressor's shaft; the wastegate opens with the boost behind the compressor."""
    parts, speed, temperature = path.charger.parts[0], y[at + ROTOR], y[at + EXHAUST_TEMPERATURE]
    pressure = exhaust_pressure(y, at, path)
    point = turbine_point(speed, pressure, temperature, path.outlet, parts.turbine, path.charger.curve)
    opening = wastegate_opening(ahead - path.ambient, parts.turbine)
    past = wastegate_flow(opening, pressure, temperature, path.outlet, parts.turbine)
    shaft = Shaft(speed, rotor_rate(point.torque, load, speed, parts.turbine), point.torque, 0.0)
    return shaft, Spent(pressure, point.mass_flow, past, opening, point.power, point.temperature, point.flags)


@bare
def air_point(y, at, crank_speed, path, e, to):
    """The air path (AirPoint) at states y[at:], a crank speed (rad/s) and the nodes' weights in e[to:]."""
    charger, pressure = path.charger, intake_pressure(y, at, path)
    drawn = _drawn(y, at, crank_speed, path, e, to)
    rotor = 0.0
    if charger.kind == ENGINE_DRIVEN:
        rotor = charger.parts[0].drive.ratio * max(crank_speed, 0.0)
    elif charger.kind != NONE:
        rotor = max(y[at + ROTOR], 0.0)
    joint = joint_behind(rotor, y[at + OPENING], pressure, y[at + INTAKE_TEMPERATURE], path)
    shaft, electric = Shaft(rotor, 0.0, 0.0, 0.0), _nothing_electric()
    spent = Spent(exhaust_pressure(y, at, path), drawn.exhaust, 0.0, 0.0, 0.0, drawn.temperature, 0)
    if charger.kind == ENGINE_DRIVEN:
        torque = drive_torque(joint.torque, charger.parts[0].drive) if crank_speed > 0.0 else 0.0
        shaft = Shaft(rotor, 0.0, joint.torque, torque)
    elif charger.kind == ELECTRIC:
        shaft, electric = _electric_shaft(y, at, crank_speed, joint.pressure, joint.torque, path)
    elif charger.kind == EXHAUST_TURBINE:
        shaft, spent = _turbine_shaft(y, at, joint.pressure, joint.torque, path)
    return AirPoint(pressure, joint, drawn, shaft, electric, spent)


@inner
def write_air_rates(point, y, at, path, out):
    """Rates of the states at an AirPoint, into out[at:]."""
    joint, drawn, charger = point.joint, point.drawn, path.charger
    out[at + OPENING] = (path.command.opening - y[at + OPENING]) / path.throttle_response
    mass, temperature = y[at + INTAKE_MASS], y[at + INTAKE_TEMPERATURE]
    warmed = joint.temperature + path.warming * (path.wall - joint.temperature)
    brought = carried(joint.flow, warmed, temperature) - drawn.air * temperature
    rates = plenum_rates(joint.flow - drawn.air, brought, mass, temperature, GAMMA)
    out[at + INTAKE_MASS], out[at + INTAKE_TEMPERATURE] = rates
    if charger.kind in (NONE, ENGINE_DRIVEN):
        return
    out[at + ROTOR] = point.shaft.rate
    if charger.kind == ELECTRIC:
        electric = point.electric
        heats = electric.motor_loss, electric.inverter_loss
        warming = thermal_rates(y[at + WINDING], y[at + INVERTER], *heats, charger.parts[0].thermal)
        out[at + WINDING], out[at + INVERTER] = warming
        out[at + ENERGY] = electric.battery
        return
    mass, temperature, gone = y[at + EXHAUST_MASS], y[at + EXHAUST_TEMPERATURE], point.spent
    leaving = gone.turbine_flow + gone.wastegate_flow
    brought = carried(drawn.exhaust, drawn.temperature, temperature) - leaving * temperature
    rates = plenum_rates(drawn.exhaust - leaving, brought, mass, temperature, charger.parts[0].turbine.gamma)
    out[at + EXHAUST_MASS], out[at + EXHAUST_TEMPERATURE] = rates


@bare
def air_path_rates(y, at, crank_speed, path, e, to, out):
    """Rates of the air path's states y[at:] into out[at:] at a crank speed (rad/s), with the nodes' weights in e[to:]
    (`fill_air_weights`); returns the torque (N m) that it takes from the crank."""
    point = air_point(y, at, crank_speed, path, e, to)
    write_air_rates(point, y, at, path, out)
    out[at + AHEAD] = crank_speed - path.hold.speed if path.hold.slope > 0.0 else 0.0
    return point.shaft.crank_torque
