"""A clutch of a run packed for the equations of motion, opened and closed."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from vibsim.engine.drivetrain import Drivetrain
from vibsim.inputs.models import Case
from vibsim.solver.clutch_motion import BITING, CLOSED, OPEN, Clutch
from vibsim.solver.fed import MoreState
from vibsim.solver.rotor_motion import Rotors

if TYPE_CHECKING:
    from vibsim.solver.packed import Packed

WORK_FLOOR = 10.0  # J


def pack_clutch(case: Case, found: Drivetrain, rotors: Rotors, at: int) -> tuple[Rotors, tuple[MoreState, ...]]:
    """The rotors with the clutch of the case's run, closed, and its states, the first of which has the index `at`;
    unchanged where there is none."""
    table = case.run.clutch if case.run is not None else None
    if table is None or case.run is None:
        return rotors, ()
    shaft = found.shaft_names.index(table.shaft)
    clutch = Clutch(
        shaft,
        at,
        CLOSED,
        table.capacity,
        case.run.step_at,
        table.duration,
        table.driven_speed,
        behind(found, shaft),
    )
    states = (MoreState("time of the clutch", 0.0, 1.0), MoreState("work lost in the clutch", 0.0, WORK_FLOOR))
    return rotors._replace(clutch=clutch), states


def behind(found: Drivetrain, shaft: int) -> np.ndarray:
    """Which parts (parts) the crank does not turn without one of its links (index)."""
    reached = np.zeros(len(found.parts), dtype=bool)
    reached[0] = True
    for _ in found.links:
        for n, link in enumerate(found.links):
            if n != shaft and (reached[link.first] or reached[link.second]):
                reached[link.first] = reached[link.second] = True
    return ~reached


def opened(packed: Packed) -> Packed:
    """The model with its clutch open, what lies behind it for itself; the load acts on the crank, reacted by its own
    body, to stand for what the engine's torque goes into until then. Unchanged without a clutch."""
    rotors, found = packed.model.rotors, packed.drivetrain
    if rotors is None or rotors.clutch is None or found is None:
        return packed
    parts = tuple(
        replace(part, inertia=0.0) if apart else part
        for part, apart in zip(found.parts, rotors.clutch.behind, strict=True)
    )
    alone = replace(found, parts=parts, load=0)
    rotors = rotors._replace(load_on=0, reactor=packed.model.carrier, clutch=rotors.clutch._replace(mode=OPEN))
    return packed._replace(drivetrain=alone, model=packed.model._replace(rotors=rotors))


def biting(packed: Packed, whole: Packed, begins: float) -> Packed:
    """The model with its clutch closing from `begins` (s on) and the load of the `whole` model where that has it;
    unchanged without a clutch."""
    rotors, before = packed.model.rotors, whole.model.rotors
    if rotors is None or rotors.clutch is None or before is None:
        return packed
    rotors = before._replace(clutch=rotors.clutch._replace(mode=BITING, begins=float(begins)))
    model = packed.model._replace(rotors=rotors, load=whole.model.load)
    return packed._replace(drivetrain=whole.drivetrain, model=model)
