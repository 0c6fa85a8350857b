"""A claim about one crank angle held against the whole revolution."""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from vibsim.engine.balance import FreeForces, forces_at
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import CaseFile
from vibsim.inputs.models import Counterweight
from vibsim.studies.balance import NEGLIGIBLE, Balance, Weight, weight_row

ALIKE = 1e-3  # of the greatest force: what counts as its least again
ZOOM = np.linspace(-1.0, 1.0, 21)
ZOOMS = 5  # each ten times finer: from one degree to 1e-5


@dataclass(frozen=True)
class OnePosition:
    """The free force (complex N) and couple (complex N m, about the middle of the throws) at `angle`, and their course.

    Angles rad within the turns covered. `least_angles` are where the force comes within a thousandth of the greatest to
    its least, `greatest_angle` where it is greatest. `first_order_at` is the first-order force here, `forward` and
    `backward` the sizes (N) of its two parts, `cancel_angles` where it vanishes (none: () ; everywhere: see
    `forward`). `cancelling` is the crank counterweight at the middle of the throws that, added, would make it vanish
    here (unbalance 0 if it does).
    """

    angle: float
    force_at: complex
    couple_at: complex
    force_least: float
    force_greatest: float
    couple_greatest: float
    least_angles: tuple[float, ...]
    greatest_angle: float
    first_order_at: complex
    forward: float
    backward: float
    cancel_angles: tuple[float, ...]
    cancelling: Weight


def explain_position(balance: Balance, angle: float) -> OnePosition:
    """Free force and couple at exactly this crank angle (rad) against their whole course.

    Raises InputError for an angle that is no number. Derived: the first order P·e^{iθ} + Q·e^{−iθ} vanishes where
    e^{2iθ} = −Q/P, which takes |P| = |Q|; a counterweight U with U·Ω² = −P − Q·e^{−2iθ} makes it vanish at any one θ.
    """
    if not math.isfinite(angle):
        raise InputError(f"--explain: got {angle:g}; must be a crank angle in degrees")
    free = balance.about_crank
    angle = angle % (2.0 * math.pi * free.turns)
    here = _centred(balance, np.array([angle]))
    least, greatest = _lowest(balance, 1.0), _lowest(balance, -1.0)
    low, high = least[0][1], greatest[0][1]
    forward, backward = balance.force.at(1.0)
    needed = -forward - backward * cmath.exp(-2j * angle)
    small = NEGLIGIBLE * balance.unit
    cancels = abs(abs(forward) - abs(backward)) < small < abs(forward)
    return OnePosition(
        angle=angle,
        force_at=complex(here.force[0]),
        couple_at=complex(here.couple[0]),
        force_least=low,
        force_greatest=high,
        couple_greatest=float(np.abs(balance.couple_course).max()),
        least_angles=tuple(sorted(place for place, size in least if size <= low + ALIKE * max(high, 1e-12))),
        greatest_angle=greatest[0][0],
        first_order_at=-needed * cmath.exp(1j * angle),
        forward=abs(forward),
        backward=abs(backward),
        cancel_angles=_cancel_angles(forward, backward) if cancels else (),
        cancelling=Weight(abs(needed) / free.speed**2, cmath.phase(needed), balance.middle),
    )


def _centred(balance: Balance, angles: np.ndarray) -> FreeForces:
    return forces_at(balance.train, balance.about_crank.speed, angles).about(np.array([balance.middle, 0.0, 0.0]))


def _cancel_angles(forward: complex, backward: complex) -> tuple[float, float]:
    first = 0.5 * cmath.phase(-backward / forward) % math.pi
    return first, first + math.pi


def _lowest(balance: Balance, sign: float) -> list[tuple[float, float]]:
    """Angle (rad) and size (N) of the force where it is least (sign 1) or greatest (−1) among its neighbours, the least
    (greatest) first; found on the grid of the balance and refined by zooming in."""
    free = balance.about_crank
    size = sign * np.abs(free.force)
    places = free.angle[(size <= np.roll(size, 1)) & (size < np.roll(size, -1))]
    if len(places) == 0:  # the same all round
        places = free.angle[:1]
    step = float(free.angle[1])
    for _ in range(ZOOMS):
        fans = places[:, None] + step * ZOOM
        found = np.abs(forces_at(balance.train, free.speed, fans.ravel()).force).reshape(fans.shape)
        best = np.argmin(sign * found, axis=1)
        rows = np.arange(len(places))
        places, sizes, step = fans[rows, best], found[rows, best], 0.1 * step
    order = np.lexsort((places, np.round(sign * sizes, 9)))
    whole = 2.0 * math.pi * free.turns
    return [(float(places[n] % whole), float(sizes[n])) for n in order]


def with_counterweights(case_file: CaseFile, weights: tuple[Weight, ...]) -> CaseFile:
    """The case with crank counterweights added."""
    engine = case_file.case.engine
    assert engine is not None
    added = tuple(Counterweight.model_construct(at=w.at, angle=w.angle, unbalance=w.unbalance) for w in weights)
    crank = engine.crank.model_copy(update={"counterweight": (*engine.crank.counterweight, *added)})
    case = case_file.case.model_copy(update={"engine": engine.model_copy(update={"crank": crank})})
    return replace(case_file, case=case)


