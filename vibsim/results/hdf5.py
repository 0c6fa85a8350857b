"""Results on disk: HDF5 after the netCDF-4 conventions, so that xarray opens it as it is.

A file appears under its name only when it is complete: it is written beside, flushed to disk and renamed.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import h5py
import numpy as np

from vibsim.inputs.errors import InputError, VibsimError
from vibsim.results.labelled import FORMAT_VERSION, Group, Variable


def write_results(results: Group, path: Path) -> None:
    """Write atomically. Raises VibsimError when a number is not finite or the folder cannot be written."""
    _require_finite(results, "")
    with beside(path) as name, h5py.File(name, "w", track_order=True) as file:
        write_group(file, results, {})


@contextmanager
def beside(path: Path) -> Iterator[Path]:
    """A file to be written in place of `path`, which it becomes when all went well, and is gone otherwise.

    Raises VibsimError when the folder cannot be written.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".part", dir=path.parent)
        os.close(handle)
    except OSError as error:
        raise VibsimError(f"{path}: cannot be written ({error.strerror})") from None
    try:
        yield Path(name)
        _flush_to_disk(Path(name))
        Path(name).chmod(0o666 & ~_umask())
        Path(name).replace(path)
        _flush_to_disk(path.parent)
    except OSError as error:
        reason = os.strerror(error.errno) if error.errno else str(error).splitlines()[0]
        raise VibsimError(f"{path}: cannot be written ({reason})") from None
    finally:
        Path(name).unlink(missing_ok=True)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _flush_to_disk(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _require_finite(group: Group, path: str) -> None:
    for name, variable in group.variables.items():
        if variable.data.dtype.kind == "f" and not np.isfinite(variable.data).all():
            raise VibsimError(f"{path}{name}: holds numbers that are not finite; nothing was written")
    for name, inner in group.groups.items():
        _require_finite(inner, f"{path}{name}/")


def write_group(node: h5py.Group, group: Group, outer: dict[str, Variable]) -> None:
    """Write coordinates first, then what uses them. Every group holds its own, so that it can be read by itself."""
    for name, value in group.attributes.items():
        node.attrs[name] = value
    outer = {**outer, **{name: item for name, item in group.variables.items() if item.dims == (name,)}}
    used = {dimension for variable in group.variables.values() for dimension in variable.dims}
    coordinates = {name: item for name, item in outer.items() if name in used}
    scales = {}
    for name, variable in coordinates.items():
        scales[name] = _write_variable(node, name, variable)
        scales[name].make_scale(name)
    for name, variable in group.variables.items():
        if name in coordinates:
            continue
        dataset = _write_variable(node, name, variable)
        for index, dimension in enumerate(variable.dims):
            dataset.dims[index].attach_scale(scales[dimension])
    for name, inner in group.groups.items():
        write_group(node.create_group(name, track_order=True), inner, outer)


def _write_variable(node: h5py.Group, name: str, variable: Variable) -> h5py.Dataset:
    kind = h5py.string_dtype() if variable.data.dtype.kind in "OU" else variable.data.dtype
    dataset = node.create_dataset(name, data=variable.data, dtype=kind)
    dataset.attrs["units"] = variable.units
    dataset.attrs["long_name"] = variable.long_name
    return dataset


def read_results(path: str | Path, record: bool | Collection[str] = True) -> Group:
    """Read a results file whole, or of a run of steps, whose `record` may be long, none or some variables of it.

    Raises InputError for what is no (complete) results file of this project.
    """
    path = Path(path)
    if path.is_dir() or not path.exists():
        what = "is a folder" if path.is_dir() else "no such file"
        raise InputError(f"{path}: {what}; expected a results file (.h5) written by vibsim run")
    try:
        with h5py.File(path, "r") as file:
            written = file.attrs.get("vibsim_format")
            if written is None:
                raise InputError(f"{path}: is HDF5, but not a results file of vibsim")
            if int(written) > FORMAT_VERSION:
                raise InputError(
                    f"{path}: is of format {int(written)}; this version reads up to {FORMAT_VERSION}, update vibsim"
                )
            kept = () if isinstance(record, bool) else record
            slim = record is not True and "history" in file
            return _read_group(file, without="time" if slim else "", kept=kept)
    except PermissionError:
        raise InputError(f"{path}: may not be read (permission denied)") from None
    except (OSError, RuntimeError, KeyError) as error:
        reason = str(error).splitlines()[0]
        raise InputError(f"{path}: is not a complete results file ({reason}); expected one from vibsim run") from None


def read_rows(path: str | Path, first: int, end: int) -> Group:
    """The record over time of a results file from one point up to another. Raises InputError."""
    found = Group()
    try:
        with h5py.File(Path(path), "r") as file:
            for name, item in file.items():
                if not isinstance(item, h5py.Dataset) or not item.ndim:
                    continue
                dims = (name,) if item.is_scale else tuple(_dimension(dimension) for dimension in item.dims)
                if dims[0] == "time":
                    units, words = (str(_plain(item.attrs[key])) for key in ("units", "long_name"))
                    found.add(name, dims, item[first:end], units, words)
    except (OSError, RuntimeError, KeyError) as error:
        raise InputError(f"{path}: is not a complete results file ({str(error).splitlines()[0]})") from None
    return found


def _read_group(node: h5py.Group, without: str = "", kept: Collection[str] = ()) -> Group:
    """A group with its groups; its own variables along a dimension left out if that is named, but for those kept."""
    group = Group(attributes={name: _plain(value) for name, value in node.attrs.items()})
    for name, item in node.items():
        if isinstance(item, h5py.Group):
            group.groups[name] = _read_group(item)
            continue
        if (
            without
            and name not in kept
            and (name == without or (item.ndim and without in [_dimension(d) for d in item.dims]))
        ):
            continue
        data = item.asstr()[()] if h5py.check_string_dtype(item.dtype) else item[()]
        dims = (name,) if item.is_scale else tuple(_dimension(dimension) for dimension in item.dims)
        units = str(_plain(item.attrs.get("units", "")))
        group.variables[name] = Variable(dims, data, units, str(_plain(item.attrs.get("long_name", ""))))
    return group


def _dimension(dimension: h5py._hl.dims.DimensionProxy) -> str:
    """Name of a dimension; of none that is a coordinate itself."""
    return str(dimension[0].name).rsplit("/", 1)[-1] if len(dimension) else ""


def _plain(value: Any) -> Any:
    if isinstance(value, bytes):
        return value.decode()
    return value.item() if isinstance(value, np.generic) else value
