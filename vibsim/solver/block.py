"""Masses of a case's bodies for the kernels: what they carry, and the block that is left without its moving parts."""

from __future__ import annotations

import math

import numpy as np

from vibsim.engine.charging.added_mass import with_added_mass
from vibsim.engine.moving_mass import MovingMass, Train, moving_mass
from vibsim.inputs.case_checks import inertia_matrix, why_not_an_inertia
from vibsim.inputs.charging_models import Charged
from vibsim.inputs.errors import InputError
from vibsim.inputs.models import Body, Case
from vibsim.jit import kernel

AVERAGE_POINTS = 96  # the mean of a smooth periodic function converges beyond any power of the step

Triple = tuple[float, float, float]

# one record per body: about the case's centre of mass in the body's own axes, which are vehicle axes as drawn, or
# engine axes for the body that carries the engine; there mass and inertia are the block's
ENTRIES = {"xx": (0, 0), "yy": (1, 1), "zz": (2, 2), "xy": (0, 1), "xz": (0, 2), "yz": (1, 2)}
BODY = np.dtype(
    [("mass", float)] + [(entry, float) for entry in ENTRIES] + [(f"inverse_{entry}", float) for entry in ENTRIES]
)


def triple(vector: np.ndarray) -> Triple:
    return float(vector[0]), float(vector[1]), float(vector[2])


def body_records(mass: np.ndarray, inertia: np.ndarray) -> np.ndarray:
    """Records (BODY) of masses (n) kg and inertias (n, 3, 3) kg m²."""
    bodies = np.zeros(len(mass), dtype=BODY)
    bodies["mass"], inverse = mass, np.linalg.inv(inertia)
    for entry, (row, column) in ENTRIES.items():
        bodies[entry], bodies[f"inverse_{entry}"] = inertia[:, row, column], inverse[:, row, column]
    return bodies


def inertia_of(body: Body) -> np.ndarray:
    return inertia_matrix(np.array(body.inertia), body.inertia_products == "integral")


def moments_about_reference(m: MovingMass, train: Train, origin: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """First moment (3) and inertia (3, 3) of the moving parts about the carrier's reference point, engine axes.

    Both are linear in the sums `m`, so that those of a mean are the mean. Without the constant axial inertia of crank
    and shafts.
    """
    first = np.array([train.moment_x, m.y, m.z])
    second = np.array([[train.moment_xx, m.xy, m.xz], [m.xy, m.yy, m.yz], [m.xz, m.yz, m.zz]])
    second = second + np.outer(origin, first) + np.outer(first, origin) + train.mass * np.outer(origin, origin)
    return train.mass * origin + first, np.trace(second) * np.eye(3) - second


def block_of(
    body: Body, where: str, inertia: np.ndarray, train: Train, origin: np.ndarray
) -> tuple[float, np.ndarray, np.ndarray]:
    """Mass, first moment and inertia of the block: the body as given, less the moving parts if they were weighed in."""
    axial = np.zeros((3, 3))
    axial[0, 0] = train.axial_inertia
    if body.moving_parts == "separate":
        return body.mass, np.zeros(3), inertia + axial
    mean = mean_moving_mass(without_turning_eccentrics(train))
    first, second = moments_about_reference(mean, train, origin)
    block = inertia - second
    mass = body.mass - train.mass
    advice = 'weigh again, or say moving_parts = "separate"'
    if mass <= 0.0:
        raise InputError(
            f"{where}.mass: got {body.mass:g} kg; its moving parts alone weigh {train.mass:g} kg; {advice}"
        )
    central = block - (first @ first * np.eye(3) - np.outer(first, first)) / mass
    reason = why_not_an_inertia(central - axial) or why_not_an_inertia(central)
    if reason:
        raise InputError(f"{where}.inertia: without its moving parts {reason}; {advice}")
    return mass, -first, block


def mean_moving_mass(train: Train) -> MovingMass:
    """Mean over a crank turn."""
    total = np.zeros(len(MovingMass._fields))
    _add_up(np.linspace(0.0, 2.0 * math.pi, AVERAGE_POINTS, endpoint=False), train, total)
    return MovingMass(*total / AVERAGE_POINTS)


@kernel
def _add_up(angles, train, total):
    for n in range(angles.size):
        sums = moving_mass(angles[n], train)
        for i in range(total.size):
            total[i] += sums[i]


def without_turning_eccentrics(train: Train) -> Train:
    """For averages: an eccentric averages to nothing over its own turn, whatever its ratio, unless it stands still."""
    return train._replace(eccentrics=train.eccentrics[train.eccentrics["ratio"] == 0.0])


def carrying(case: Case) -> Case:
    """The case with the charger's mass put on the engine's body."""
    charging = case.engine.charging if case.engine else None
    if case.engine is None or not isinstance(charging, Charged) or not charging.added_mass:
        return case
    return _with_mass(case, case.engine.body, charging.added_mass, np.array(charging.added_mass_at))


def seating(case: Case) -> Case:
    """The case with what of its occupants is not on their springs put on the bodies that seat them."""
    for occupant in case.occupant:
        if occupant.seated_share < 1.0:
            rigid = (1.0 - occupant.seated_share) * occupant.mass
            case = _with_mass(case, occupant.body, rigid, np.array(occupant.at))
    return case


def _with_mass(case: Case, name: str, added: float, place: np.ndarray) -> Case:
    """The case with a point mass (kg) put on a body at a place (3) m."""
    index = [body.name for body in case.body].index(name)
    body = case.body[index]
    mass, centre, inertia = with_added_mass(body.mass, np.array(body.centre_of_mass), inertia_of(body), added, place)
    update = {
        "mass": mass,
        "centre_of_mass": triple(centre),
        "inertia": tuple(float(inertia[at]) for at in ENTRIES.values()),
        "inertia_products": "matrix",
    }
    bodies = (*case.body[:index], body.model_copy(update=update), *case.body[index + 1 :])
    return case.model_copy(update={"body": bodies})
