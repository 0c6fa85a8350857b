"""Elastic modes of bodies, resolved: mass-normalised shapes at the points where something is attached."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

import numpy as np

from vibsim.inputs.errors import InputError
from vibsim.inputs.flexible_checks import CHAIN
from vibsim.inputs.flexible_data import read_modes
from vibsim.inputs.flexible_models import ElasticMode
from vibsim.inputs.models import Body, Case, Sensor
from vibsim.inputs.statics_models import Point
from vibsim.structure.attachments import MODE

RIGID_SHARE = 0.02  # of a shape that no rigid motion explains: below it, it looks like one
SAME_PLACE = 1e-6  # m
RIGID_BELOW = 1.0  # Hz, of computed rigid-body modes
CLEAR_OF = 2.0  # times the firing order's frequency: how far modes kept should reach (common practice, no source)


class Flex(NamedTuple):
    """For the jitted code: `modes` records (MODE) of all bodies, body after body, and an array to find their rest in,
    (modes, modes + 3)."""

    modes: np.ndarray
    work: np.ndarray


@dataclass(frozen=True)
class ModeSet:
    """Elastic modes of one body (index): natural frequencies (n) rad/s, damping ratios (n), mass-normalised shapes
    (n, 3) 1/√kg by name of what is attached, vehicle axes as drawn; `first` the state of its first modal coordinate,
    `places` where these are (3) m."""

    body: int
    frequency: np.ndarray
    damping: np.ndarray
    shapes: dict[str, np.ndarray]
    first: int
    places: dict[str, np.ndarray]

    @property
    def count(self) -> int:
        return len(self.frequency)


@dataclass(frozen=True)
class Flexible:
    """Elastic modes of a case; `sets` of its flexible bodies in order, `notes` and `warnings` for the user."""

    sets: tuple[ModeSet, ...] = ()
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    names: tuple[str, ...] = field(default=())

    @property
    def count(self) -> int:
        """Modes of all bodies."""
        return sum(modes.count for modes in self.sets)

    def of(self, body: int) -> ModeSet | None:
        return next((modes for modes in self.sets if modes.body == body), None)

    def column(self, body: int) -> int:
        """Number of a body's first mode among those of all bodies."""
        return sum(modes.count for modes in self.sets if modes.body < body)

    def attachment(self, body: int, name: str) -> list[float]:
        """The numbers of an attachment (see `attachments`); empty on a rigid body."""
        modes = self.of(body)
        if modes is None:
            return []
        return [float(modes.count), float(modes.first), *(float(value) for value in modes.shapes[name].ravel())]

    def shape(self, body: int, name: str) -> np.ndarray:
        """Displacement (3, modes of all bodies) of what is attached to a body per modal coordinate, own axes."""
        found = np.zeros((3, self.count))
        modes = self.of(body)
        if modes is not None:
            at = self.column(body)
            found[:, at : at + modes.count] = modes.shapes[name].T
        return found

    def shape_at(self, body: int, place: np.ndarray) -> np.ndarray:
        """`shape` at a place (3) m, vehicle axes as drawn. Raises InputError where the body's shape is not known."""
        modes = self.of(body)
        if modes is None:
            return np.zeros((3, self.count))
        for name, at in modes.places.items():
            if np.abs(at - place).max() < SAME_PLACE:
                return self.shape(body, name)
        raise InputError(
            f"no elastic shape is given at ({', '.join(f'{1e3 * value:g}' for value in place)}) mm of a flexible body; "
            f"it is known at {', '.join(modes.places)}; add a [[sensor]] there and its shape"
        )

    def packed(self) -> Flex | None:
        """None where every body is rigid."""
        if not self.sets:
            return None
        rows = [
            (modes.body, modes.first + n, modes.first + modes.count + n, rate**2, 2.0 * ratio * rate)
            for modes in self.sets
            for n, (rate, ratio) in enumerate(zip(modes.frequency, modes.damping, strict=True))
        ]
        return Flex(np.array(rows, dtype=MODE), np.zeros((self.count, self.count + 3)))

    def reach(self) -> float:
        """Largest shape at any attachment, 1/√kg."""
        return max(float(np.abs(shape).max(initial=0.0)) for modes in self.sets for shape in modes.shapes.values())


ALL_RIGID = Flexible()


def flexible_of(case: Case, folder: Path, first: int) -> Flexible:
    """Elastic modes of a case; `first` is the state their coordinates begin at. Raises InputError."""
    sets: list[ModeSet] = []
    notes: list[str] = []
    warnings: list[str] = []
    for index, body in enumerate(case.body):
        modes, where, more = _given(body, index, folder)
        if not modes:
            continue
        notes += more
        places = attached_places(case, body.name)
        for n, mode in enumerate(modes):
            for name in places:
                if name not in mode.shape:
                    raise InputError(f"{where}: mode {n + 1} at {mode.frequency:g} Hz: is missing a shape at '{name}'")
            warnings += _doubt(mode, n, places, where, body.name)
        at = first + 2 * sum(item.count for item in sets)
        sets.append(_resolved(index, modes, places, at))
        notes.append(_kept(body.name, modes))
        warnings += _truncation(case, body.name, modes)
    names = tuple(f"{case.body[item.body].name} elastic {n + 1}" for item in sets for n in range(item.count))
    return Flexible(tuple(sets), tuple(notes), tuple(warnings), names)


