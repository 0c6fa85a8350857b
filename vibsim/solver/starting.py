"""What a step changes: fuel per cylinder and cycle, throttle, governor, starter, the law of the crank's speed."""

from __future__ import annotations

import math

import numpy as np

from vibsim.engine.air_path import OPENING
from vibsim.engine.air_setup import commanded
from vibsim.engine.air_steady import command_for, first_states
from vibsim.engine.variation import with_shares
from vibsim.inputs.models import Engine
from vibsim.inputs.starting_models import ThrottleGovernor
from vibsim.inputs.step_models import Step
from vibsim.inputs.steps import is_prescribed, load_of
from vibsim.solver.carrier import A_, B_, C_
from vibsim.solver.crank_drive import CLOCK, GOVERNED, INTEGRAL, NO_DRIVE, NO_GOVERNOR, NO_RAMP, Drive, Governor, Ramp
from vibsim.solver.crank_torque import mean_torque
from vibsim.solver.driven import starter_law
from vibsim.solver.motion import V, W, derivatives, gas_torques, load_torque
from vibsim.solver.packed import Packed
from vibsim.solver.road_step import holding_governor
from vibsim.solver.stepper import Stepper

SPARE = 2  # cycles before the first, for a crank that turns back
FIRST_STEP = 1e-5  # s
REST_POINTS = 1441


def first_shares(packed: Packed, seconds: float) -> Packed:
    """The model with shares of burning for every cycle of a run of so many seconds, all of them burning; the last,
    which stands for all before the first, is unfired. Unchanged where the gas knows no cycle without fire."""
    gas = packed.model.gas
    if not gas.unfired.size:
        return packed
    rows = math.ceil(seconds * gas.nodes.speeds[-1] / gas.cycle) + 2 * SPARE
    shares = np.ones((rows, gas.charges.size))
    shares[-1] = 0.0
    return packed._replace(model=packed.model._replace(gas=with_shares(gas, shares, SPARE)))


def set_fuel(packed: Packed, angle: float, burns: bool) -> None:
    """From a crank angle (rad) on let cycles burn or not; what is under way in a cylinder goes on as it is."""
    gas = packed.model.gas
    if not gas.shares.size:
        return
    under_way = np.floor((angle - gas.charges["begins"]) / gas.cycle).astype(int)
    for cylinder, row in enumerate(under_way):
        gas.shares[max(row + 1, 0) : -1, cylinder] = float(burns)


def fire_from(packed: Packed, angle: float) -> None:
    """Let cycles burn whose firing top dead centre comes at a crank angle (rad) or after it."""
    gas = packed.model.gas
    if not gas.shares.size:
        return
    first = np.ceil((angle - gas.charges["begins"]) / gas.cycle - 0.5).astype(int)
    for cylinder, row in enumerate(first):
        gas.shares[: max(row, 0), cylinder] = 0.0
        gas.shares[max(row, 0) : -1, cylinder] = 1.0


def unfired(packed: Packed) -> Packed:
    """The model with nothing burning, and the surroundings' pressure in the intake."""
    gas, path = packed.model.gas, packed.model.air
    shares = np.zeros_like(gas.shares)
    intake = gas.intake if path is None else path.ambient
    return packed._replace(model=packed.model._replace(gas=gas._replace(shares=shares, intake=intake)))


def mean_surplus(packed: Packed, speed: float, intake: float) -> float:
    """Mean torque (N m) of the engine beyond losses and load, everything firing at an intake pressure (Pa)."""
    gas = packed.model.gas._replace(intake=intake, shares=np.zeros((0, 0)))
    model = packed.model._replace(gas=gas)
    plain = packed._replace(model=model, repeats=1)
    return mean_torque(plain, speed) - float(load_torque(speed, model.load))


def idle_opening(packed: Packed, speed: float) -> tuple[float, np.ndarray]:
    """Opening of the throttle that holds a crank speed (rad/s), or as near as it comes, and the air path's states (n)
    there."""
    from scipy.optimize import brentq

    path = packed.model.air
    assert path is not None
    low, high = float(path.nodes.intakes[0]), float(min(path.nodes.intakes[-1], path.ambient))
    if mean_surplus(packed, speed, low) >= 0.0:
        pressure = low
    elif mean_surplus(packed, speed, high) <= 0.0:
        pressure = high
    else:
        pressure = float(brentq(lambda p: mean_surplus(packed, speed, p), low, high, xtol=1.0))
    command, states = command_for(path, speed, pressure)
    return float(command.opening), states


def governor_law(engine: Engine, opening: float) -> Governor:
    """The case's governor about the opening (0 to 1) of the throttle that should hold its speed."""
    table = engine.governor
    if table is None:
        return NO_GOVERNOR
    gains = table.proportional, table.integral
    if isinstance(table, ThrottleGovernor):
        limit = max(table.greatest_opening, 0.0)
        return Governor(True, True, table.speed, min(opening, limit), *gains, 0.0, limit, table.response)
    limit = table.greatest_torque
    return Governor(True, False, table.speed, 0.0, *gains, -limit, limit, table.response)


