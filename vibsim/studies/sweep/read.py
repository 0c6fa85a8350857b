"""Reading a sweep: a quantity by its name over all points, the best points within limits, which axis matters."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import numpy as np

from vibsim.inputs.errors import InputError, nearest
from vibsim.results.labelled import Group, Variable
from vibsim.results.sweep_file import DONE, FAILED
from vibsim.studies.sweep.shown import shown_unit

LIMIT = re.compile(r"(.+?)(<=|>=|<|>)([^<>=]+)$")
USUAL = ("speed_fluctuation", "peak_pressure", "brake_torque_after", "time_to_90_percent_of_rise", "tyre_force_least")
NOT_QUANTITIES = ("status", "failure", "failure_reason")


@dataclass(frozen=True)
class Quantity:
    """A number per point: `values` (points; nan where not computed), its unit and how to name it."""

    word: str
    values: np.ndarray
    units: str
    label: str


@dataclass(frozen=True)
class Read:
    """A sweep as read: `axes` by name with their values (points) and units, the grid's `shape` or (points,)."""

    title: str
    results: Group
    axes: dict[str, Variable]
    values: np.ndarray
    shape: tuple[int, ...]
    grid: bool
    status: np.ndarray

    @property
    def names(self) -> list[str]:
        return list(self.axes)


def is_sweep(results: Group) -> bool:
    return results.attributes.get("run_kind") == "sweep"


def read_sweep(results: Group, case: str | None = None) -> Read:
    """The sweep of one case (the first unless named) of a sweep file. Raises InputError."""
    group = results
    if "status" not in results.variables:
        if case is not None and case not in results.groups:
            raise InputError(f"--case: got '{case}'; {nearest(case, list(results.groups))}")
        case = case or next(iter(results.groups))
        group = results.groups[case]
    elif case is not None:
        raise InputError(f"--case: got '{case}'; this sweep is of one case alone, leave it out")
    status = group.variables["status"]
    title = str(results.attributes.get("title", "")) + (f" · {case}" if group is not results else "")
    grid = status.dims != ("point",)
    if grid:
        axes = {name: group.variables[name] for name in status.dims}
        spread = np.meshgrid(*(item.data for item in axes.values()), indexing="ij")
        values = np.stack([item.ravel() for item in spread], axis=1)
    else:
        named = [name for name, item in group.variables.items() if item.dims == ("point",)]
        axes = {name: group.variables[name] for name in named if name not in ("point", *NOT_QUANTITIES)}
        axes = {name: item for name, item in axes.items() if "point" not in (name,) and _is_axis(results, item)}
        values = np.stack([item.data for item in axes.values()], axis=1)
    return Read(title, group, axes, values, status.data.shape, grid, status.data.ravel())


def _is_axis(results: Group, item: Variable) -> bool:
    keys = str(results.attributes["sweep_keys"]).split("\n")
    return item.long_name.split(",")[0] in keys


def quantity(read: Read, word: str, option: str = "--of") -> Quantity:
    """A quantity by name: `torque_swing[net]`, `sensor_rms[seat,Z]`, `mount_force_order_amplitude[1.5,rear left,Z]`.

    What is not said in brackets is the greatest over all there is. Raises InputError, naming the option that has it.
    """
    name, _, inside = word.strip().partition("[")
    known = quantities(read)
    if name not in known:
        raise InputError(f"{option}: got '{word}'; no such quantity in the sweep; {nearest(name, known)}")
    variable = read.results.variables[name]
    lead = len(read.shape)
    data, dims, said = variable.data, list(variable.dims[lead:]), []
    for label in (item.strip() for item in inside.rstrip("]").split(",")) if inside else ():
        dim, index = _find(read, dims, label, f"{option}: got '{word}'")
        data = np.take(data, index, axis=lead + dims.index(dim))
        dims.remove(dim)
        said.append(f"order {label}" if dim == "order" else label)
    if dims:
        data = np.abs(data).max(axis=tuple(range(lead, data.ndim)))
        said.append(f"greatest over {' and '.join(dims)}")
    label = f"{variable.long_name}: {', '.join(said)}" if said else variable.long_name
    return Quantity(word, np.asarray(data, dtype=float).ravel(), variable.units, label)


def _find(read: Read, dims: list[str], label: str, asked: str) -> tuple[str, int]:
    for dim in dims:
        coordinate = read.results.variables[dim].data
        if coordinate.dtype.kind in "OU":
            names = [str(item) for item in coordinate]
            if label in names:
                return dim, names.index(label)
            continue
        try:
            near = np.flatnonzero(np.isclose(coordinate, float(label), rtol=1e-9))
        except ValueError:
            continue
        if len(near):
            return dim, int(near[0])
    known = [str(item) for dim in dims for item in read.results.variables[dim].data]
    raise InputError(f"{asked}; no '{label}' there; {nearest(label, known)}")


