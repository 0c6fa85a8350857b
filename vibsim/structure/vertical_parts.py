"""Wheels, anti-roll bars and seated people: masses that move along vehicle Z, and the laws of what joins them.

A wheel carries its body through suspension and stands on the road through its tyre; its links are taken as rigid, so
tyre forces along X and Y act on the body where the tyre stands. Masses here are those that move up and down; along X
and Y they move with their body, whose inertia there they are part of (see `vertical_pack`).
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from vibsim.jit import inlined

NEVER = 1e3  # m, where a stop that is not there begins
ONSET = 5e-3  # m, over which the stiffness of a stop comes on; common practice, no source
CONTACT = 1e-3  # m of a tyre's or cushion's compression, over which it takes hold sideways and its damper comes in
TURNING_SPEED = 0.02  # m/s over which a damper goes over from its mean rate to that of its direction

# x, y, z the wheel's centre, foot_x.. the tyre's foot as drawn, in the body's own axes; height, stand_x, stand_y the
# same in vehicle axes; ahead: its place along X, for the road; state: of its height, then its speed
WHEEL = np.dtype(
    [("body", np.int64), ("state", np.int64), ("track", np.int64)]
    + [
        (name, float)
        for name in (
            *("x", "y", "z", "foot_x", "foot_y", "foot_z", "height", "stand_x", "stand_y", "ahead", "mass"),
            *("stiffness", "preload", "damping", "damping_apart"),
            *("bump_gap", "bump_stiffness", "rebound_gap", "rebound_stiffness"),
            *("tyre_stiffness", "tyre_damping", "side_stiffness", "side_damping", "along_stiffness", "along_damping"),
        )
    ]
)
BAR = np.dtype([("first", np.int64), ("second", np.int64), ("stiffness", float)])
# state: of the frame's height, then its speed, then those of the two bodies on it
OCCUPANT = np.dtype(
    [("body", np.int64), ("state", np.int64)]
    + [
        (name, float)
        for name in (
            *("x", "y", "z", "height", "stiffness", "damping", "frame"),
            *("first_mass", "first_stiffness", "first_damping", "second_mass", "second_stiffness", "second_damping"),
        )
    ]
)


class Road(NamedTuple):
    """Height of the road (points, tracks) m over the distance travelled and its slope there, at equal steps (m) from
    `begin` (m); a wheel sees it where the distance travelled and its own place along X add up to. Level without points,
    as at its ends beyond them. `speed` (m/s) is what the distance grows by."""

    height: np.ndarray
    slope: np.ndarray
    begin: float
    step: float
    speed: float


class Parts(NamedTuple):
    """Everything that moves along vehicle Z by itself. `distance` is the state of the distance travelled, the last of
    theirs, `at` their first; `acceleration` (3) m/s² of the whole vehicle, for statics; `frozen` keeps their heights
    when bodies are moved to look at forces near rest. `mass` (bodies, 6, 6) that of a body with what it carries along X
    and Y, from velocities in own axes to momenta, `inverse` its inverse; `laden` (bodies) says which have that."""

    wheels: np.ndarray
    bars: np.ndarray
    occupants: np.ndarray
    road: Road
    at: int
    distance: int
    inverse: np.ndarray
    mass: np.ndarray
    laden: np.ndarray
    acceleration: tuple[float, float, float] = (0.0, 0.0, 0.0)
    frozen: bool = False


@inlined
def road_under(road, ahead, track, distance):
    """Height (m) and rate of height (m/s) of the road under a wheel: cubic between its points, so without a jump in
    slope."""
    points = road.height.shape[0]
    if points < 2:
        return 0.0, 0.0
    along = (distance + ahead - road.begin) / road.step
    if along <= 0.0:
        return road.height[0, track], 0.0
    if along >= points - 1.0:
        return road.height[points - 1, track], 0.0
    n = int(along)
    s = along - n
    low, high = road.height[n, track], road.height[n + 1, track]
    a, b = road.step * road.slope[n, track], road.step * road.slope[n + 1, track]
    bend, twist = 3.0 * (high - low) - 2.0 * a - b, 2.0 * (low - high) + a + b
    height = low + s * (a + s * (bend + s * twist))
    return height, (a + s * (2.0 * bend + 3.0 * s * twist)) * road.speed / road.step


@inlined
def stop_force(depth, stiffness):
    """Force (N) of a stop pressed in by a depth (m) and its tangent (N/m); the stiffness comes on as 3s² − 2s³."""
    if depth <= 0.0:
        return 0.0, 0.0
    if depth >= ONSET:
        return stiffness * (depth - 0.5 * ONSET), stiffness
    s = depth / ONSET
    return stiffness * ONSET * s * s * s * (1.0 - 0.5 * s), stiffness * s * s * (3.0 - 2.0 * s)


@inlined
def suspension(wheel, travel, rate):
    """Force (N) up on the body and down on the wheel at a travel (m, the wheel up against the body), and its tangent.

    The damper is ½(b + r)·v + ½(b − r)·(√(v² + v₀²) − v₀): bump rate b far above v₀, rebound rate r far below −v₀,
    their mean at 0, and never a push (derived: |√(v² + v₀²) − v₀| ≤ |v|).
    """
    bump, bump_rate = stop_force(travel - wheel.bump_gap, wheel.bump_stiffness)
    drop, drop_rate = stop_force(-travel - wheel.rebound_gap, wheel.rebound_stiffness)
    drag = wheel.damping * rate
    drag += wheel.damping_apart * (math.sqrt(rate * rate + TURNING_SPEED * TURNING_SPEED) - TURNING_SPEED)
    force = wheel.preload + wheel.stiffness * travel + bump - drop + drag
    return force, wheel.stiffness + bump_rate + drop_rate


@inlined
def held_share(depth):
    """Share (0 to 1) of a contact that is closed by a depth (m), and how it grows."""
    if depth <= 0.0:
        return 0.0, 0.0
    if depth >= CONTACT:
        return 1.0, 0.0
    s = depth / CONTACT
    return s * s * (3.0 - 2.0 * s), 6.0 * s * (1.0 - s) / CONTACT


@inlined
def contact(stiffness, damping, depth, rate):
    """Force (N) of a spring and damper that only push, compressed by a depth (m) at a rate (m/s)."""
    if depth <= 0.0:
        return 0.0
    return max(0.0, stiffness * depth + held_share(depth)[0] * damping * rate)


@inlined
def tyre(wheel, depth, rate, x, y, u, v):
    """Force (N) of the road on a tyre along X, Y, Z: compressed by a depth (m) at a rate, its foot off by x, y (m) at
    speeds u, v (m/s) from where it stands.

    Sideways it holds by as much as its contact is closed: from the potential g(depth)·½(k_x·x² + k_y·y²), whose
    gradient has a vertical part as it lets go, so that a tyre that leaves the road and comes back makes no energy.
    """
    share, growth = held_share(depth)
    fx = -share * (wheel.along_stiffness * x + wheel.along_damping * u)
    fy = -share * (wheel.side_stiffness * y + wheel.side_damping * v)
    stored = 0.5 * (wheel.along_stiffness * x * x + wheel.side_stiffness * y * y)
    return fx, fy, contact(wheel.tyre_stiffness, wheel.tyre_damping, depth, rate) + growth * stored


def no_road() -> Road:
    return Road(np.zeros((0, 1)), np.zeros((0, 1)), 0.0, 1.0, 0.0)


def part_heights(parts: Parts) -> list[int]:
    """States that are heights, of wheels and then of occupants; after each stands its speed."""
    wheels = [int(wheel["state"]) for wheel in parts.wheels]
    return wheels + [int(person["state"]) + 2 * k for person in parts.occupants for k in range(3)]


def part_masses(parts: Parts) -> np.ndarray:
    """Masses (kg) of what moves up and down, in the order of `part_heights`."""
    seated = [float(person[key]) for person in parts.occupants for key in ("frame", "first_mass", "second_mass")]
    return np.array([*parts.wheels["mass"], *seated])


def part_bodies(parts: Parts) -> list[int]:
    """The body that each of them goes with, in the same order."""
    return [*map(int, parts.wheels["body"]), *(int(person["body"]) for person in parts.occupants for _ in range(3))]