def opening_for(step: Step, engine: Engine, packed: Packed, speed: float, idle: float) -> tuple[float, float]:
    """Opening of the throttle, and the pressure (Pa) that a charger is asked for, in a step."""
    path = packed.model.air
    assert path is not None
    if step.kind in ("start", "idle"):
        return idle, path.ambient
    if step.kind == "stop" or step.fuel_cut:
        return 0.0, path.ambient
    command = commanded(engine, packed.folder, path, speed, load_of(step))[0].command
    return float(command.opening), float(command.pressure)


def for_step(step: Step, engine: Engine, packed: Packed, speed: float, idle: float) -> Packed:
    """The model of a step that begins at a crank speed (rad/s); `idle` the opening of the throttle at idle."""
    if packed.model.air is not None:
        opening, pressure = opening_for(step, engine, packed, max(speed, step.speed_to or 0.0), idle)
        command = packed.model.air.command._replace(opening=opening, pressure=pressure)
        packed = packed.with_air(packed.model.air._replace(command=command))
    # a torque that stands for a throttle would turn the engine over by itself
    governed = step.kind == "idle" or (step.kind == "start" and isinstance(engine.governor, ThrottleGovernor))
    governor = governor_law(engine, idle) if governed else NO_GOVERNOR
    if step.kind == "road" and not is_prescribed(step):
        governor = holding_governor(step, engine, packed, speed)
    return packed.with_drive(
        Drive(
            ramp_of(step, speed),
            float(step.driven_inertia) if step.kind in ("run_up", "coast_down") else 0.0,
            starter_law(packed.starter, step.kind == "start"),
            governor,
        )
    )


def ramp_of(step: Step, speed: float) -> Ramp:
    """The law of a prescribed crank speed from the one (rad/s) that a step begins with."""
    if not is_prescribed(step):
        return NO_RAMP
    if step.rate is None or step.speed_to is None:
        return Ramp(True, speed, 0.0, speed)
    rate = step.rate if step.speed_to >= speed else -step.rate
    return Ramp(True, float(speed), float(rate), float(step.speed_to))


def held_speed(packed: Packed, speed: float) -> Packed:
    """The model with a crank speed (rad/s) met exactly at every moment."""
    return packed.with_drive(NO_DRIVE._replace(ramp=Ramp(True, float(speed), 0.0, float(speed))))


def free_speed(packed: Packed) -> Packed:
    """The model without anything that drives or holds the crank but engine and load."""
    return packed.with_drive(NO_DRIVE)


def renew(stepper: Stepper, before: Packed, after: Packed) -> None:
    """Go on with another model: the drive's states begin anew but for a governor that stays at work, the crank's
    momentum is what its speed says."""
    derivatives(stepper.y, before.model, stepper.w, stepper.e, stepper.f)
    w, e, c = stepper.w, stepper.e, before.model.carrier
    stepper.y[-1] = e[A_ : A_ + 3] @ w[c, V : V + 3] + e[B_ : B_ + 3] @ w[c, W : W + 3] + e[C_] * stepper.f[-2]
    at = after.model.drive_at
    goes_on = _governed(before) and _governed(after)
    if after.model.drive is not None:
        stepper.y[at + CLOCK] = 0.0
        if not goes_on:
            stepper.y[at + INTEGRAL] = 0.0
            stepper.y[at + GOVERNED] = first_torque(after.model.drive.governor)
    stepper.clock[1] = FIRST_STEP
    derivatives(stepper.y, after.model, stepper.w, stepper.e, stepper.f)


def first_torque(governor: Governor) -> float:
    """Torque (N m) that a governor begins with: a brake that holds a speed is at work at once."""
    return 0.0 if governor.throttle or not governor.on else governor.base


def _governed(packed: Packed) -> bool:
    """Whether a governor of the case's own is at work, which holds no other speed in the next step."""
    drive = packed.model.drive
    return drive is not None and drive.governor.on and (drive.governor.throttle or drive.governor.base == 0.0)


def rest_angle(packed: Packed) -> float:
    """First crank angle (rad) of a cycle at which the gas in the cylinders pushes the crank neither way, and back to
    where it moves from there; zero where there is none."""
    angle = np.linspace(0.0, packed.cycle, REST_POINTS)
    torque = np.empty(REST_POINTS)
    gas_torques(angle, 0.0, packed.model, torque)
    places = np.flatnonzero((torque[:-1] > 0.0) & (torque[1:] <= 0.0))
    if not places.size:
        return 0.0
    n = int(places[0])
    return float(angle[n] + torque[n] / (torque[n] - torque[n + 1]) * (angle[n + 1] - angle[n]))


def still_air(y: np.ndarray, packed: Packed, opening: float) -> None:
    """The air path at rest, as before a start: the surroundings' pressure in the intake, the throttle at idle."""
    path = packed.model.air
    if path is not None:
        states = first_states(path)
        states[OPENING] = opening
        y[packed.model.air_at : packed.model.air_at + states.size] = states
