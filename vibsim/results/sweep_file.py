"""The file of a sweep: labelled arrays over its axes, made from its journal in memory that does not grow with it.

HDF5 after the netCDF-4 conventions. Every array lies in one piece, so that records go to their places through the
file's own bytes. The file appears whole under its name, as often as it is made: who reads meanwhile sees the last one.
"""

from __future__ import annotations

import itertools
import json
import math
import os
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import h5py
import numpy as np

from vibsim.inputs.errors import VibsimError
from vibsim.results.hdf5 import beside
from vibsim.results.labelled import FORMAT_VERSION, Group, Variable

MISSING, DONE, FAILED = 0, 1, 2
TOGETHER = 1024  # points held in memory while the file is made
STATUS_WORDS = "0 not computed, 1 done, 2 failed"


@dataclass(frozen=True)
class Shape:
    """What a point holds: coordinates by name, and the arrays (dims, shape, units, long_name) in their order."""

    coordinates: dict[str, Variable]
    arrays: dict[str, tuple[tuple[str, ...], tuple[int, ...], str, str]]

    @property
    def size(self) -> int:
        return sum(math.prod(shape) for _, shape, _, _ in self.arrays.values())

    def as_text(self) -> str:
        return json.dumps(
            {
                "coordinates": {
                    name: [item.data.tolist(), item.units, item.long_name] for name, item in self.coordinates.items()
                },
                "arrays": {name: list(item) for name, item in self.arrays.items()},
            }
        )


def shape_of(kept: Group) -> Shape:
    """The shape of what a point keeps."""
    coordinates = {name: item for name, item in kept.variables.items() if item.dims == (name,)}
    arrays = {
        name: (item.dims, item.data.shape, item.units, item.long_name)
        for name, item in kept.variables.items()
        if name not in coordinates
    }
    return Shape(coordinates, arrays)


def shape_from(text: str) -> Shape:
    found = json.loads(text)
    coordinates = {}
    for name, (data, units, words) in found["coordinates"].items():
        labels = bool(data) and isinstance(data[0], str)
        coordinates[name] = Variable((name,), np.array(data, dtype=object if labels else float), units, words)
    arrays = {
        name: (tuple(dims), tuple(shape), units, words) for name, (dims, shape, units, words) in found["arrays"].items()
    }
    return Shape(coordinates, arrays)


def packed_values(kept: Group, shape: Shape) -> bytes:
    """The arrays of a point, one after the other. Raises VibsimError where they are not of the shape."""
    if shape_of(kept).arrays != shape.arrays:
        raise VibsimError("keeps other quantities than the points before; its mounts, sensors or orders differ")
    parts = [np.asarray(kept[name], dtype=float).ravel() for name in shape.arrays]
    return np.concatenate(parts).tobytes() if parts else b""


@dataclass(frozen=True)
class Axes:
    """Where points lie: the axes' `variables` (coordinates of a grid, or values over `point`), `dims` and `shape`."""

    variables: dict[str, Variable]
    dims: tuple[str, ...]
    shape: tuple[int, ...]

    @property
    def points(self) -> int:
        return math.prod(self.shape)


@dataclass(frozen=True)
class Entry:
    """A point's outcome: values, or why it failed."""

    point: int
    values: np.ndarray | None
    reason: str = ""


@dataclass(frozen=True)
class Part:
    """One case of a sweep: its name, what its points hold (None before the first is done), its outcomes."""

    name: str
    shape: Shape | None
    entries: Iterable[Entry]


def write_sweep(path: Path, attributes: dict[str, Any], axes: Axes, parts: list[Part]) -> None:
    """Write the file of a sweep atomically; a group per case where there are several. Raises VibsimError."""
    with beside(path) as name:
        _write(name, attributes, axes, parts)


def _write(name: Path, attributes: dict[str, Any], axes: Axes, parts: list[Part]) -> None:
    places: list[dict[str, int]] = []
    with h5py.File(name, "w", track_order=True) as file:
        for key, value in (attributes | {"vibsim_format": FORMAT_VERSION}).items():
            file.attrs[key] = value
        for part in parts:
            node = file if len(parts) == 1 else file.create_group(part.name, track_order=True)
            places.append(_lay_out(node, axes, part))
    for part, where in zip(parts, places, strict=True):
        reasons = _fill(name, axes, part, where)
        if reasons:
            with h5py.File(name, "a") as file:
                _write_reasons(file if len(parts) == 1 else file[part.name], reasons)


