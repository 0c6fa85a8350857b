"""Wheels, anti-roll bars and occupants of a case packed for the jitted laws."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from vibsim.inputs.models import Case
from vibsim.inputs.vehicle_models import Occupant, Wheel
from vibsim.structure.elastic_axes import shift_matrix
from vibsim.structure.vertical_parts import BAR, NEVER, OCCUPANT, WHEEL, Parts, Road, no_road

# Two bodies on a frame, model 2b fitted to the apparent mass of 60 people sitting upright on a rigid seat, feet moving
# with it (Wei and Griffin 1998, J. Sound Vib. 212; from memory): kg, N/m, N s/m, for 50.8 kg on the seat. With another
# mass all three are scaled alike, which keeps frequencies and damping.
FRAME, FIRST, SECOND = 6.7, (33.4, 35776.0, 761.0), (10.7, 38374.0, 458.0)
FITTED_MASS = FRAME + FIRST[0] + SECOND[0]
HEIGHT_FLOOR, SPEED_FLOOR = 1e-3, 0.1  # m, m/s: the scales that tolerance is a share of
UPRIGHT = np.diag([1.0, 1.0, 0.0])
MASSES = ("frame", "first body", "second body")


class PartState(NamedTuple):
    """A state of a part: what it is, its value as drawn, the size and share that its error is a share of."""

    name: str
    start: float
    floor: float
    relative: float


class PackedParts(NamedTuple):
    """Parts and their states; names and places (n, 3) m as drawn of what moves up and down; `remarks` say what is left
    out."""

    parts: Parts | None = None
    states: tuple[PartState, ...] = ()
    names: tuple[str, ...] = ()
    places: np.ndarray = np.zeros((0, 3))
    remarks: tuple[str, ...] = ()


def pack_parts(
    case: Case,
    names: list[str],
    centres: list[np.ndarray],
    axes: list[np.ndarray],
    body_mass: np.ndarray,
    body_inertia: np.ndarray,
    carrier: int,
    first_state: int,
) -> PackedParts:
    """Pack for the jitted code; bodies as drawn (`centres` m, own `axes`, mass kg, inertia kg m² in own axes) and the
    index of the first state. No parts: None."""
    if not case.wheel and not case.occupant:
        return PackedParts()
    states: list[PartState] = []
    wheels, occupants = np.zeros(len(case.wheel), WHEEL), np.zeros(len(case.occupant), OCCUPANT)
    for n, wheel in enumerate(case.wheel):
        body = names.index(wheel.body)
        _fill_wheel(wheels[n], wheel, body, axes[body].T, centres[body], first_state + len(states))
        states += _height_and_speed(f"wheel '{wheel.name}'", wheel.at[2])
    for n, occupant in enumerate(case.occupant):
        body = names.index(occupant.body)
        _fill_occupant(occupants[n], occupant, body, axes[body].T @ (np.array(occupant.at) - centres[body]))
        occupants[n]["state"] = first_state + len(states)
        for mass in MASSES:
            states += _height_and_speed(f"{mass} of occupant '{occupant.name}'", occupant.at[2])
    order = [wheel.name for wheel in case.wheel]
    bars = [(order.index(bar.between[0]), order.index(bar.between[1]), bar.stiffness) for bar in case.anti_roll_bar]
    distance = first_state + len(states)
    states.append(PartState("distance travelled", 0.0, 1.0, 0.0))
    laden = carried_mass(wheels, occupants, body_mass, body_inertia)
    has = np.array([b in (*wheels["body"], *occupants["body"]) and b != carrier for b in range(len(names))])
    remarks = () if carrier not in (*wheels["body"], *occupants["body"]) else (_remark(names[carrier]),)
    parts = Parts(
        wheels, np.array(bars, BAR), occupants, no_road(), first_state, distance, np.linalg.inv(laden), laden, has
    )
    moving = [(f"wheel {wheel.name}", wheel.at) for wheel in case.wheel]
    moving += [(f"{occupant.name} {mass}", occupant.at) for occupant in case.occupant for mass in MASSES]
    places = np.array([at for _, at in moving])
    return PackedParts(parts, tuple(states), tuple(name for name, _ in moving), places, remarks)


def _remark(body: str) -> str:
    return (
        f"wheels and occupants on the engine's body '{body}': their inertia along X and Y is left out; put what moves "
        "with it on that body's mass, or carry the engine on a mount"
    )


def _height_and_speed(what: str, height: float) -> list[PartState]:
    return [
        PartState(f"height of {what}", height, HEIGHT_FLOOR, 0.0),
        PartState(f"speed of {what}", 0.0, SPEED_FLOOR, 1.0),
    ]


def _fill_wheel(row: np.void, wheel: Wheel, body: int, to_own: np.ndarray, centre: np.ndarray, state: int) -> None:
    at = np.array(wheel.at)
    foot = at - np.array([0.0, 0.0, wheel.radius])
    row["body"], row["state"], row["track"] = body, state, 0
    row["x"], row["y"], row["z"] = to_own @ (at - centre)
    row["foot_x"], row["foot_y"], row["foot_z"] = to_own @ (foot - centre)
    row["stand_x"], row["stand_y"], row["height"], row["ahead"] = at[0], at[1], at[2], at[0]
    row["mass"], row["stiffness"] = wheel.unsprung_mass, wheel.suspension_stiffness
    row["preload"] = wheel.suspension_preload
    row["damping"] = 0.5 * (wheel.bump_damping + wheel.rebound_damping)
    row["damping_apart"] = 0.5 * (wheel.bump_damping - wheel.rebound_damping)
    for side, gap, rate in (
        ("bump", wheel.bump_stop_gap, wheel.bump_stop_stiffness),
        ("rebound", wheel.rebound_stop_gap, wheel.rebound_stop_stiffness),
    ):
        row[f"{side}_gap"] = NEVER if gap is None else gap
        row[f"{side}_stiffness"] = 0.0 if rate is None else rate
    row["tyre_stiffness"], row["tyre_damping"] = wheel.tyre_stiffness, wheel.tyre_damping
    row["side_stiffness"], row["side_damping"] = wheel.tyre_lateral_stiffness, wheel.tyre_lateral_damping
    row["along_stiffness"] = wheel.tyre_longitudinal_stiffness
    row["along_damping"] = wheel.tyre_longitudinal_damping


def _fill_occupant(row: np.void, occupant: Occupant, body: int, place: np.ndarray) -> None:
    share = occupant.mass * occupant.seated_share / FITTED_MASS
    row["body"], row["height"] = body, occupant.at[2]
    row["x"], row["y"], row["z"] = place
    row["stiffness"], row["damping"], row["frame"] = occupant.cushion_stiffness, occupant.cushion_damping, share * FRAME
    for name, numbers in (("first", FIRST), ("second", SECOND)):
        for key, number in zip(("mass", "stiffness", "damping"), numbers, strict=True):
            row[f"{name}_{key}"] = share * number


def seated_mass(occupant: np.void) -> float:
    """What the seat carries (kg)."""
    return float(occupant["frame"] + occupant["first_mass"] + occupant["second_mass"])


def carried_mass(
    wheels: np.ndarray, occupants: np.ndarray, body_mass: np.ndarray, body_inertia: np.ndarray
) -> np.ndarray:
    """Mass (bodies, 6, 6) of bodies with what they carry along X and Y, own axes, about their reference points.

    A mass m at r that goes with its body along X and Y alone adds m·AᵀA, A = diag(1, 1, 0)·(E, −r×) (derived: its
    kinetic energy); for bodies whose own axes are vehicle axes as drawn, and small tilts.
    """
    found = np.zeros((len(body_mass), 6, 6))
    for b, (mass, inertia) in enumerate(zip(body_mass, body_inertia, strict=True)):
        found[b, :3, :3], found[b, 3:, 3:] = mass * np.eye(3), inertia
    for part in (*wheels, *occupants):
        mass = float(part["mass"]) if "mass" in (part.dtype.names or ()) else seated_mass(part)
        place = np.array([part["x"], part["y"], part["z"]])
        moves = UPRIGHT @ shift_matrix(-place)[:3]
        found[part["body"]] += mass * moves.T @ moves
    return found


def road_table(distance: np.ndarray, height: np.ndarray, speed: float) -> Road:
    """A road from heights (points) m, or (points, tracks), at equally spaced distances (points) m, driven over at a
    speed (m/s); slopes are those of a cubic spline, level at both ends."""
    from scipy.interpolate import CubicSpline

    height = np.asarray(height, dtype=float).reshape(len(distance), -1)
    slope = CubicSpline(distance, height, bc_type="clamped")(distance, 1)
    step = float(distance[-1] - distance[0]) / (len(distance) - 1)
    return Road(np.ascontiguousarray(height), np.ascontiguousarray(slope), float(distance[0]), step, float(speed))


def apparent_mass(frequency: np.ndarray, mass: float) -> np.ndarray:
    """Complex apparent mass (kg) at the seat of a person with so much mass (kg) on it, at frequencies (Hz).

    M(ω) = m₀ + Σ mᵢ·(kᵢ + iωcᵢ)/(kᵢ − mᵢω² + iωcᵢ) (derived: bodies on springs on a frame).
    """
    turning = 2j * np.pi * np.asarray(frequency, dtype=float)
    total = np.full(turning.shape, FRAME, dtype=complex)
    for m, k, c in (FIRST, SECOND):
        total += m * (k + turning * c) / (k + turning * c + m * turning**2)
    return total * mass / FITTED_MASS
