"""Which of the numbers beside an orbit a periodic state is searched in, and what of the others follows from them.

Twists of shafts in a loop, and those of a crank's own shafts beside the angles of its throws, follow from the others:
what a loop lacks of zero never changes (derived: the rates of all of them are the incidence of one set of speeds). A
search in all of them would have multipliers of exactly one, and no one answer.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vibsim.solver.packed import STATES_PER_BODY, Packed

NEUTRAL = 2e-4  # from one of a multiplier that cannot be told from one
NOTHING = 1e-9  # of a row of an incidence, that is left of one that follows from others


@dataclass(frozen=True, eq=False)
class Unknowns:
    """`kept` indices (unknowns) of the numbers beside an orbit that are searched for; `follow` (beside, unknowns) all
    of them from these, in units of the scale; `timed` whether the time of a cycle is set, so that what holds the speed
    is one more; `keeps` whether dry friction may keep them where they are; `momentum` (unknowns) of all that turns,
    felt at the crank, and `spin` (unknowns) what all of it gains as it turns faster."""

    kept: np.ndarray
    follow: np.ndarray
    momentum: np.ndarray
    spin: np.ndarray
    timed: bool = True
    keeps: bool = False

    def of_crank(self, vectors: np.ndarray) -> int:
        """Which of the modes (unknowns, modes) of a linear change is all that turns going faster."""
        part = np.abs((self.momentum @ vectors) * (np.linalg.pinv(vectors) @ self.spin))
        return int(part.argmax())

    def neutral(self, change: np.ndarray) -> np.ndarray:
        """The part (unknowns, unknowns) of a linear change over a cycle that leaves departures as they are because of
        dry friction, that of the crank's speed aside."""
        if not self.keeps:
            return np.zeros_like(change)
        values, vectors = np.linalg.eig(change)
        stay = np.abs(values - 1.0) < NEUTRAL
        stay[self.of_crank(vectors)] = False
        if not np.any(stay):
            return np.zeros_like(change)
        return np.asarray(((vectors * np.where(stay, values, 0.0)) @ np.linalg.pinv(vectors)).real)

    def reduced(self, change: np.ndarray) -> np.ndarray:
        """A linear change of the numbers (beside, beside) as one of the unknowns alone (unknowns, unknowns)."""
        return np.asarray(change[self.kept] @ self.follow)


def orbit_unknowns(
    packed: Packed, scale: np.ndarray, left_out: tuple[int, ...] = (), timed: bool = True, keeps: bool = False
) -> Unknowns:
    """The unknowns among numbers (beside) counted in `scale`; those `left_out` neither change nor matter."""
    follow = np.eye(scale.size)
    dropped = list(left_out)
    for own, others, shares in _following(packed):
        follow[own] = 0.0
        follow[own, others] = shares * scale[others] / scale[own]
        dropped.append(own)
    follow[list(left_out)] = 0.0
    kept = np.setdiff1d(np.arange(scale.size), dropped)
    momentum, spin = _turning(packed, scale)
    return Unknowns(kept, follow[:, kept], momentum[kept], spin[kept], timed, keeps)


def _following(packed: Packed) -> list[tuple[int, np.ndarray, np.ndarray]]:
    """Numbers of twists that follow from others, and the shares of those."""
    rotors, found = packed.model.rotors, packed.drivetrain
    if rotors is None or found is None:
        return []
    parts, bodies = len(found.parts), len(packed.names)
    places, rows = [], []
    for n in range(1, 1 + rotors.throws):
        places.append(int(rotors.parts[n]["lead"]) - bodies)
        rows.append(np.zeros(parts + len(found.links)))
        rows[-1][[n, 0]] = 1.0, -1.0
    for n, link in enumerate(found.links):
        row = np.zeros(parts + len(found.links))
        row[:parts] = found.incidence[n]
        # between bodies their own turning adds to it
        row[parts + n] = float(rotors.parts[link.first]["body"] != rotors.parts[link.second]["body"])
        places.append(int(rotors.shafts[n]["state"]) - bodies)
        rows.append(row)
    following, free = [], np.zeros(0, np.int64)
    for at, row in enumerate(rows):
        known = np.array(rows)[free].reshape(len(free), row.size)
        shares = np.linalg.lstsq(known.T, row, rcond=None)[0] if len(free) else np.zeros(0)
        if len(free) and np.abs(row - shares @ known).max() < NOTHING:
            following.append((places[at], np.array(places)[free], shares))
        else:
            free = np.append(free, at)
    return following


def _turning(packed: Packed, scale: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Momentum felt at the crank by numbers (beside) in units of the scale, and these of all turning faster."""
    momentum, spin = np.zeros(scale.size), np.zeros(scale.size)
    momentum[-1], spin[-1] = scale[-1], 1.0 / scale[-1]
    rotors, found = packed.model.rotors, packed.drivetrain
    if rotors is None or found is None:
        return momentum, spin
    felt = found.inertias
    spin[-1] *= felt[0]
    for n in range(1, len(found.parts)):
        at = int(rotors.parts[n]["state"]) - len(packed.names)
        momentum[at] = found.parts[n].ratio * scale[at]
        spin[at] = felt[n] * found.parts[n].ratio / scale[at]
    return momentum, spin


def number_of(packed: Packed, state: int) -> int:
    """The number beside an orbit that is a state behind those of the bodies."""
    assert state >= STATES_PER_BODY * len(packed.names)
    return state - len(packed.names)
