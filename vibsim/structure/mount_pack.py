"""Mounts of a case packed into records and numbers for the jitted laws."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import numpy as np

from vibsim.inputs.mount_models import MountBase, OrientedMount, TorqueRodMount
from vibsim.structure.attachments import RIGID
from vibsim.structure.flexible import ALL_RIGID, Flexible
from vibsim.structure.law_data import LawData, MountState, law_data
from vibsim.structure.mounts import MOUNT, PROGRESSIVE
from vibsim.structure.rotation import turns_about_fixed_axes


class PackedMounts(NamedTuple):
    """Records (MOUNT) and the numbers they point to; states and remarks of all mounts in order."""

    records: np.ndarray
    numbers: np.ndarray
    states: tuple[MountState, ...]
    notes: tuple[str, ...]


def pack_mounts(
    mounts: tuple[MountBase, ...],
    names: list[str],
    centres: list[np.ndarray],
    axes: list[np.ndarray],
    folder: Path,
    first_state: int,
    flexible: Flexible = ALL_RIGID,
) -> PackedMounts:
    """Pack for the jitted code; `names`, `centres` (3) and own `axes` (3, 3) of the bodies as drawn, `first_state` the
    index of the first state of mounts, `flexible` the bodies' elastic modes.
    Raises InputError for a file that a law needs."""
    rows: list[tuple] = []
    states: list[MountState] = []
    notes: list[str] = []
    numbers = [0.0]
    for index, mount in enumerate(mounts):
        data = law_data(mount, folder, f"mount[{index + 1}]")
        extras = _extras(mount, names, axes)
        at, extra = len(numbers), -1
        numbers += data.numbers
        if extras:
            extra = len(numbers)
            numbers += extras
        state = first_state + len(states) if data.states else -1
        torsion = int(isinstance(mount, OrientedMount) and any((*mount.torsional_stiffness, *mount.torsional_damping)))
        ends = []
        for name in mount.between:
            attachment = flexible.attachment(names.index(name), mount.name) if name in names else []
            ends.append(len(numbers) if attachment else RIGID)
            numbers += attachment
        special = int(data.law > PROGRESSIVE or extra >= 0 or max(ends) > RIGID)
        rows.append(_record(mount, data, (at, extra, state, special, torsion, *ends), names, centres, axes))
        states += data.states
        notes += [f"mount '{mount.name}': {note}" for note in data.notes]
    return PackedMounts(np.array(rows, dtype=MOUNT), np.array(numbers), tuple(states), tuple(notes))


def _record(
    mount: MountBase,
    data: LawData,
    indices: tuple[int, ...],
    names: list[str],
    centres: list[np.ndarray],
    axes: list[np.ndarray],
) -> tuple:
    places = [np.array(mount.at)] * 2
    if isinstance(mount, TorqueRodMount):
        places[1] = np.array(mount.to)
    bodies, points = [], []
    for name, point in zip(mount.between, places, strict=True):
        body = names.index(name) if name in names else -1
        bodies.append(body)
        points.append(axes[body].T @ (point - centres[body]) if body >= 0 else point)
    matrix = _own_matrix(mount, mount.between[0], names, axes)
    numbers = (*points[0], *points[1], *matrix.ravel(), *data.stiffness, *data.damping, *data.more)
    return (*bodies, data.law, *indices, *(float(number) for number in numbers))


def _own_matrix(mount: MountBase, name: str, names: list[str], axes: list[np.ndarray]) -> np.ndarray:
    """Matrix (3, 3) from a body's own axes to the mount's, as drawn."""
    own = axes[names.index(name)] if name in names else np.eye(3)
    if isinstance(mount, OrientedMount) and any(mount.axes):
        return turns_about_fixed_axes(np.array(mount.axes)).T @ own
    return own


def _extras(mount: MountBase, names: list[str], axes: list[np.ndarray]) -> list[float]:
    """Cross-coupling and torsion, if the mount has either."""
    if not isinstance(mount, OrientedMount):
        return []
    about = np.array(mount.torsional_stiffness)
    if not any(mount.cross_stiffness) and not about.any() and not any(mount.torsional_damping):
        return []
    weights = 0.5 * about.sum() - about
    second = _own_matrix(mount, mount.between[1], names, axes)
    return [float(x) for x in (*mount.cross_stiffness, *weights, *mount.torsional_damping, *second.ravel())]
