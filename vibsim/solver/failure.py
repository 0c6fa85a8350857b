"""Say in one line why an integration stopped: which quantity, when, and the likely key."""

from __future__ import annotations

import math

import numpy as np

from vibsim.inputs.errors import RunFailure
from vibsim.inputs.models import Case
from vibsim.solver.packed import STATES_PER_BODY, Packed
from vibsim.solver.stepper import RAN_AWAY, STEP_TOO_SMALL, Stepper

PARTS = (
    ("place", "XYZ"),
    ("rotation", "wxyz"),
    ("momentum", "xyz"),
    ("angular momentum", "xyz"),
)


def state_name(index: int, packed: Packed) -> str:
    """The quantity behind an index of the state, in words."""
    bodies = len(packed.names)
    if index >= STATES_PER_BODY * bodies:
        return ("crank angle", "crank speed")[index - STATES_PER_BODY * bodies]
    body, entry = divmod(index, STATES_PER_BODY)
    for part, letters in PARTS:
        if entry < len(letters):
            return f"{part} {letters[entry]} of body '{packed.names[body]}'"
        entry -= len(letters)
    raise IndexError(index)


def explain_failure(status: int, stepper: Stepper, packed: Packed, case: Case) -> RunFailure:
    """The error for a status of `advance` that is not an end reached."""
    worst, time = int(stepper.tally[3]), float(stepper.clock[0])
    quantity = state_name(worst, packed)
    revolutions = stepper.y[-2] / (2.0 * math.pi)
    when = f"at {time:.6g} s (crank revolution {revolutions:.2f})"
    if status == RAN_AWAY:
        key = (
            "engine.load or engine.friction" if worst >= packed.state_size - 2 else _stiffest_mount(case, packed, worst)
        )
        return RunFailure(f"the run diverged: {quantity} ran away {when}; check {key}")
    what = "the step became too small" if status == STEP_TOO_SMALL else "too many steps were needed"
    key = _stiffest_mount(case, packed, worst)
    return RunFailure(f"the run is too stiff or diverging: {what} for {quantity} {when}; check {key}")


def _stiffest_mount(case: Case, packed: Packed, worst: int) -> str:
    """The mount key that asks for the fastest motion of the body in question."""
    if worst >= packed.state_size - 2 or not case.mount:
        return "engine.gas, run.relative_tolerance"
    body = packed.names[worst // STATES_PER_BODY]
    mass = packed.model.bodies["mass"][worst // STATES_PER_BODY]
    rates = []
    for index, mount in enumerate(case.mount):
        if body in mount.between:
            rates.append((max(mount.damping) / mass, f"mount[{index + 1}].damping ('{mount.name}')"))
            rates.append(
                (float(np.sqrt(max(mount.stiffness) / mass)), f"mount[{index + 1}].stiffness ('{mount.name}')")
            )
    return max(rates)[1] if rates else f"body '{body}'"