def attached_places(case: Case, body: str) -> dict[str, np.ndarray]:
    """Where mounts, sensors and points are attached to a body, vehicle axes as drawn (m), by name."""
    found: dict[str, np.ndarray] = {}
    for mount in case.mount:
        if body in mount.between:
            second = mount.between[1] == body
            found[mount.name] = np.array(getattr(mount, "to", mount.at) if second else mount.at)
    named: tuple[Sensor | Point, ...] = (*case.sensor, *case.point)
    found.update({entry.name: np.array(entry.at) for entry in named if entry.body == body})
    chain = case.engine.load.chain if case.engine is not None else None
    if chain is not None and chain.body == body:
        found[CHAIN] = np.array(chain.driven_sprocket)
    return found


def _given(body: Body, index: int, folder: Path) -> tuple[tuple[ElasticMode, ...], str, list[str]]:
    """Modes of a body up to the highest frequency asked for, the key they stand under, remarks."""
    if body.modes is None:
        return tuple(sorted(body.mode, key=lambda mode: mode.frequency)), f"body[{index + 1}].mode", []
    table, where = body.modes, f"body[{index + 1}].modes"
    notes: list[str] = []
    if table.file is not None:
        modes = read_modes(folder / table.file, f"{where}.file")
    else:
        from vibsim.structure.modal_fit import measured_modes

        modes, notes = measured_modes(table, folder, where)
    if table.highest_frequency is None:
        return modes, where, notes
    kept = tuple(mode for mode in modes if mode.frequency <= table.highest_frequency)
    if not kept:
        least = min(mode.frequency for mode in modes)
        raise InputError(
            f"{where}.highest_frequency: got {table.highest_frequency:g} Hz; the lowest mode is at {least:g} Hz"
        )
    left_out = len(modes) - len(kept)
    return kept, where, [*notes, *([f"body '{body.name}': {left_out} higher modes left out"] if left_out else [])]


def _resolved(body: int, modes: tuple[ElasticMode, ...], places: dict[str, np.ndarray], first: int) -> ModeSet:
    scale = np.array([1.0 / math.sqrt(mode.modal_mass) for mode in modes])
    return ModeSet(
        body=body,
        frequency=2.0 * math.pi * np.array([mode.frequency for mode in modes]),
        damping=np.array([mode.damping_ratio for mode in modes]),
        shapes={name: scale[:, None] * np.array([mode.shape[name] for mode in modes]) for name in places},
        first=first,
        places=places,
    )


def _kept(name: str, modes: tuple[ElasticMode, ...]) -> str:
    listed = ", ".join(f"{mode.frequency:.4g}" for mode in modes)
    return f"body '{name}': {len(modes)} elastic modes kept, {listed} Hz; above that it is taken as rigid"


def rigid_share(places: Iterable[np.ndarray], shape: Iterable[np.ndarray]) -> float | None:
    """The share of a shape (at 3 points or more) that no rigid motion explains; None where that cannot be told."""
    at, moved = np.array(list(places)), np.array(list(shape)).ravel()
    arms = at - at.mean(axis=0) if len(at) else at
    if len(at) < 3 or np.linalg.matrix_rank(arms, tol=1e-6) < 2 or not np.any(moved):
        return None
    rows = []
    for x, y, z in arms:
        rows.append(np.hstack([np.eye(3), [[0.0, z, -y], [-z, 0.0, x], [y, -x, 0.0]]]))
    motion = np.vstack(rows)
    left = moved - motion @ np.linalg.lstsq(motion, moved, rcond=None)[0]
    return float(np.linalg.norm(left) / np.linalg.norm(moved))


def _doubt(mode: ElasticMode, n: int, places: dict[str, np.ndarray], where: str, body: str) -> list[str]:
    share = rigid_share(places.values(), [np.array(mode.shape[name]) for name in places])
    if share is None or share > RIGID_SHARE:
        return []
    said = f"mode {n + 1} at {mode.frequency:g} Hz moves its points as a rigid body does"
    if mode.frequency < RIGID_BELOW:
        raise InputError(f"{where}: {said}; leave rigid-body modes out, the body moves so already")
    return [f"body '{body}': {said} (but for {100.0 * share:.1g} %); give elastic modes of the free body alone"]


def _truncation(case: Case, name: str, modes: tuple[ElasticMode, ...]) -> list[str]:
    """Whether the modes kept reach far enough above the engine orders of the run."""
    if case.engine is None or case.run is None:
        return []
    order = len(case.engine.cylinder) / (case.engine.strokes / 2)
    interest = order * abs(case.run.speed) / (2.0 * math.pi)
    top = max(mode.frequency for mode in modes)
    if top >= CLEAR_OF * interest:
        return []
    return [
        f"body '{name}': the highest elastic mode kept, {top:.4g} Hz, lies below {CLEAR_OF:g} times the "
        f"firing order at the run's speed ({interest:.4g} Hz); what the body does above it is cut short"
    ]
