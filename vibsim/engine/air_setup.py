"""The air path of a case: its nodes, what the engine draws at them, and the commands that go with loads."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from vibsim.engine.air_flows import flow_table, node_conditions, that_close
from vibsim.engine.air_junction import Command
from vibsim.engine.air_path import AirPath
from vibsim.engine.air_steady import command_for
from vibsim.engine.charging.air import GAMMA, compressed_temperature
from vibsim.engine.charging.intercooler import cooled_temperature
from vibsim.engine.charging.nozzle import back_pressure
from vibsim.engine.charging.pack import EXHAUST_TURBINE, NONE
from vibsim.engine.cycle_setup import Conditions, by_compression
from vibsim.engine.knock import knock_limited
from vibsim.engine.node_grid import Nodes
from vibsim.engine.operating_point import MANIFOLD_WALL, Plant, operating_point, plant_of, warmed
from vibsim.engine.throttle import butterfly_of
from vibsim.inputs.errors import InputError
from vibsim.inputs.models import Engine

VOLUME_PER_SWEPT = 3.0  # of the intake of an engine without charging; common practice, no source
USUAL_EFFICIENCY = 0.7  # of the compressor, for the temperatures of the nodes
BELOW, ABOVE = 5, 4  # intake pressures of the nodes up to the surroundings', and above
OVER, UNDER = 1.2, 0.8  # of the greatest and least intake pressure that is asked for: the nodes go on to there
LOWEST = 0.12  # of ambient: where a cylinder still fires
BACKS = 4  # exhaust pressures of the nodes ahead of a turbine
STARVED = 0.5  # of the least intake pressure, where the crank may speed up


@dataclass(frozen=True)
class AirSetup:
    """An air path with what its nodes stand for, in their order, and which of them borrow the cycle of the next higher
    intake pressure because none closes at their own."""

    path: AirPath
    conditions: list[Conditions]
    borrowed: np.ndarray


def air_setup(
    engine: Engine,
    folder: Path,
    speeds: np.ndarray,
    speed: float,
    loads: tuple[float, ...],
    response: float,
    free: bool,
) -> AirSetup:
    """The air path at nodes of crank speed (rad/s), for loads (0 to 1) at one speed; throttle response s. `free`: the
    crank's speed is not held.

    Raises InputError for what has no air path of this kind.
    """
    plant = plant_of(engine, folder)
    gas, charger = plant.gas, plant.charger
    if engine.strokes == 2:
        raise InputError(
            "run.kind: the air path is that of a four-stroke; a two-stroke's charge is delivered, not drawn"
        )
    asked = [pressure_at(engine, folder, speed, load) for load in loads]
    target = float(charger.parts[0].air.target) if charger.kind != NONE else gas.ambient_pressure
    intakes = _intakes(gas.ambient_pressure, min(asked) * (STARVED if free else UNDER), max(*asked, target))
    nodes = Nodes(speeds, intakes, _exhausts(plant, float(speeds[-1]), float(intakes[-1])))
    temperatures = np.array([_charge_temperature(plant, float(pressure)) for pressure in intakes])
    fuelling = operating_point(engine, folder, speed, loads[0]).conditions.fuelling
    wanted = node_conditions(nodes, temperatures, fuelling)
    conditions, replaced = that_close(engine, plant.layout, wanted, nodes)
    conditions = _without_knock(plant, conditions)
    air = charger.parts[0].air
    charged = charger.kind != NONE
    inlet = float(air.inlet_temperature) if charged else gas.intake_temperature
    path = AirPath(
        charger=charger,
        butterfly=butterfly_of(gas, plant.layout),
        throttle_response=response,
        command=Command(1.0, target),
        volume=float(air.intake_volume) if charged else VOLUME_PER_SWEPT * plant.layout.swept_volume,
        warming=(warmed(inlet, plant) - inlet) / (MANIFOLD_WALL - inlet) if charged else 0.0,
        wall=MANIFOLD_WALL,
        ambient=gas.ambient_pressure,
        inlet_temperature=inlet,
        outlet=gas.exhaust_pressure,
        nodes=nodes,
        densities=nodes.intakes / temperatures,
        flows=flow_table(engine, plant.layout, conditions),
    )
    return AirSetup(path, conditions, replaced)


def pressure_at(engine: Engine, folder: Path, speed: float, load: float) -> float:
    """Intake pressure (Pa) of the steady point at a crank speed (rad/s) and load."""
    return operating_point(engine, folder, speed, load).conditions.intake_pressure


def commanded(engine: Engine, folder: Path, path: AirPath, speed: float, load: float) -> tuple[AirPath, np.ndarray]:
    """The path commanded for a load at a crank speed (rad/s), with its states (n) at rest there."""
    full = path.ambient if path.charger.kind == NONE else float(path.charger.parts[0].air.target)
    wide = load == 1.0 or by_compression(plant_of(engine, folder).gas)
    pressure = full if wide else pressure_at(engine, folder, speed, load)
    command, states = command_for(path, speed, pressure)
    return path._replace(command=command), states


def _intakes(ambient: float, low: float, high: float) -> np.ndarray:
    """Pressures of the nodes, closer where they are low; ambient pressure is one of them where a charger lifts it, and
    what it is lifted to, where a run ends and the burn set by knock has its bend."""
    low = max(low, LOWEST * ambient)
    if high <= 1.001 * ambient:
        return np.geomspace(low, 1.02 * ambient, BELOW + 1)
    below = np.geomspace(low, ambient, BELOW) if low < 0.95 * ambient else np.array([0.9, 1.0]) * ambient
    return np.concatenate([below, np.geomspace(ambient, high, ABOVE)[1:], [OVER * high]])


def _charge_temperature(plant: Plant, pressure: float) -> float:
    """Temperature (K) at the valves that usually goes with an intake pressure (Pa)."""
    if plant.charger.kind == NONE:
        return plant.gas.intake_temperature
    air, cooler = plant.charger.parts[0].air, plant.charger.parts[0].cooler
    ratio = max(pressure / plant.gas.ambient_pressure, 1.0)
    hot = compressed_temperature(float(air.inlet_temperature), ratio, USUAL_EFFICIENCY, GAMMA)
    return warmed(float(cooled_temperature(hot, cooler)) if ratio > 1.0 else float(air.inlet_temperature), plant)


def _exhausts(plant: Plant, speed: float, intake: float) -> np.ndarray:
    """Exhaust pressures of the nodes: up to what the most that the engine puts out asks of the turbine alone."""
    outlet = plant.gas.exhaust_pressure
    if plant.charger.kind != EXHAUST_TURBINE:
        return np.array([outlet])
    turbine = plant.charger.parts[0].turbine
    drawn = intake / (287.0 * _charge_temperature(plant, intake)) * plant.layout.swept_volume / plant.layout.cycle
    most = back_pressure(1.1 * drawn * speed, turbine.area, 1250.0, outlet, turbine.gamma, turbine.gas_constant)
    return np.geomspace(0.98 * outlet, max(float(most), 1.2 * outlet), BACKS)


def _without_knock(plant: Plant, conditions: list[Conditions]) -> list[Conditions]:
    """Burns set as late as the wanted margin of octane numbers asks for, of the cylinder that needs it latest."""
    margin = plant.gas.knock_margin
    if margin is None:
        return conditions
    kinds = plant.layout.cylinders
    late = [max(knock_limited(plant.engine, one, at, margin).conditions.late for one in kinds) for at in conditions]
    return [replace(at, late=angle) for at, angle in zip(conditions, late, strict=True)]
