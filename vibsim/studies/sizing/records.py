"""Many sets of mounts packed for the jitted code, whatever their laws."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vibsim.solver.packed import Model, Packed
from vibsim.solver.rest import held_at_speed
from vibsim.structure.mount_pack import pack_mounts
from vibsim.structure.mounts import SCHEDULED
from vibsim.studies.sizing.space import Mounts


@dataclass(frozen=True)
class Records:
    """Sets of mounts packed: `mounts` (n, mounts) records, the `numbers` (n, count) they point to, and how many
    `states` they have at most after those of the case's own mounts."""

    mounts: np.ndarray
    numbers: np.ndarray
    states: int


def packed_sets(sets: list[Mounts], own: Mounts, packed: Packed) -> Records:
    """Sets of mounts of a case with `own` ones; only what differs from these is packed anew.

    Its numbers and states come after the case's own, so that they may be more or fewer.
    """
    centres, axes = list(packed.centres), list(packed.axes)
    records = np.repeat(packed.model.mounts[None], len(sets), axis=0)
    before, first_state = packed.model.mount_numbers, packed.model.air_at
    rows, states = [before] * len(sets), 0
    for n, mounts in enumerate(sets):
        changed = [k for k, mount in enumerate(mounts) if mount is not own[k]]
        if not changed:
            continue
        some = tuple(mounts[k] for k in changed)
        fresh = pack_mounts(some, packed.names, centres, axes, packed.folder, first_state, packed.flexible)
        records[n, changed] = _shifted(fresh.records, len(before))
        rows[n] = np.concatenate([before, fresh.numbers])
        states = max(states, len(fresh.states))
    numbers = np.zeros((len(sets), max(map(len, rows), default=0)))
    for n, row in enumerate(rows):
        numbers[n, : len(row)] = row
    return Records(records, numbers, states)


def _shifted(records: np.ndarray, by: int) -> np.ndarray:
    """Mount records that point to numbers which begin after `by` others."""
    records = records.copy()
    records["numbers"] += by
    for pointer in ("extra", "first_elastic", "second_elastic"):
        records[pointer][records[pointer] >= 0] += by
    return records


def held(records: Records, model: Model, speed: float) -> np.ndarray:
    """Mount records (n, mounts), scheduled ones as at a crank speed (rad/s)."""
    if not np.any(records.mounts["law"] == SCHEDULED):
        return records.mounts
    sets = zip(records.mounts, records.numbers, strict=True)
    return np.array([held_at_speed(model._replace(mounts=row, mount_numbers=numbers), speed) for row, numbers in sets])
