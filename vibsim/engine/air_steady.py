"""Where the air path comes to rest at a crank speed, and the command that brings the intake to a pressure."""

from __future__ import annotations

import numpy as np

from vibsim.engine.air_junction import Command
from vibsim.engine.air_path import (
    COUNTS,
    EXHAUST_MASS,
    EXHAUST_TEMPERATURE,
    INTAKE_MASS,
    INTAKE_TEMPERATURE,
    INVERTER,
    OPENING,
    ROTOR,
    WINDING,
    AirPath,
    AirPoint,
    air_path_rates,
    air_point,
    equal_density,
    exhaust_pressure,
    fill_air_weights,
)
from vibsim.engine.charging.air import GAS_CONSTANT
from vibsim.engine.charging.pack import ELECTRIC, EXHAUST_TURBINE
from vibsim.engine.node_grid import WEIGHTS
from vibsim.inputs.errors import VibsimError

SETTLING = 3000.0  # s, many times what the slowest takes, a rotor that runs down on its bearings alone
ACCURACY = 1e-10
STILL, NEARLY_STILL = 1e-8, 1e-6  # rate times a second over the state itself
MOST_STEPS = 20_000
FIRST_EXHAUST = 900.0  # K
NEAR = 1e-7  # of the opening
HELD = (WINDING, INVERTER, INVERTER + 1)


def point_at(y: np.ndarray, crank_speed: float, path: AirPath) -> AirPoint:
    """The air path at states (n) and a crank speed (rad/s)."""
    e = np.zeros(WEIGHTS)
    fill_air_weights(y, 0, crank_speed, path, e, 0)
    return air_point(y, 0, crank_speed, path, e, 0)


def rates_at(y: np.ndarray, crank_speed: float, path: AirPath) -> np.ndarray:
    """Rates of the states (n) at a crank speed (rad/s)."""
    out, e = np.empty(COUNTS[path.charger.kind]), np.zeros(WEIGHTS)
    fill_air_weights(y, 0, crank_speed, path, e, 0)
    air_path_rates(y, 0, crank_speed, path, e, 0, out)
    return out


def looked_up(y: np.ndarray, path: AirPath) -> tuple[float, float]:
    """Intake and exhaust pressure (Pa) that the nodes are looked up at, at states (n)."""
    e = np.zeros(WEIGHTS)
    intake = float(equal_density(y, 0, path, e, 0))
    return intake, float(exhaust_pressure(y, 0, path))


def first_states(path: AirPath) -> np.ndarray:
    """States at the surroundings' pressure with the rotor at rest, the throttle as commanded and the drive as cool as
    its coolant."""
    y, parts = np.zeros(COUNTS[path.charger.kind]), path.charger.parts[0]
    y[OPENING], y[INTAKE_TEMPERATURE] = path.command.opening, path.inlet_temperature
    y[INTAKE_MASS] = path.ambient * path.volume / (GAS_CONSTANT * path.inlet_temperature)
    if path.charger.kind == ELECTRIC:
        y[WINDING] = y[INVERTER] = parts.thermal.coolant
    if path.charger.kind == EXHAUST_TURBINE:
        y[EXHAUST_TEMPERATURE] = FIRST_EXHAUST
        y[EXHAUST_MASS] = path.outlet * parts.air.exhaust_volume / (parts.turbine.gas_constant * FIRST_EXHAUST)
    return y


def settled_states(path: AirPath, crank_speed: float, start: np.ndarray | None = None) -> np.ndarray:
    """States (n) that last at a crank speed (rad/s); winding, inverter and battery stay as at the start.

    Raises VibsimError where the air path does not come to rest.
    """
    from scipy.integrate import LSODA

    y = first_states(path) if start is None else start.copy()
    y[OPENING] = path.command.opening
    scale = np.maximum(np.abs(y), 1e-4)
    if y.size > ROTOR:
        scale[ROTOR] = path.charger.compressor.reference_speed
    held = list(HELD) if path.charger.kind == ELECTRIC else []

    def rates(_: float, x: np.ndarray) -> np.ndarray:
        found = rates_at(x * scale, crank_speed, path) / scale
        found[held] = 0.0
        return found

    solver = LSODA(rates, 0.0, y / scale, SETTLING, rtol=ACCURACY, atol=0.01 * ACCURACY)
    for _ in range(MOST_STEPS):
        if solver.status != "running" or np.abs(rates(0.0, solver.y)).max() < STILL:
            break
        solver.step()
    if not np.abs(rates(0.0, solver.y)).max() < NEARLY_STILL:
        raise VibsimError(
            f"the air path does not come to rest at {crank_speed * 30.0 / np.pi:.0f} rpm; "
            "check engine.charging against the engine's size"
        )
    return solver.y * scale


def command_for(path: AirPath, crank_speed: float, pressure: float) -> tuple[Command, np.ndarray]:
    """The command that brings the intake to a pressure (Pa) at a crank speed (rad/s), or as near as it comes, and the
    states then.

    Above the surroundings' pressure the charger is asked for it with the throttle wide open; an exhaust turbine, whose
    wastegate knows its own target alone, is throttled too where it would give more.
    """
    from scipy.optimize import brentq

    boost = max(pressure, path.ambient)
    wide = path._replace(command=Command(1.0, boost))
    states = settled_states(wide, crank_speed)
    own = path.charger.kind == EXHAUST_TURBINE
    if point_at(states, crank_speed, wide).intake_pressure <= pressure or (pressure > path.ambient and not own):
        return wide.command, states

    def settled(opening: float) -> np.ndarray:
        return settled_states(path._replace(command=Command(opening, boost)), crank_speed, states)

    def over(opening: float) -> float:
        return point_at(settled(opening), crank_speed, path).intake_pressure - pressure

    opening = 0.0 if over(0.0) >= 0.0 else float(brentq(over, 0.0, 1.0, xtol=NEAR))
    return Command(opening, boost), settled(opening)
