"""A long record on disk, chunk by chunk as the run goes, in the form that results files have."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import h5py
import numpy as np

from vibsim.engine.air_seen import SEEN
from vibsim.inputs.errors import VibsimError
from vibsim.results.collect import QUANTITIES
from vibsim.results.hdf5 import beside, write_group
from vibsim.results.labelled import Group
from vibsim.solver.observe import Observed
from vibsim.solver.parts_seen import SEEN_OF_PARTS

MOST_ROWS = 20_000  # of a chunk in the file, which otherwise has as many as come at once


class Stream:
    """The root variables over time of a results file being written."""

    def __init__(self, file: h5py.File):
        self._file = file
        self._columns: dict[str, _Column] = {}

    def take(self, time: np.ndarray, step: int, seen: Observed) -> None:
        """Append a stretch of the record: times (n) s, index of the step, quantities.

        Raises VibsimError when a number is not finite.
        """
        self._append("time", time, (), "s", "time from the start of the record")
        self._append("step", np.full(time.size, step, np.int64), (), "1", "which step of the run, from 0")
        for name, (dims, units, words) in QUANTITIES.items():
            values = getattr(seen, name)
            if values is not None and not (values.shape[1:] and values.shape[1] == 0):
                self._append(name, values, dims, units, words)
        for name, values in seen.parts.items():
            self._append(name, values, *SEEN_OF_PARTS[name])
        for name, values in (seen.air or {}).items():
            self._append(name, values, (), SEEN[name][0], SEEN[name][1])

    def _append(self, name: str, values: np.ndarray, dims: tuple[str, ...], units: str, words: str) -> None:
        if values.dtype.kind == "f" and not np.isfinite(values.sum()):
            raise VibsimError(f"{name}: holds numbers that are not finite; nothing was written")
        if name not in self._columns:
            rest = values.shape[1:]
            rows = min(len(values), MOST_ROWS)
            node = self._file.create_dataset(
                name, shape=values.shape, maxshape=(None, *rest), chunks=(rows, *rest), dtype=values.dtype
            )
            node.attrs["units"], node.attrs["long_name"] = units, words
            self._columns[name] = _Column(node, dims, rows, room=len(values))
        self._columns[name].append(values)

    def rows(self, first: int, end: int) -> Group:
        """The record from one point up to another, as far as it is written."""
        found = Group()
        for name, column in self._columns.items():
            node = column.node
            units, words = str(node.attrs["units"]), str(node.attrs["long_name"])
            found.add(name, ("time",) if name == "time" else ("time", *column.dims), node[first:end], units, words)
        return found

    def finish(self, group: Group) -> None:
        """Write what goes with the record: labels, attributes, groups."""
        for column in self._columns.values():
            column.trim()
        write_group(self._file, group, {})
        self._file["time"].make_scale("time")
        for name, column in self._columns.items():
            if name == "time":
                continue
            for index, dimension in enumerate(("time", *column.dims)):
                self._file[name].dims[index].attach_scale(self._file[dimension])


@dataclass
class _Column:
    """A variable in the file: its other dimensions, rows of a chunk, rows it has room for and rows written.

    What h5py looks up anew at every question is kept here, and the room is doubled when it is full: asking and resizing
    at every stretch take longer than writing.
    """

    node: h5py.Dataset
    dims: tuple[str, ...]
    rows: int
    room: int
    written: int = 0

    def append(self, values: np.ndarray) -> None:
        before, self.written = self.written, self.written + len(values)
        if self.written > self.room:
            self.room = max(2 * self.room, self.written)
            self.node.resize(self.room, axis=0)
        if len(values) == self.rows and before % self.rows == 0:  # a whole chunk of the file, as it is
            self.node.id.write_direct_chunk((before,) + (0,) * (values.ndim - 1), np.ascontiguousarray(values))
        else:
            self.node[before : self.written] = values

    def trim(self) -> None:
        """Give back the room that was not needed."""
        self.node.resize(self.written, axis=0)


@contextmanager
def streamed(path: Path) -> Iterator[Stream]:
    """A results file that appears under its name when it is complete."""
    with beside(path) as name, h5py.File(name, "w", track_order=True) as file:
        yield Stream(file)
