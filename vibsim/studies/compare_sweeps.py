"""Sweeps side by side: differences of their quantities at the points they have in common.

A difference at a point counts when it is more than `percent` of the larger of both values and more than `residuals`
times what the points still changed by from cycle to cycle (both shares added) of the swing that goes with the larger
value, taken as that of a sine of this root mean square, 2√2 times it (derived; too much for what is a swing or peak
itself, so that nothing counts too early).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from vibsim.inputs.errors import InputError
from vibsim.results.labelled import Group
from vibsim.results.sweep_file import DONE
from vibsim.studies.compare_runs import PERCENT, RESIDUALS
from vibsim.studies.sweep.read import Quantity, Read, quantity, read_sweep, usual

SWING = 2.0 * math.sqrt(2.0)
LESS_IS_BETTER = ("mount_force_", "sensor_", "exposure_", "torque_swing", "torque_rms", "torque_amp", "speed_fluct")


@dataclass(frozen=True)
class Difference:
    """A quantity at the common points (n), of the first sweep and of another: `counts` says where the change counts."""

    quantity: str
    label: str
    units: str
    sweep: str
    before: np.ndarray
    after: np.ndarray
    counts: np.ndarray

    @property
    def change(self) -> np.ndarray:
        return self.after - self.before

    @property
    def judged(self) -> bool:
        """Whether less of it is better."""
        return self.quantity.startswith(LESS_IS_BETTER)


@dataclass(frozen=True)
class SweepComparison:
    """Sweeps by `names`, the first is what the others are held against. `points` (n, axes) have all in common; they
    fill a grid of `shape` in C order, or none."""

    names: tuple[str, ...]
    axes: tuple[str, ...]
    labels: tuple[str, ...]
    points: np.ndarray
    shape: tuple[int, ...] | None
    differences: tuple[Difference, ...]
    percent: float
    residuals: float
    notes: tuple[str, ...]


def compare_sweeps(
    sweeps: dict[str, Group],
    words: list[str] | None = None,
    percent: float = PERCENT,
    residuals: float = RESIDUALS,
) -> SweepComparison:
    """Hold sweeps, or the cases of one, against the first, in quantities by `words` (the usual ones without).

    Raises InputError for fewer than two, other axes, no common points or a quantity that one of them has not.
    """
    reads = _every_case(sweeps)
    if len(reads) < 2:
        raise InputError("compare: got one sweep of one case; give two or more sweeps, or a sweep of several cases")
    names, first = list(reads), next(iter(reads.values()))
    for name, read in reads.items():
        if read.names != first.names:
            own, other = (", ".join(item.names) for item in (read, first))
            raise InputError(f"compare: {name} is over {own}, {names[0]} over {other}")
    places = _common(reads)
    points = first.values[places[0]]
    quantities = words or _shared(reads)
    differences = []
    for word in quantities:
        found = [quantity(read, word) for read in reads.values()]
        for number in range(1, len(names)):
            pair = (found[0], found[number]), (first, reads[names[number]]), (places[0], places[number])
            differences.append(_difference(names[number], *pair, percent, residuals))
    labels = tuple(_axis_label(item.long_name, item.units) for item in first.axes.values())
    notes = [
        f"{name}: {len(read.status) - len(points)} of {len(read.status)} points have no counterpart and are left out"
        for name, read in reads.items()
        if len(read.status) > len(points)
    ]
    shape = _grid_shape(points)
    return SweepComparison(
        tuple(names), tuple(first.names), labels, points, shape, tuple(differences), percent, residuals, tuple(notes)
    )


def _axis_label(words: str, units: str) -> str:
    return words if units == "1" else f"{words} ({units})"


def _every_case(sweeps: dict[str, Group]) -> dict[str, Read]:
    reads = {}
    for name, results in sweeps.items():
        if "status" in results.variables:
            reads[name] = read_sweep(results)
            continue
        for case in results.groups:
            reads[case if len(sweeps) == 1 else f"{name} · {case}"] = read_sweep(results, case)
    return reads


def _common(reads: dict[str, Read]) -> list[np.ndarray]:
    """Numbers of the points that all sweeps have done, of each sweep in the order of the first."""
    tables = []
    for read in reads.values():
        keys = [tuple(f"{value:.9g}" for value in values) for values in read.values]
        tables.append({key: n for n, key in enumerate(keys) if read.status[n] == DONE})
    shared = [key for key in tables[0] if all(key in table for table in tables)]
    if not shared:
        raise InputError("compare: the sweeps have no finished point in common")
    return [np.array([table[key] for key in shared]) for table in tables]


def _shared(reads: dict[str, Read]) -> list[str]:
    """The usual quantities of the first sweep that all have."""

    def has(read: Read, word: str) -> bool:
        try:
            quantity(read, word)
        except InputError:
            return False
        return True

    found = [word for word in usual(next(iter(reads.values()))) if all(has(read, word) for read in reads.values())]
    if not found:
        raise InputError("compare: the sweeps keep no quantity in common")
    return found


def _difference(
    name: str,
    found: tuple[Quantity, Quantity],
    reads: tuple[Read, Read],
    places: tuple[np.ndarray, np.ndarray],
    percent: float,
    residuals: float,
) -> Difference:
    before, after = (item.values[place] for item, place in zip(found, places, strict=True))
    shares = sum(_residual(read)[place] for read, place in zip(reads, places, strict=True))
    larger = np.maximum(np.abs(before), np.abs(after))
    counts = np.abs(after - before) > np.maximum(0.01 * percent, residuals * SWING * shares) * larger
    first = found[0]
    return Difference(first.word, first.label, first.units, name, before, after, counts)


def _residual(read: Read) -> np.ndarray:
    """Share that each point still changed by from cycle to cycle; nought where the sweep has not kept it."""
    if "residual" not in read.results:
        return np.zeros(len(read.status))
    return np.nan_to_num(np.asarray(read.results["residual"], dtype=float).ravel())


def _grid_shape(points: np.ndarray) -> tuple[int, ...] | None:
    """The shape of the grid that points fill in C order; None where they do not."""
    values = [np.array(list(dict.fromkeys(column))) for column in points.T]
    shape = tuple(len(item) for item in values)
    if math.prod(shape) != len(points):
        return None
    whole = np.stack(np.meshgrid(*values, indexing="ij"), axis=-1).reshape(-1, len(values))
    return shape if np.array_equal(whole, points) else None


def difference_rows(compared: SweepComparison) -> list[dict[str, Any]]:
    """One row per quantity and sweep: how many points got better and worse, the greatest changes and where."""
    rows = []
    for item in compared.differences:
        change = item.change
        finite = np.isfinite(change)
        row: dict[str, Any] = {"quantity": item.quantity, "sweep": item.sweep, "units": item.units}
        row |= {"label": item.label, "points": int(finite.sum()), "judged": item.judged}
        row["fell"] = int((item.counts & (change < 0.0)).sum())
        row["rose"] = int((item.counts & (change > 0.0)).sum())
        if finite.any():
            row["mean_before"], row["mean_after"] = float(item.before[finite].mean()), float(item.after[finite].mean())
            for word, place in (("greatest_fall", np.nanargmin(change)), ("greatest_rise", np.nanargmax(change))):
                where = dict(zip(compared.axes, map(float, compared.points[place]), strict=True))
                row[word] = {"change": float(change[place]), "at": where}
        rows.append(row)
    return rows


def as_dict(compared: SweepComparison) -> dict[str, Any]:
    """Everything, for JSON; null where a point has no number."""

    def plain(values: np.ndarray) -> list[float | None]:
        return [float(value) if np.isfinite(value) else None for value in values]

    return {
        "sweeps": list(compared.names),
        "axes": list(compared.axes),
        "points": compared.points.tolist(),
        "shape": compared.shape,
        "significant_percent": compared.percent,
        "significant_residuals": compared.residuals,
        "notes": list(compared.notes),
        "quantities": difference_rows(compared),
        "differences": [
            {
                "quantity": item.quantity,
                "sweep": item.sweep,
                "before": plain(item.before),
                "after": plain(item.after),
                "counts": item.counts.tolist(),
            }
            for item in compared.differences
        ],
    }
