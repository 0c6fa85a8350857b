"""Torsional modes of a crank without a damper, with that of the case and with the best one found, told by their shape.

A damper puts a mode more among those of the crank, so that numbers shift; the same mode is the one whose shape is most
alike by the modal assurance criterion over the rotors that both have, weighted by their inertias (Allemang 1982, from
memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import linear_sum_assignment

from vibsim.engine.drivetrain import Drivetrain, Link, Part
from vibsim.engine.shaft_law import SpringLaw
from vibsim.engine.torsion import TorsionModes, torsion_modes
from vibsim.studies.torsion import Torsion
from vibsim.studies.torsion_damper import Damper, DamperSizing

RING = "the damper's ring"


@dataclass(frozen=True)
class SameMode:
    """A mode, `what` it twists most: Hz without a damper, with that of the case (its `number` there from 1) and with
    the best one; None where there is none."""

    what: str
    bare: float | None
    present: float | None
    number: int | None
    best: float | None


def hung(found: Drivetrain, damper: Damper) -> Drivetrain:
    """A drivetrain with a damper at its nose, the last part."""
    ring = Part(RING, damper.inertia, 1.0, found.parts[0].body)
    law = SpringLaw(damper.stiffness, 0.0, 0.0)
    joint = Link(RING, found.nose, len(found.parts), 1.0, law, damper.damping, damper.loss_factor)
    return Drivetrain((*found.parts, ring), (*found.links, joint), found.load, found.throws)


def matched_modes(result: Torsion, sizing: DamperSizing) -> list[SameMode]:
    """Elastic modes in order of their frequency without a damper, the ring's own last."""
    bare = sizing.bare
    assert bare.push is not None
    torque = bare.push.at(float(bare.push.nodes.mean()))[1]
    plain, with_best = torsion_modes(bare.found, torque), hung(bare.found, sizing.sized[0].found)
    best = torsion_modes(with_best, torque)
    present = result.modes if sizing.replaced is not None else None
    to_best = _pairs(bare.found, plain, with_best, best)
    to_present = {} if present is None else _pairs(bare.found, plain, result.found, present)
    rows = []
    for n, frequency in enumerate(plain.frequency):
        if frequency > 0.0:
            at = n if present is None else to_present[n]
            rows.append(
                SameMode(
                    bare.found.links[int(plain.strain[n].argmax())].name,
                    float(frequency),
                    None if present is None else float(present.frequency[at]),
                    at + 1,
                    float(best.frequency[to_best[n]]),
                )
            )
    left = _left(best, to_best)
    own = None if present is None else _left(present, to_present)
    rows.append(
        SameMode(
            RING,
            None,
            None if present is None or own is None else float(present.frequency[own]),
            None if own is None else own + 1,
            None if left is None else float(best.frequency[left]),
        )
    )
    return rows


def mode_rows(result: Torsion, sizing: DamperSizing) -> list[dict[str, Any]]:
    """Plain numbers for machines."""
    return [
        {
            "most_twisted": row.what,
            "without_Hz": row.bare,
            "as_it_is_Hz": row.present,
            "number": row.number,
            "best_Hz": row.best,
        }
        for row in matched_modes(result, sizing)
    ]


def _pairs(first: Drivetrain, one: TorsionModes, second: Drivetrain, two: TorsionModes) -> dict[int, int]:
    """Mode of the second for every mode of the first, the closest all told."""
    shared = [name for name in first.names if name in second.names]
    a = one.shape[:, [first.names.index(name) for name in shared]]
    b = two.shape[:, [second.names.index(name) for name in shared]]
    weight = first.inertias[[first.names.index(name) for name in shared]]
    across = (a * weight) @ b.T
    alike = across**2 / np.outer(np.sum(weight * a**2, axis=1), np.sum(weight * b**2, axis=1))
    rows, columns = linear_sum_assignment(-alike)
    return dict(zip(rows.tolist(), columns.tolist(), strict=True))


def _left(modes: TorsionModes, taken: dict[int, int]) -> int | None:
    """The mode (index) that none of the other crank's is matched with."""
    rest = [n for n in range(len(modes.frequency)) if n not in taken.values()]
    return rest[0] if rest else None
