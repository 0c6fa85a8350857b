"""A road as a step of a run: level where the step begins, then its profile, level again where it ends.

Distance counts from where the foremost wheel stands as the step begins; afterwards the vehicle stands where it is.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from vibsim.engine.air_setup import commanded
from vibsim.engine.air_steady import looked_up
from vibsim.inputs.errors import InputError
from vibsim.inputs.models import Case, Engine
from vibsim.inputs.road_models import RoughRoad
from vibsim.inputs.step_models import Step
from vibsim.inputs.steps import load_of
from vibsim.solver.crank_drive import Governor
from vibsim.solver.crank_torque import mean_inertia, mean_torque
from vibsim.solver.motion import load_torque
from vibsim.solver.packed import Packed
from vibsim.solver.road import contact_lengths, lay, wheelbase_of
from vibsim.structure.vertical_parts import Road, road_under

HOLDING_TIME = 0.2  # s, in which the brake brings the crank back to its speed: several cycles
BRAKE_RESPONSE = 0.05  # s
ANY_TORQUE = 1e6  # N m, more than any brake is asked for


def on_level(packed: Packed, steps: Iterable[Step]) -> Packed:
    """The model standing on a level road, where any of the steps drives over one; others unchanged."""
    parts = packed.model.parts
    if parts is None or not any(step.kind == "road" for step in steps):
        return packed
    level = np.zeros((2, parts.wheels.size))
    wheels = parts.wheels.copy()
    wheels["track"], wheels["ahead"] = np.arange(wheels.size), wheels["ahead"] - wheels["ahead"].max()
    parts = parts._replace(wheels=wheels, road=Road(level, np.zeros_like(level), 0.0, 1.0, 0.0))
    return packed._replace(model=packed.model._replace(parts=parts))


def standing(packed: Packed) -> Packed:
    """The model with its vehicle standing on the road, where it has one to drive over."""
    parts = packed.model.parts
    if parts is None or parts.road.speed == 0.0:
        return packed
    return packed._replace(model=packed.model._replace(parts=parts._replace(road=parts.road._replace(speed=0.0))))


def onto_road(case: Case, packed: Packed, step: Step, index: int, seconds: float, y: np.ndarray) -> Packed:
    """The model that drives over a step's road for so many seconds; state y (state) begins it, its distance at zero. It
    goes on from the height that each wheel stands on.

    A random road fades in from level over half its run_in, and out again before the step ends. Raises InputError for a
    road that cannot be had.
    """
    from vibsim.structure.road_profiles import profiles  # loads a second of library

    parts, road, speed = packed.model.parts, step.road, step.vehicle_speed
    assert parts is not None and road is not None and speed is not None
    where = f"run.step[{index + 1}]"
    stands = [road_under(parts.road, wheel["ahead"], wheel["track"], y[parts.distance])[0] for wheel in parts.wheels]
    length, fade, level_from = speed * seconds, 0.0, None
    if isinstance(road, RoughRoad):
        fade, level_from = 0.5 * speed * road.run_in, length - wheelbase_of(packed)
        if level_from < 2.0 * fade:
            raise InputError(
                f"{where}.duration: got {seconds:g} s; the road fades in and out over {0.5 * road.run_in:g} s each and "
                f"the wheelbase takes {wheelbase_of(packed) / speed:.2g} s; lengthen it, or shorten road.run_in"
            )
    curves = profiles(road, parts.wheels["stand_y"], length, fade, packed.folder, level_from)
    laid = lay(packed, road, curves, contact_lengths(case, packed), length, speed, f"{where}.duration: {seconds:g} s")
    found = laid.model.parts
    assert found is not None
    raised = found._replace(road=found.road._replace(height=found.road.height + np.array(stands)))
    y[found.distance] = 0.0
    return laid._replace(model=laid.model._replace(parts=raised))


def holding_governor(step: Step, engine: Engine, packed: Packed, speed: float) -> Governor:
    """A brake that holds a mean crank speed (rad/s): it begins with the engine's mean torque there, and adds shares of
    the speed that is missing and of its integral (derived: critically damped but for the brake's own response)."""
    inertia, torque = mean_inertia(packed), mean_brake_torque(step, engine, packed, speed)
    slope = inertia / HOLDING_TIME
    return Governor(
        True, False, speed, -torque, slope, 0.25 * slope / HOLDING_TIME, -ANY_TORQUE, ANY_TORQUE, BRAKE_RESPONSE
    )


def mean_brake_torque(step: Step, engine: Engine, packed: Packed, speed: float) -> float:
    """Mean torque (N m) of the engine at a step's load beyond losses and the load's law."""
    gas, path = packed.model.gas, packed.model.air
    if path is not None:
        settled, states = commanded(engine, packed.folder, path, speed, load_of(step))
        intake, exhaust = looked_up(states, settled)
        gas = gas._replace(intake=intake, exhaust=exhaust)
    gas = gas._replace(shares=np.zeros((0, 0)))
    model = packed.model._replace(gas=gas)
    return mean_torque(packed._replace(model=model, repeats=1), speed) - float(load_torque(speed, model.load))
