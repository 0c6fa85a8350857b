"""Rotors and shafts packed for the equations of motion, and the states they start from."""

from __future__ import annotations

import math

import numpy as np

from vibsim.engine.drivetrain import Drivetrain, Part
from vibsim.engine.moving_mass import CYLINDER, ECCENTRIC
from vibsim.inputs.case_checks import GROUND
from vibsim.inputs.errors import InputError
from vibsim.inputs.models import Case
from vibsim.inputs.rotor_models import NOSE
from vibsim.solver.clutch_motion import CLOSED
from vibsim.solver.fed import MoreState
from vibsim.solver.rotor_motion import COLUMNS, PART, SHAFT, Rotors

LEAD_FLOOR, SPEED_FLOOR, SPEED_SHARE = 1e-3, 1.0, 0.1  # rad, rad/s; as those of the crank


def carried_inertias(
    case: Case, found: Drivetrain | None, inertia: np.ndarray, axes: list[np.ndarray], crank: np.ndarray
) -> np.ndarray:
    """Inertias (bodies, 3, 3) without that of the plain rotors they carry about the crank's direction (3).

    A rotor was weighed with its body unless that has moving_parts = "separate". Raises InputError for a body that its
    rotors outweigh.
    """
    if found is None:
        return inertia
    left, names = inertia.copy(), [body.name for body in case.body]
    for part in plain_parts(found):
        if part.body == GROUND:
            continue
        b = names.index(part.body)
        if case.body[b].moving_parts == "included" or part.name == NOSE:
            along = axes[b].T @ direction(part, crank)
            left[b] -= part.inertia * np.outer(along, along)
    for b, name in enumerate(names):
        if np.linalg.eigvalsh(left[b])[0] <= 0.0:
            raise InputError(
                f"body[{b + 1}] ('{name}').inertia: less than that of the rotors it carries; weigh again, say "
                'moving_parts = "separate", or give those rotors another body'
            )
    return left


def carried_inertia(rotors: Rotors, body: int, of_crank_alone: bool) -> np.ndarray:
    """Inertia (3, 3) kg m² of the plain rotors that a body carries, or of those that are part of the crank, about their
    axes alone, in its own axes."""
    total = np.zeros((3, 3))
    for part in rotors.parts[1 + rotors.throws :]:
        if part["body"] == body and (part["of_crank"] or not of_crank_alone):
            along = np.array([part["ax"], part["ay"], part["az"]])
            total += part["inertia"] * np.outer(along, along)
    return total


def rotor_momenta(rotors: Rotors | None, speed: float, bodies: int) -> list[tuple[int, np.ndarray]]:
    """Bodies with the angular momentum (3) N m s, own axes, of a rotor that each carries, beyond the crank."""
    if rotors is None:
        return []
    found = []
    for part in rotors.parts[1 + rotors.throws :]:
        if 0 <= part["body"] < bodies and not part["of_crank"]:
            along = np.array([part["ax"], part["ay"], part["az"]])
            found.append((int(part["body"]), part["inertia"] * part["ratio"] * speed * along))
    return found


def direction(part: Part, crank: np.ndarray) -> np.ndarray:
    """Unit vector (3) along a part's axis, vehicle axes."""
    return crank if part.axis is None else np.array(part.axis) / np.linalg.norm(part.axis)


def plain_parts(found: Drivetrain) -> tuple[Part, ...]:
    """Parts beside crank and throws."""
    return found.parts[1 + found.throws :]