def _lay_out(node: h5py.Group, axes: Axes, part: Part) -> dict[str, int]:
    """Create every array of a case, without its values; where each begins in the file."""
    scales = {}
    shape = part.shape or Shape({}, {})
    numbers = Variable(("point",), np.arange(axes.points), "1", "number of the point")
    coordinates = {dim: axes.variables.get(dim, numbers) for dim in axes.dims} | shape.coordinates
    for name, item in coordinates.items():
        kind = h5py.string_dtype() if item.data.dtype.kind in "OU" else item.data.dtype
        scales[name] = node.create_dataset(name, data=item.data, dtype=kind)
        scales[name].attrs["units"], scales[name].attrs["long_name"] = item.units, item.long_name
        scales[name].make_scale(name)
    for name, item in axes.variables.items():
        if name not in coordinates:
            made = node.create_dataset(name, data=item.data)
            made.attrs["units"], made.attrs["long_name"] = item.units, item.long_name
            made.dims[0].attach_scale(scales[axes.dims[0]])
    made = {"status": _empty(node, "status", axes.shape, np.int8, 0)}
    made["status"].attrs["units"], made["status"].attrs["long_name"] = "1", f"of the point: {STATUS_WORDS}"
    for name, (_, own, units, words) in shape.arrays.items():
        made[name] = _empty(node, name, (*axes.shape, *own), float, math.nan)
        made[name].attrs["units"], made[name].attrs["long_name"] = units, words
    for name, dataset in made.items():
        for index, dim in enumerate((*axes.dims, *(shape.arrays[name][0] if name in shape.arrays else ()))):
            dataset.dims[index].attach_scale(scales[dim])
    return {name: dataset.id.get_offset() for name, dataset in made.items() if dataset.size}


def _empty(node: h5py.Group, name: str, shape: tuple[int, ...], dtype: Any, fill: float) -> h5py.Dataset:
    """A dataset in one piece, its room taken at once."""
    settings = h5py.h5p.create(h5py.h5p.DATASET_CREATE)
    settings.set_alloc_time(h5py.h5d.ALLOC_TIME_EARLY)
    settings.set_fill_value(np.array(fill, dtype=dtype))
    settings.set_layout(h5py.h5d.CONTIGUOUS)
    settings.set_attr_creation_order(h5py.h5p.CRT_ORDER_TRACKED | h5py.h5p.CRT_ORDER_INDEXED)
    kind, space = h5py.h5t.py_create(np.dtype(dtype), logical=True), h5py.h5s.create_simple(shape)
    return h5py.Dataset(h5py.h5d.create(node.id, name.encode(), kind, space, dcpl=settings))


def _fill(name: Path, axes: Axes, part: Part, places: dict[str, int]) -> dict[int, str]:
    """Put the values of every point where they belong; reasons of those that failed."""
    outcome = np.full(axes.points, MISSING, np.int8)
    reasons: dict[int, str] = {}
    waiting: list[Entry] = []
    with name.open("r+b", buffering=0) as file:
        for entry in part.entries:
            outcome[entry.point] = FAILED if entry.values is None else DONE
            if entry.values is None:
                reasons[entry.point] = entry.reason
                continue
            waiting.append(entry)
            if len(waiting) == TOGETHER:
                _put(file.fileno(), waiting, part.shape, places)
                waiting.clear()
        _put(file.fileno(), waiting, part.shape, places)
        _write_all(file.fileno(), outcome, places["status"])
    return {point: reason for point, reason in reasons.items() if outcome[point] == FAILED}


def _put(file: int, entries: list[Entry], shape: Shape | None, places: dict[str, int]) -> None:
    """Write points, those that follow each other in one go."""
    if not entries or shape is None:
        return
    entries = sorted(entries, key=lambda entry: entry.point)
    points = np.array([entry.point for entry in entries])
    values = np.stack([entry.values for entry in entries if entry.values is not None])
    begins = [0, *(np.flatnonzero(np.diff(points) != 1) + 1), len(points)]
    at = 0
    for key, (_, own, _, _) in shape.arrays.items():
        count = math.prod(own)
        for first, last in itertools.pairwise(begins if count else []):
            block = np.ascontiguousarray(values[first:last, at : at + count])
            _write_all(file, block, places[key] + int(points[first]) * count * block.itemsize)
        at += count


def _write_all(file: int, block: np.ndarray, place: int) -> None:
    data = block.tobytes()
    written = 0
    while written < len(data):
        written += os.pwrite(file, data[written:], place + written)


def _write_reasons(node: h5py.Group, reasons: dict[int, str]) -> None:
    numbers = np.array(sorted(reasons))
    scale = node.create_dataset("failure", data=numbers)
    scale.attrs["units"], scale.attrs["long_name"] = "1", "number of a point that failed, counted along the axes"
    scale.make_scale("failure")
    text = node.create_dataset("failure_reason", data=[reasons[n] for n in numbers], dtype=h5py.string_dtype())
    text.attrs["units"], text.attrs["long_name"] = "1", "why the point failed"
    text.dims[0].attach_scale(scale)
