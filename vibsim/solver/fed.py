"""An engine fed through an air path whose states are those of the run: load steps, and free runs of charged engines."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from vibsim.engine.air_path import (
    AHEAD,
    ENERGY,
    EXHAUST_MASS,
    EXHAUST_TEMPERATURE,
    INTAKE_MASS,
    INTAKE_TEMPERATURE,
    INVERTER,
    LAST_SHARE,
    OPENING,
    ROTOR,
    WINDING,
    AirPath,
    Hold,
)
from vibsim.engine.air_setup import air_setup, commanded
from vibsim.engine.air_steady import looked_up
from vibsim.engine.charging.air import GAS_CONSTANT
from vibsim.engine.charging.compressor import FLAG_WORDS
from vibsim.engine.charging.pack import ELECTRIC, ENGINE_DRIVEN, EXHAUST_TURBINE
from vibsim.engine.layout import Layout
from vibsim.engine.packed_gas import Gas
from vibsim.engine.pressure import Operating, pack_gas_nodes
from vibsim.inputs.models import Case, Engine, Run
from vibsim.inputs.steps import goes_unfired, throttled
from vibsim.solver.step_speeds import SLOWEST, speeds_of_run

if TYPE_CHECKING:
    from vibsim.solver.observe import Observed
    from vibsim.solver.packed import Packed

SPEED_NODES = np.array([0.1, 0.25, 0.5, 0.75, 1.0, 1.25, 1.5, 2.0, 3.0])  # of the first speed, left alone
HOLDING_TIME = 0.2  # s, in which the brake brings the crank back to its speed: several cycles, so that it does not
# take part in the torque's ripple
BEYOND = 1.02  # of the least and greatest density that gas is known for
LIFTING = 1.02  # pressure ratio from which a compressor that only lets air pass is told from one at work
NOTICED = 0.05  # s off the map from which it is worth a line
ROTOR_FLOOR = 0.01  # of the compressor's top speed
ENERGY_FLOOR = 100.0  # J


class MoreState(NamedTuple):
    """A state beside those of bodies and crank: its name for messages, its value as a run starts, the least size that
    its error is a share of, and whether that share is of its value too (1) or not (0)."""

    name: str
    start: float
    floor: float
    relative: float = 1.0


@dataclass(frozen=True)
class Fed:
    """What feeds an engine: gas at the nodes of its air path, the path, its states; all absent where it has none."""

    gas: Gas | None = None
    path: AirPath | None = None
    states: tuple[MoreState, ...] = ()
    borrowed: np.ndarray | None = None


NOT_FED = Fed()


def varies(case: Case) -> bool:
    """Whether cycles of the run differ, so that it needs the unfired cylinder too."""
    if goes_unfired(case):
        return True
    return case.run is not None and (case.run.variation is not None or case.run.misfire is not None)


def has_air_path(case: Case) -> bool:
    """Whether the states of the air path are part of the case's run."""
    if case.run is None or case.engine is None:
        return False
    if throttled(case):
        return True
    return case.run.kind == "load_step" or (case.run.kind == "free" and case.engine.charging.source != "none")


def fed_engine(case: Case, layout: Layout | None, folder: Path) -> Fed:
    """The engine at rest with its air path at the run's speed and load; nothing where that is no part of the run.

    Raises InputError for a load that cannot be, VibsimError where the air path does not come to rest.
    """
    run, engine = case.run, case.engine
    if not has_air_path(case) or run is None or engine is None or layout is None:
        return NOT_FED
    held = run.kind == "load_step" and run.hold_speed
    speed = abs(run.speed)
    # where the mean speed is held, its swing within a cycle does not change the cycle: as in a steady run
    speeds = np.array([speed]) if held else np.unique(np.maximum(SPEED_NODES * speed, SLOWEST))
    loads = (run.load,) if run.load_after is None else (run.load, run.load_after)
    response = run.throttle_response
    if throttled(case):
        speeds, loads = speeds_of_run(case), (0.0, 1.0)
        response = engine.governor.response if engine.governor else response
    setup = air_setup(engine, folder, speeds, speed, loads, response, free=not held)
    path, states = commanded(engine, folder, setup.path, speed, run.load)
    points = [Operating(at.speed, run.load, folder, at) for at in setup.conditions]
    gas = pack_gas_nodes(engine, layout, points, path.nodes, partner=varies(case))
    intake, exhaust = looked_up(states, path)
    return Fed(gas._replace(intake=intake, exhaust=exhaust), path, more_states(path, states), setup.borrowed)


def held_at(path: AirPath, run: Run, inertia: float) -> AirPath:
    """The path with a brake that holds the run's speed, for what the crank feels as its inertia (kg m²)."""
    held = run.kind == "load_step" and run.hold_speed
    slope = inertia / HOLDING_TIME if held else 0.0
    return path._replace(hold=Hold(run.speed, slope, 0.25 * slope / HOLDING_TIME))  # critically damped


def after_step(engine: Engine, folder: Path, path: AirPath, run: Run) -> AirPath:
    """The path commanded for the load after the step."""
    assert run.load_after is not None
    return commanded(engine, folder, path, abs(run.speed), run.load_after)[0]