def angle_words(angle: float, digits: int = 1) -> str:
    """An angle (rad) in degrees, with as many digits after the point as it takes, at most `digits`."""
    return f"{round(math.degrees(angle), digits) + 0.0:.9g}°"


def listed(angles: tuple[float, ...], most: int = 4) -> str:
    """Angles (rad) in degrees, the first few of many."""
    words = ", ".join(angle_words(angle) for angle in angles[:most])
    return words if len(angles) <= most else f"{words} and {len(angles) - most} more"


def first_order_words(balance: Balance, position: OnePosition) -> str:
    """Where the first-order forces cancel, and what remains."""
    unit, small = balance.unit, NEGLIGIBLE * balance.unit
    forward, backward = position.forward / unit, position.backward / unit
    if max(position.forward, position.backward) < small:
        return "first-order forces cancel at every angle"
    if position.backward < small:
        return (
            f"first-order forces cancel at no angle: {forward:.3g} F turns with the crank; counterweights can take it"
        )
    remains = f"a backward-rotating force of {backward:.3g} F{_half_of(balance, position)} remains"
    if position.cancel_angles:
        angles = listed(position.cancel_angles)
        return (
            f"first-order forces cancel at two angles ({angles}); with the best counterweights {remains} at every angle"
        )
    if position.forward < small:
        return f"first-order forces cancel at no angle; {remains} at every angle, no counterweight reaches it"
    return (
        f"first-order forces cancel at no angle: they run from {abs(forward - backward):.3g} F to "
        f"{forward + backward:.3g} F; with the best counterweights {remains} at every angle"
    )


def _half_of(balance: Balance, position: OnePosition) -> str:
    """The backward part as half the primary force of so many cylinders, where that is a whole number."""
    cylinders = 2.0 * position.backward / balance.unit
    count = round(cylinders)
    if count < 1 or abs(cylinders - count) > 2.0 * NEGLIGIBLE:
        return ""
    return f" (half the primary force of {'one cylinder' if count == 1 else f'{count} cylinders'})"


def claim_words(balance: Balance, position: OnePosition) -> str:
    """What a counterweight chosen for this angle alone does over the revolution; empty if none has to be chosen."""
    small = NEGLIGIBLE * balance.unit
    if position.backward < small or abs(position.first_order_at) < small:
        return ""
    here, weight = position.angle % (2.0 * math.pi), position.cancelling
    places = f"{angle_words(here)} and {angle_words((here + math.pi) % (2.0 * math.pi))}"
    heavy = f"{1e3 * weight.unbalance:.3g} kg mm more at {angle_words(weight.angle % (2.0 * math.pi))}"
    left = f"{2.0 * position.backward / balance.unit:.3g} F a quarter turn from there"
    return f"a counterweight can make them cancel at any angle one likes: {heavy} does it at {places} and leaves {left}"


def remaining_words(balance: Balance, position: OnePosition) -> list[str]:
    """What remains over the revolution, a plain clause each: first-order force, second-order force, couples."""
    clauses = [first_order_words(balance, position), claim_words(balance, position)]
    second = sum(abs(value) for value in balance.force.at(2.0)) / balance.unit
    if second >= NEGLIGIBLE:
        clauses.append(f"a second-order force of up to {second:.3g} F remains, no counterweight reaches it")
    arm = "F·a" if balance.arm else "F·bore"
    forward, backward = (abs(value) / balance.couple_unit for value in balance.couple.at(1.0))
    if max(forward, backward) >= NEGLIGIBLE:
        share = f"counterweights leave {backward:.3g}" if backward >= NEGLIGIBLE else "counterweights can take it"
        clauses.append(f"a first-order couple of up to {forward + backward:.3g} {arm} remains, {share}")
    second = sum(abs(value) for value in balance.couple.at(2.0)) / balance.couple_unit
    if second >= NEGLIGIBLE:
        clauses.append(f"a second-order couple of up to {second:.3g} {arm} remains")
    return [clause for clause in clauses if clause]


def position_row(balance: Balance, position: OnePosition) -> dict[str, Any]:
    """Plain numbers for machines."""
    return {
        "angle_deg": math.degrees(position.angle),
        "force_N": abs(position.force_at),
        "force_least_N": position.force_least,
        "force_least_at_deg": [math.degrees(angle) for angle in position.least_angles],
        "force_greatest_N": position.force_greatest,
        "force_greatest_at_deg": math.degrees(position.greatest_angle),
        "couple_N_m": abs(position.couple_at),
        "couple_greatest_N_m": position.couple_greatest,
        "first_order_force_N": abs(position.first_order_at),
        "first_order_forward_N": position.forward,
        "first_order_backward_N": position.backward,
        "first_order_cancels_at_deg": [math.degrees(angle) for angle in position.cancel_angles],
        "counterweight_that_cancels_here": weight_row(position.cancelling),
        "remains": remaining_words(balance, position),
    }
