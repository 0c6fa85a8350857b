"""What the pictures of one mechanism share: its parts over crank angle, which move as one, and the scale of forces."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vibsim.engine.mechanism import SHAFT as SHAFT_PART
from vibsim.engine.mechanism import Mechanism, find_mechanism
from vibsim.inputs.models import Engine
from vibsim.show.mechanism_parts import COUPLE, CYLINDER, SHAFT, SUM, WEIGHT, Kind
from vibsim.studies.balance import NEGLIGIBLE, Balance

LONGEST_ARROW = 3.8  # throw radii
LONGEST_COUPLE = 2.0  # throw radii, each arrow of the pair
CROWN, SKIRT = 0.42, 0.42  # of the bore, from the wrist pin
ALIKE = 1e-9  # m, or of one: parts closer than this all the way round are drawn as one


@dataclass(frozen=True)
class Scene:
    """A mechanism at the crank angles drawn, with its balance.

    `together` cylinders that coincide seen along the crank, `weights` and `shafts` eccentrics that do, as tuples of
    indices; `per_newton` how long a newton is drawn (m), `per_newton_metre` likewise (0: no couple); `radius` the
    greatest throw radius (m); `claimed` a crank angle to mark (rad) with the force there (complex N).
    """

    balance: Balance
    mechanism: Mechanism
    couple: np.ndarray
    together: list[tuple[int, ...]]
    weights: list[tuple[int, ...]]
    shafts: list[tuple[int, ...]]
    per_newton: float
    per_newton_metre: float
    radius: float
    claimed: tuple[float, complex] | None = None

    @property
    def turns(self) -> float:
        """Whole crank turns of the balance behind it."""
        return self.balance.about_crank.turns


def make_scene(
    engine: Engine, balance: Balance, angles: np.ndarray, claimed: tuple[float, complex] | None = None
) -> Scene:
    """The scene at crank angles (n), rad."""
    found = find_mechanism(engine, balance.layout, balance.about_crank.speed, angles)
    moving = np.stack([found.pin, found.wrist])
    together = _alike(moving)
    used = np.abs(found.eccentric_force[0]) > NEGLIGIBLE * balance.unit
    turning = np.stack([found.heading, np.broadcast_to(found.eccentric_axis, found.heading.shape)])
    is_shaft = np.array([kind == SHAFT_PART for kind in found.eccentric_kind], dtype=bool)
    radius = max(cylinder.radius for cylinder in balance.layout.cylinders)
    greatest = max(
        *(float(np.abs(found.force[:, list(group)].sum(axis=1)).max()) for group in together),
        float(np.abs(balance.about_crank.force).max()),
        float(np.abs(found.eccentric_force).max(initial=0.0)),
        1e-12,
    )
    couple = float(np.abs(balance.couple_course).max())
    return Scene(
        balance=balance,
        mechanism=found,
        couple=found.couple(balance.middle),
        together=together,
        weights=_alike(turning, used & ~is_shaft),
        shafts=_alike(turning, used & is_shaft),
        per_newton=LONGEST_ARROW * radius / greatest,
        per_newton_metre=LONGEST_COUPLE * radius / couple if couple > NEGLIGIBLE * balance.couple_unit else 0.0,
        radius=radius,
        claimed=claimed,
    )


def present_kinds(scene: Scene) -> list[Kind]:
    """The kinds of arrow a scene has."""
    some = (
        (CYLINDER, True),
        (WEIGHT, bool(scene.weights)),
        (SHAFT, bool(scene.shafts)),
        (SUM, True),
        (COUPLE, scene.per_newton_metre > 0.0),
    )
    return [kind for kind, present in some if present]


def _alike(courses: np.ndarray, chosen: np.ndarray | None = None) -> list[tuple[int, ...]]:
    """Group the last axis of courses (..., parts) by being the same throughout."""
    groups: list[list[int]] = []
    for index in range(courses.shape[-1]):
        if chosen is not None and not chosen[index]:
            continue
        same = (group for group in groups if np.abs(courses[..., index] - courses[..., group[0]]).max() < ALIKE)
        home = next(same, None)
        if home is None:
            groups.append([index])
        else:
            home.append(index)
    return [tuple(group) for group in groups]


def summed(values: np.ndarray, groups: list[tuple[int, ...]]) -> np.ndarray:
    """Sums of values (n, parts) over each group (n, groups)."""
    return np.stack([values[:, list(group)].sum(axis=1) for group in groups], axis=1) if groups else values[:, :0]


def firsts(groups: list[tuple[int, ...]]) -> list[int]:
    return [group[0] for group in groups]


def wheel(angle: float, turns: float) -> float:
    """A crank angle (rad) within the turns drawn, in degrees."""
    return round(math.degrees(angle), 9) % (360.0 * turns)
