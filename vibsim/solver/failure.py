"""Say in one line why an integration stopped: which quantity, when, and the likely key."""

from __future__ import annotations

import math

from vibsim.inputs.errors import RunFailure
from vibsim.inputs.models import Case
from vibsim.solver.packed import STATES_PER_BODY, Packed
from vibsim.solver.stepper import RAN_AWAY, STEP_TOO_SMALL, Stepper

ENGINE_RATE = 1e5  # 1/s, faster than anything an engine does by itself

PARTS = (
    ("place", "XYZ"),
    ("rotation", "wxyz"),
    ("momentum", "xyz"),
    ("angular momentum", "xyz"),
)


def state_name(index: int, packed: Packed) -> str:
    """The quantity behind an index of the state, in words."""
    crank = packed.state_size - 2
    if index >= crank:
        return ("crank angle", "crank speed")[index - crank]
    if index >= STATES_PER_BODY * len(packed.names):
        return packed.more_states[index - STATES_PER_BODY * len(packed.names)].name
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
        crank = worst >= packed.state_size - 2
        key = "engine.load or engine.friction" if crank else _fastest_mount(case, packed, worst)
        return RunFailure(f"the run diverged: {quantity} ran away {when}; check {key}")
    what = "the step became too small" if status == STEP_TOO_SMALL else "too many steps were needed"
    key = _fastest_mount(case, packed, worst)
    if _first_part(packed) <= worst < packed.model.air_at:
        key = "stiffness and damping of [[wheel]] and [[occupant]]"
    elif packed.model.air_at <= worst < packed.state_size - 2:
        key = "engine.charging and engine.gas.throttle"
    elif quantity.startswith(("twist of", "speed of rotor")):
        key = "the [[rotor]] and [[shaft]] tables and engine.crank.torsion"
    return RunFailure(f"the run is too stiff or diverging: {what} for {quantity} {when}; check {key}")


def _first_part(packed: Packed) -> int:
    """The first state of wheels and occupants, or of what comes after them."""
    parts = packed.model.parts
    return packed.model.air_at if parts is None else parts.at


def _mount_of(packed: Packed, index: int) -> int | None:
    """The mount whose own state is behind an index of the state."""
    if not STATES_PER_BODY * len(packed.names) <= index < _first_part(packed):
        return None
    first = packed.model.mounts["state"]
    if packed.model.rotors is not None and index >= packed.model.rotors.parts["state"][1:].min() - 1:
        return None
    return max((n for n in range(first.size) if 0 <= first[n] <= index), key=lambda n: first[n], default=None)


def _fastest_mount(case: Case, packed: Packed, worst: int) -> str:
    """The mount key that asks for the fastest motion: of the mount or the body in question, or of any if the crank or
    the air path is."""
    crank, bodies = worst >= packed.state_size - 2, STATES_PER_BODY * len(packed.names)
    body = packed.names[worst // STATES_PER_BODY] if worst < bodies else None
    mass = dict(zip(packed.names, packed.model.bodies["mass"], strict=True))
    rates = [(ENGINE_RATE, "engine.gas, engine.crank.inertia")] if crank else []
    own = _mount_of(packed, worst)
    for index, mount in enumerate(case.mount):
        if own not in (None, index) or (body is not None and body not in mount.between):
            continue
        lightest = min(mass[name] for name in mount.between if name in mass)
        shown = f"mount[{index + 1}]"
        stiffness, damping = mount.greatest_rates()
        rates.append((damping / lightest, f"{shown}.damping ('{mount.name}')"))
        rates.append((math.sqrt(stiffness / lightest), f"{shown}.stiffness ('{mount.name}')"))
    return max(rates)[1] if rates else f"body '{body}'"