def pack_rotors(
    found: Drivetrain, names: list[str], axes: list[np.ndarray], crank: np.ndarray, reactor: int | None, first: int
) -> tuple[Rotors, tuple[MoreState, ...]]:
    """Arrays and states, the first of which has the index `first`; the load is reacted by body `reactor`, None for the
    one that carries its rotor."""
    parts = np.zeros(len(found.parts), dtype=PART)
    states: list[MoreState] = []
    cylinders: list[np.ndarray] = []
    eccentrics: list[np.ndarray] = []
    order: list[int] = []
    for n, part in enumerate(found.parts):
        body = -1 if part.body == GROUND else names.index(part.body)
        along = direction(part, crank)
        along = along if body < 0 else axes[body].T @ along
        row = parts[n]
        row["ratio"], row["body"], row["state"], row["lead"] = part.ratio, body, -1, -1
        row["inertia"], row["momentum"] = part.inertia, part.inertia
        row["of_crank"] = n <= found.throws or part.name == NOSE
        row["ax"], row["ay"], row["az"] = along
        row["first_cylinder"], row["first_eccentric"] = len(order), sum(len(rows) for rows in eccentrics)
        if part.train is not None and found.throws:
            train = part.train
            row["inertia"], row["momentum"] = train.rotor_inertia, train.rotor_momentum
            row["mass"], row["moment_x"], row["moment_xx"] = train.mass, train.moment_x, train.moment_xx
            cylinders.append(train.cylinders)
            eccentrics.append(train.eccentrics)
            order += part.cylinders
        row["end_cylinder"], row["end_eccentric"] = len(order), sum(len(rows) for rows in eccentrics)
        if 0 < n <= found.throws:
            row["lead"] = first + len(states)
            states.append(MoreState(f"twist of {part.name}", 0.0, LEAD_FLOOR, 0.0))
        if n > 0:
            row["state"] = first + len(states)
            states.append(MoreState(f"speed of rotor '{part.name}'", 0.0, SPEED_FLOOR * part.felt, SPEED_SHARE))
    shafts = np.zeros(len(found.links), dtype=SHAFT)
    numbers: list[tuple[float, float, float]] = []
    for n, link in enumerate(found.links):
        row, law = shafts[n], link.law
        row["ratio"], row["first"], row["second"] = link.ratio, link.first, link.second
        row["slope"], row["twist"], row["torque"] = law.slope, law.twist_ref, law.torque_ref
        row["damping"], row["friction"], row["share"] = link.run_damping, link.friction, 1.0
        row["half_lash"], row["lash_width"] = law.half_lash, law.lash_width
        row["numbers"], row["corners"] = 3 * len(numbers), len(law.corners)
        row["state"] = first + len(states)
        numbers += law.corners
        states.append(MoreState(f"twist of shaft '{link.name}'", 0.0, LEAD_FLOOR, 0.0))
    rotors = Rotors(
        parts=parts,
        shafts=shafts,
        numbers=np.array(numbers, dtype=float).ravel(),
        throws=found.throws,
        cylinders=np.concatenate([*cylinders, np.zeros(0, CYLINDER)]),
        order=np.array(order, dtype=np.int64),
        eccentrics=np.concatenate([*eccentrics, np.zeros(0, ECCENTRIC)]),
        load_on=found.load,
        reactor=int(parts[found.load]["body"]) if reactor is None else reactor,
        work=np.zeros((len(parts), COLUMNS)),
        matrix=np.zeros((6, 7)),
        torques=np.zeros(len(shafts)),
    )
    return rotors, tuple(states)


def spin_up(y: np.ndarray, rotors: Rotors, speed: float, felt: np.ndarray, on_bodies: int) -> None:
    """Give throws and rotors of a state y, whose bodies are at rest, the speeds that go with a crank speed (rad/s).

    `felt` (parts) kg m² at the state's crank angle. The angular momenta of bodies (13 states each) take in those of the
    rotors they carry; those of throws and nose are in the engine's already.
    """
    for n, part in enumerate(rotors.parts):
        if n == 0:
            continue
        spin = felt[n] * part["ratio"] * speed
        clutch = rotors.clutch
        if clutch is not None and clutch.mode != CLOSED and clutch.behind[n]:
            spin = part["inertia"] * part["ratio"] * clutch.driven_speed
        y[part["state"]] = spin
        if not part["of_crank"] and 0 <= part["body"] < on_bodies:
            at = 13 * int(part["body"]) + 10
            y[at : at + 3] += spin * np.array([part["ax"], part["ay"], part["az"]])


def twist(y: np.ndarray, rotors: Rotors, found: Drivetrain, torque: float) -> None:
    """Twist the shafts of a state y as they stand under a mean load (N m, felt at the crank)."""
    twists = found.mean_twists(torque)
    y[rotors.shafts["state"]] = twists
    leads = np.linalg.lstsq(found.incidence[:, 1:], twists, rcond=None)[0]  # angles with the crank's own at zero
    for n in range(1, 1 + rotors.throws):
        y[rotors.parts[n]["lead"]] = leads[n - 1]


def without_damping(rotors: Rotors) -> Rotors:
    """Shafts without damper and friction: about rest these would be slopes on the bodies of rotors that stand still."""
    shafts = rotors.shafts.copy()
    shafts["damping"], shafts["friction"] = 0.0, 0.0
    return rotors._replace(shafts=shafts)


def rubber_notes(found: Drivetrain | None) -> tuple[str, ...]:
    """What a run makes of shafts with a loss factor."""
    return tuple(
        f"shaft '{link.name}': loss factor {link.loss_factor:g} runs as a viscous damper of "
        f"{link.run_damping - link.damping:.3g} N m s/rad, which loses as much at "
        f"{link.loss_rate / (2.0 * math.pi):.0f} Hz, less below and more above"
        for link in (() if found is None else found.links)
        if link.loss_factor
    )