def quantities(read: Read) -> list[str]:
    """Names of everything kept per point."""
    lead = read.results.variables["status"].dims
    return [
        name
        for name, item in read.results.variables.items()
        if item.dims[: len(lead)] == lead and name not in (*NOT_QUANTITIES, *read.axes, "point")
    ]


def usual(read: Read) -> list[str]:
    """What an engineer looks at first, of what the sweep holds."""
    words = []
    if "sensor_resultant_rms" in read.results:
        words += [f"sensor_resultant_rms[{name}]" for name in read.results.labels("sensor")]
    if "mount_force_resultant_rms" in read.results:
        words.append("mount_force_resultant_rms")
    if "torque_swing" in read.results and "net" in read.results.labels("torque"):
        words.append("torque_swing[net]")
    words += [name for name in USUAL if name in read.results]
    return words or quantities(read)[:6]


def within(read: Read, limits: list[str]) -> np.ndarray:
    """Whether each point (points) is done and keeps every limit such as `sensor_resultant_rms[seat]<0.5`.

    Numbers are in the unit that tables and figures show, those of an axis as the case has them. Raises InputError.
    """
    kept = read.status == DONE
    for text in limits:
        match = LIMIT.match(text)
        try:
            bound = float(match[3]) if match else np.nan
        except ValueError:
            bound = np.nan
        if not match or not np.isfinite(bound):
            raise InputError(f"--limit: got '{text}'; a limit looks like 'sensor_resultant_rms[seat]<0.5'")
        values = _of_axis(read, match[1].strip())
        with np.errstate(invalid="ignore"):
            kept = kept & (values <= bound if match[2].startswith("<") else values >= bound)
    return kept


def _of_axis(read: Read, word: str) -> np.ndarray:
    if word in read.axes:
        return read.values[:, read.names.index(word)]
    item = quantity(read, word, "--limit")
    return shown_unit(item.units)[0] * item.values


def best(read: Read, word: str, limits: list[str], count: int = 5, most: bool = False) -> list[int]:
    """The points of least (or `most`) of a quantity within limits, best first."""
    values = quantity(read, word).values
    allowed = np.flatnonzero(within(read, limits) & np.isfinite(values))
    ranked = allowed[np.argsort(-values[allowed] if most else values[allowed], kind="stable")]
    return [int(point) for point in ranked[:count]]


def importance(read: Read, word: str) -> dict[str, float]:
    """Share of a quantity's variance that each axis explains by itself.

    On a grid the first-order effect, the variance of the mean over all other axes over the whole variance (Sobol 1993,
    from memory), which is exact there; of samples the squared rank correlation (Spearman), which sees what rises or
    falls throughout. nan where nothing varies or points are missing from a grid.
    """
    values = quantity(read, word).values
    if read.grid:
        return {name: _first_order(values.reshape(read.shape), axis) for axis, name in enumerate(read.names)}
    from scipy.stats import spearmanr

    done = np.isfinite(values)
    found = {}
    for axis, name in enumerate(read.names):
        along = read.values[done, axis]
        varies = len(along) > 2 and np.ptp(along) > 0.0 and np.ptp(values[done]) > 0.0
        found[name] = float(spearmanr(along, values[done]).statistic) ** 2 if varies else float("nan")
    return found


def _first_order(values: np.ndarray, axis: int) -> float:
    whole = values.var()
    others = tuple(other for other in range(values.ndim) if other != axis)
    return float(values.mean(axis=others).var() / whole) if whole > 0.0 else float("nan")


def describe(read: Read, words: list[str], limits: list[str], most: bool = False) -> dict[str, Any]:
    """Range of quantities, the best points of the first within limits, what matters, failures: for table or JSON."""
    found = [quantity(read, word) for word in words]
    ranges = [
        {
            "quantity": item.word,
            "label": item.label,
            "units": item.units,
            "least": _finite(np.nanmin(item.values)) if np.isfinite(item.values).any() else None,
            "greatest": _finite(np.nanmax(item.values)) if np.isfinite(item.values).any() else None,
            "importance": {name: _finite(share) for name, share in importance(read, item.word).items()},
        }
        for item in found
    ]
    points = [
        {name: _finite(value) for name, value in zip(read.names, read.values[point], strict=True)}
        | {item.word: _finite(item.values[point]) for item in found}
        for point in best(read, words[0], limits, most=most)
    ]
    return {
        "title": read.title,
        "axes": read.names,
        "units": {name: item.units for name, item in read.axes.items()} | {item.word: item.units for item in found},
        "points": len(read.status),
        "done": int(np.count_nonzero(read.status == DONE)),
        "within_limits": int(np.count_nonzero(within(read, limits))),
        "limits": limits,
        "quantities": ranges,
        "best": points,
        "best_is": "greatest" if most else "least",
        "failures": [{"point": n, "reason": why} for n, why in failures(read)],
    }


def _finite(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def failures(read: Read) -> list[tuple[int, str]]:
    """Number and reason of each point that failed."""
    if not np.any(read.status == FAILED):
        return []
    results = read.results
    return [(int(n), str(why)) for n, why in zip(results["failure"], results["failure_reason"], strict=True)]