def takes_from_crank(path: AirPath) -> bool:
    return path.charger.kind in (ELECTRIC, ENGINE_DRIVEN)


def more_states(path: AirPath, y: np.ndarray) -> tuple[MoreState, ...]:
    """The path's states (n) as those of a run, with the floors of their errors."""
    mass = path.ambient * path.volume / (GAS_CONSTANT * path.inlet_temperature)
    found = {
        AHEAD: MoreState("angle that the crank has run ahead of the held speed", y[AHEAD], 1.0),
        OPENING: MoreState("throttle opening", y[OPENING], 0.1),
        INTAKE_MASS: MoreState("intake mass", y[INTAKE_MASS], 0.1 * mass),
        INTAKE_TEMPERATURE: MoreState("intake temperature", y[INTAKE_TEMPERATURE], 1.0),
    }
    if y.size > ROTOR:
        found[ROTOR] = MoreState("charger speed", y[ROTOR], ROTOR_FLOOR * path.charger.compressor.reference_speed)
    if path.charger.kind == ELECTRIC:
        found[WINDING] = MoreState("winding temperature", y[WINDING], 1.0)
        found[INVERTER] = MoreState("inverter temperature", y[INVERTER], 1.0)
        found[ENERGY] = MoreState("battery energy", y[ENERGY], ENERGY_FLOOR)
    if path.charger.kind == EXHAUST_TURBINE:
        found[EXHAUST_MASS] = MoreState("exhaust mass", y[EXHAUST_MASS], 0.1 * y[EXHAUST_MASS])
        found[EXHAUST_TEMPERATURE] = MoreState("exhaust temperature", y[EXHAUST_TEMPERATURE], 1.0)
    return tuple(state._replace(start=float(state.start)) for state in found.values())


def lay_back(y: np.ndarray, path: AirPath, states: tuple[MoreState, ...]) -> None:
    """Set the slow states y (n) of the charger's drive back to where they start."""
    if path.charger.kind == ELECTRIC:
        for index in (WINDING, INVERTER, ENERGY):
            y[index] = states[index].start


def _borrowed_lines(seen: dict[str, np.ndarray], speed: np.ndarray, step: float, packed: Packed) -> list[str]:
    """A line where the run met nodes at which no working cycle closes."""
    path, borrowed = packed.model.air, packed.borrowed
    if path is None or borrowed is None or not borrowed.any():
        return []
    nodes = path.nodes
    last = nodes.speeds.size - 1
    low = np.clip(np.searchsorted(nodes.speeds, np.abs(speed)) - 1, 0, max(last - 1, 0))
    at = np.clip(np.searchsorted(nodes.intakes, seen["intake_pressure"]) - 1, 0, nodes.intakes.size - 2)
    held: np.ndarray = np.any(borrowed.reshape(nodes.speeds.size, nodes.intakes.size, -1), axis=2)
    met = held[low, at] | held[np.minimum(low + 1, last), at]
    if met.sum() * step <= NOTICED:
        return []
    pressure = 1e-3 * seen["intake_pressure"][met].min()
    return [
        f"the working cycle does not close at intake pressures down to {pressure:.0f} kPa, where the run was for "
        f"{met.sum() * step:.2g} s; the cycle of the next higher pressure of engine.gas was used"
    ]


def air_remarks(observed: Observed, step: float, packed: Packed) -> tuple[str, ...]:
    """Lines on where the run, observed every `step` s, left what the air path is known for."""
    seen, path = observed.air, packed.model.air
    if seen is None or path is None:
        return ()
    lines = _borrowed_lines(seen, observed.crank_speed, step, packed)
    density = seen["intake_pressure"] / seen["intake_temperature"]
    outside = (density > BEYOND * path.densities[-1]) | (density * BEYOND < path.densities[0])
    if outside.any():
        low, high = 1e-3 * path.nodes.intakes[[0, -1]]
        lines.append(
            f"the intake left the {low:.0f} to {high:.0f} kPa that engine.gas was computed for, for "
            f"{outside.sum() * step:.2g} s; beyond them the pressure there was used"
        )
    if "compressor_flags" not in seen:
        return tuple(lines)
    flags = seen["compressor_flags"].astype(int)
    lifting = seen["compressor_pressure_ratio"] > LIFTING
    for flag, words in FLAG_WORDS.items():
        there = lifting & (flags & flag > 0)
        if there.sum() * step > NOTICED:
            first = float(there.argmax() * step)
            lines.append(f"the compressor ran {words} for {there.sum() * step:.2g} s, first at {first:.2g} s")
    if "winding_temperature" in seen:
        motor = path.charger.parts[0].motor
        for part, start in (("winding", motor.winding_start), ("inverter", motor.inverter_start)):
            hot = seen[f"{part}_temperature"] > start
            if hot.any():
                lines.append(
                    f"the charger's {part} passed {start - 273.15:.0f} °C, where its motor is derated, at "
                    f"{hot.argmax() * step:.2g} s"
                )
        if seen["battery_energy"][-1] > (1.0 - LAST_SHARE) * path.charger.parts[0].supply.energy:
            lines.append("the battery gave all the energy it may")
    return tuple(lines)
