"""A vehicle put on its road: the tables that its wheels look up, and where they stand on it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from vibsim.inputs.errors import InputError
from vibsim.inputs.models import Case, Run
from vibsim.inputs.road_models import Road as AnyRoad
from vibsim.inputs.road_models import RoughRoad
from vibsim.solver.packed import Packed
from vibsim.solver.start import equilibrium, state_at
from vibsim.structure.vertical_parts import Road

if TYPE_CHECKING:
    from scipy.interpolate import PPoly

PER_CONTACT, PER_FEATURE = 16, 40  # points of a wheel's table per length of contact, per shortest wave or bump
MOST_POINTS = 5_000_000  # of the tables of all wheels
LEAST_CONTACT = 0.02  # m, of a tyre hardly pressed in


@dataclass(frozen=True)
class Driven:
    """A vehicle on its road: speed m/s, contact length (wheels) m, seconds on the road before the record."""

    packed: Packed
    speed: float
    contact: np.ndarray
    run_in: float


def on_road(case: Case, run: Run, packed: Packed) -> Driven:
    """The model that drives over the run's road from distance 0 on, where its foremost wheel stands.

    Raises InputError for a road that cannot be had.
    """
    from vibsim.structure.road_profiles import profiles  # loads a second of library

    road, speed = run.road, run.vehicle_speed
    assert packed.model.parts is not None and road is not None and speed is not None
    contact = contact_lengths(case, packed)
    wheelbase = wheelbase_of(packed)
    run_in = road.run_in + wheelbase / speed if isinstance(road, RoughRoad) else 0.0
    fade = 0.5 * speed * road.run_in if isinstance(road, RoughRoad) else 0.0
    slowest_cycle = 2.0 * packed.period / run.speed if run_in else 0.0  # the run-in ends with a whole cycle
    length = speed * (run_in + slowest_cycle + run.duration)
    curves = profiles(road, packed.model.parts.wheels["stand_y"], length, fade, packed.folder)
    laid = lay(packed, road, curves, contact, length, speed, f"run.duration: {run.duration:g} s")
    return Driven(laid, speed, contact, run_in)


def wheelbase_of(packed: Packed) -> float:
    """Distance (m) along X of the foremost from the rearmost wheel."""
    parts = packed.model.parts
    return float(np.ptp(parts.wheels["ahead"])) if parts is not None else 0.0


def lay(
    packed: Packed, road: AnyRoad, curves: list[PPoly], contact: np.ndarray, length: float, speed: float, who: str
) -> Packed:
    """The model with the profiles of its wheels as tables over `length` (m) of road, travelled at a speed (m/s).

    Raises InputError for tables that get too long, of what `who` says.
    """
    from vibsim.structure.road_profiles import felt, shortest_feature

    parts = packed.model.parts
    assert parts is not None
    ahead = parts.wheels["ahead"] - parts.wheels["ahead"].max()
    step = min(float(contact.min()) / PER_CONTACT, shortest_feature(road) / PER_FEATURE)
    begin, end = float(ahead.min()) - float(contact.max()), length + float(contact.max())
    points = math.ceil((end - begin) / step) + 1
    if points * len(contact) > MOST_POINTS:
        raise InputError(
            f"{who} is {length:.4g} m of road, {points * len(contact):,} points at "
            f"{1e3 * step:.3g} mm over all wheels; at most {MOST_POINTS:,}; shorten it"
        )
    distance = begin + step * np.arange(points)
    found = [felt(curve, float(one), distance) for curve, one in zip(curves, contact, strict=True)]
    height, slope = (np.ascontiguousarray(np.stack(columns, axis=1)) for columns in zip(*found, strict=True))
    wheels = parts.wheels.copy()
    wheels["track"], wheels["ahead"] = np.arange(len(contact)), ahead
    parts = parts._replace(wheels=wheels, road=Road(height, slope, begin, step, float(speed)))
    return packed._replace(model=packed.model._replace(parts=parts))


def contact_lengths(case: Case, packed: Packed) -> np.ndarray:
    """Length (wheels) m of each tyre on the road: as given, or the chord 2·√(2Rδ − δ²) of its circle pressed in by δ at
    rest (geometry of the undeformed circle; a real tyre's contact is somewhat
    shorter)."""
    parts = packed.model.parts
    assert parts is not None
    y = state_at(packed, equilibrium(packed).displacement)
    found = []
    for wheel, row in zip(case.wheel, parts.wheels, strict=True):
        depth = max(float(row["height"] - y[row["state"]]), 0.0)
        chord = 2.0 * math.sqrt(max(2.0 * wheel.radius * depth - depth**2, 0.0))
        found.append(max(chord, LEAST_CONTACT) if wheel.contact_length is None else wheel.contact_length)
    return np.array(found)
