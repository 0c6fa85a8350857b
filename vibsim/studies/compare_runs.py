"""Results of runs side by side: levels and orders before and after, and which changes count.

A change of an order or level counts when it is more than `percent` of the larger of both values, and more than
`residuals` times what the two runs still change by from one cycle to the next, as a share of the quantity's swing over
the cycle (both runs' shares added). Ten times covers what is left of a motion that loses a tenth per cycle: the sum of
a geometric row (derived). Orders below 1 % of the place's strongest are not judged.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from vibsim.inputs.errors import InputError
from vibsim.post.levels import exact_values
from vibsim.results.labelled import Group

PERCENT, RESIDUALS = 5.0, 10.0
MINOR = 0.01  # of the strongest order of a place: what is below is not judged
RESULTANT = "resultant"
BETTER, WORSE, ALIKE = "better", "worse", "alike"
RPM = 30.0 / math.pi
# of the orders' variables: name in words, dimension of places
ORDERS = {"mount_force": ("mount force", "mount"), "sensor_acceleration": ("acceleration", "sensor")}
# group, variable, name in words, dimension of places, variable over the cycle whose swing the residual is a share of
LEVELS = (
    ("mount_forces", "resultant_rms", "mount force, rms", "mount", "mount_force"),
    ("mount_forces", "varying_peak", "mount force, peak", "mount", "mount_force"),
    ("sensors", "resultant_rms", "acceleration, rms", "sensor", "sensor_acceleration"),
    ("sensors", "resultant_peak", "acceleration, peak", "sensor", "sensor_acceleration"),
    ("exposure", "a8", "A(8) of 8 h", "felt_at", "sensor_acceleration"),
    ("exposure", "comfort_total", "comfort total", "felt_at", "sensor_acceleration"),
)


What = tuple[str, str, str, float | None, str]  # quantity, place, axis, order, units


@dataclass(frozen=True)
class Row:
    """One quantity at one place: `values` per run (None where a run has it not), `verdicts` per run after the first,
    `floor` (same unit) below which a change is not told from what the runs have left to settle."""

    quantity: str
    place: str
    axis: str
    order: float | None
    units: str
    values: tuple[float | None, ...]
    floors: tuple[float, ...]
    verdicts: tuple[str | None, ...]

    def change(self, run: int) -> float | None:
        """After less before."""
        before, after = self.values[0], self.values[run]
        return None if before is None or after is None else after - before


@dataclass(frozen=True)
class RunComparison:
    """Runs by `names`, the first is what the others are held against; `points` says what each ran at."""

    names: tuple[str, ...]
    points: tuple[dict[str, Any], ...]
    levels: tuple[Row, ...]
    orders: tuple[Row, ...]
    percent: float
    residuals: float
    notes: tuple[str, ...]


def compare_runs(runs: dict[str, Group], percent: float = PERCENT, residuals: float = RESIDUALS) -> RunComparison:
    """Hold runs against the first of them. Raises InputError for fewer than two, or for what is no run."""
    if len(runs) < 2:
        raise InputError("compare: got one run; give two or more results files")
    for name, results in runs.items():
        if "torque" not in results.groups:
            raise InputError(f"{name}: holds no run; expected a results file of vibsim run")
    groups = list(runs.values())
    judge = _Judge(percent, residuals, [float(run.attributes.get("settling_residual", 0.0)) for run in groups])
    points = tuple(_point(results) for results in groups)
    levels = [row for level in LEVELS for row in _level_rows(groups, judge, level)]
    levels += _deflection_rows(groups, judge) + _single_rows(groups, judge)
    orders = [row for name in ORDERS for row in _order_rows(groups, judge, name)]
    notes = tuple(_notes(list(runs), points, percent))
    return RunComparison(tuple(runs), points, tuple(levels), tuple(orders), percent, residuals, notes)


@dataclass(frozen=True)
class _Judge:
    """The thresholds, and the share of its swing that each run still changes by."""

    percent: float
    residuals: float
    shares: list[float]

    def row(self, what: What, values: list[float | None], swings: list[float], least: float) -> Row:
        left = [share * swing for share, swing in zip(self.shares, swings, strict=True)]
        floors = tuple(self.residuals * (left[0] + other) for other in left[1:])
        verdicts = tuple(
            self._verdict(values[0], value, floor, least) for value, floor in zip(values[1:], floors, strict=True)
        )
        return Row(*what, tuple(values), floors, verdicts)

    def _verdict(self, before: float | None, after: float | None, floor: float, least: float) -> str | None:
        if before is None or after is None:
            return None
        change, larger = after - before, max(abs(before), abs(after))
        if larger < least or abs(change) <= max(floor, 0.01 * self.percent * larger):
            return ALIKE
        return BETTER if change < 0.0 else WORSE


def _level_rows(groups: list[Group], judge: _Judge, level: tuple[str, str, str, str, str]) -> list[Row]:
    group, variable, words, dimension, over = level
    having = [run for run in groups if f"{group}/{variable}" in run]
    rows = []
    for place in dict.fromkeys(name for run in having for name in _labels(run, group, dimension)):
        values = [_at(run, group, variable, dimension, place) for run in groups]
        if any(values):  # what the rules judge nothing of is nought everywhere
            units = having[0].groups[group].variables[variable].units
            swings = [_swing(run, over, place) for run in groups]
            rows.append(judge.row((words, place, RESULTANT, None, units), values, swings, 0.0))
    return rows


def _at(run: Group, group: str, variable: str, dimension: str, place: str) -> float | None:
    if f"{group}/{variable}" not in run or place not in _labels(run, group, dimension):
        return None
    return float(run[f"{group}/{variable}"][_labels(run, group, dimension).index(place)])


def _labels(run: Group, group: str, dimension: str) -> list[str]:
    """Names along a dimension of a group: its own, or in memory those of the root."""
    return run.groups[group].labels(dimension) or run.labels(dimension)


def _swing(run: Group, name: str, place: str) -> float:
    """Greatest swing of any axis of a mount's force or deflection or a sensor's acceleration over the cycle."""
    dimension = "sensor" if name == "sensor_acceleration" else "mount"
    if name not in run or place not in run.labels(dimension):
        return 0.0
    values = exact_values(run, name)[:, run.labels(dimension).index(place)]
    return float(np.ptp(values, axis=0).max())


def _deflection_rows(groups: list[Group], judge: _Judge) -> list[Row]:
    """How far each mount works: what a softer one pays with."""
    rows = []
    for place in dict.fromkeys(label for run in groups for label in run.labels("mount")):
        values = [_swing(run, "mount_deflection", place) if place in run.labels("mount") else None for run in groups]
        swings = [value or 0.0 for value in values]
        rows.append(judge.row(("mount deflection, swing", place, RESULTANT, None, "m"), values, swings, 0.0))
    return rows


def _single_rows(groups: list[Group], judge: _Judge) -> list[Row]:
    swings = [float(run["torque/swing"][run.groups["torque"].labels("torque").index("net")]) for run in groups]
    wobble = [float(run.groups["torque"].attributes["speed_fluctuation"]) for run in groups]
    return [
        judge.row(("torque ripple, swing", "net", "", None, "N m"), [*swings], swings, 0.0),
        judge.row(("speed fluctuation", "crank", "", None, "1"), [*wobble], wobble, 0.0),
    ]


def _order_rows(groups: list[Group], judge: _Judge, name: str) -> list[Row]:
    """Rows of every place and order, of the root sum of squares of the axes and of each axis."""
    words, dimension = ORDERS[name]
    path = f"orders/{name}_amplitude"
    having = [run for run in groups if path in run]
    if not having:
        return []
    units = having[0].groups["orders"].variables[f"{name}_amplitude"].units
    every = sorted({float(order) for run in having for order in run["orders/order"] if order > 0.0})
    rows = []
    for place in dict.fromkeys(label for run in having for label in run.labels(dimension)):
        swings = [_swing(run, name, place) for run in groups]
        for axis in (RESULTANT, *having[0].labels("axis")):
            found = [_spectrum(run, path, dimension, place, axis) for run in groups]
            least = MINOR * max((max(item.values(), default=0.0) for item in found), default=0.0)
            for order in every:
                values = [item.get(order) for item in found]
                if any(value is not None and value > 0.0 for value in values):
                    rows.append(judge.row((words, place, axis, order, units), values, swings, least))
    return rows


def _spectrum(run: Group, path: str, dimension: str, place: str, axis: str) -> dict[float, float]:
    """Amplitude by order at a place; empty where the run has not that place."""
    if path not in run or place not in run.labels(dimension):
        return {}
    amplitude = run[path][:, run.labels(dimension).index(place)]
    chosen = np.linalg.norm(amplitude, axis=1) if axis == RESULTANT else amplitude[:, run.labels("axis").index(axis)]
    orders = run["orders/order"]
    return {float(order): float(value) for order, value in zip(orders, chosen, strict=True) if order > 0.0}


def _point(run: Group) -> dict[str, Any]:
    torque = run.groups["torque"]
    return {
        "title": str(run.attributes.get("title", "")),
        "run_kind": str(run.attributes.get("run_kind", "")),
        "mean_speed_rpm": float(torque.attributes["mean_speed_rad_per_s"]) * RPM,
        "mean_load_torque_N_m": float(exact_values(run, "load_torque").mean()),
        "settled": bool(run.attributes.get("settled", 1)),
        "residual": run.attributes.get("settling_residual"),
    }


def _notes(names: list[str], points: tuple[dict[str, Any], ...], percent: float) -> list[str]:
    """What makes runs hard to compare."""
    notes = []
    first = points[0]
    for name, point in zip(names, points, strict=True):
        for key, words, unit in (("mean_speed_rpm", "speed", "rpm"), ("mean_load_torque_N_m", "output torque", "N m")):
            if abs(point[key] - first[key]) > 0.01 * percent * abs(first[key]):
                own, other = (f"{item[key]:.4g} {unit}" for item in (point, first))
                notes.append(f"{name}: its {words} is {own}, that of {names[0]} {other}")
        if not point["settled"]:
            notes.append(f"{name}: did not settle")
        if point["residual"] is None:
            notes.append(f"{name}: {point['run_kind']} run, what it changes by from cycle to cycle is not known")
    return notes


def judged(rows: tuple[Row, ...], run: int, verdict: str, axis: str = RESULTANT) -> list[Row]:
    """Rows whose change counts in a run (1 is the second), the greatest share of the place's strongest first."""
    strongest: dict[tuple[str, str], float] = {}
    for row in rows:
        key = (row.quantity, row.place)
        strongest[key] = max(strongest.get(key, 0.0), *(abs(value) for value in row.values if value is not None))
    found = [row for row in rows if row.verdicts[run - 1] == verdict and row.axis in (axis, "")]
    return sorted(found, key=lambda row: -abs(row.change(run) or 0.0) / strongest[row.quantity, row.place])


def as_dict(compared: RunComparison) -> dict[str, Any]:
    """Everything, for JSON."""

    def plain(row: Row) -> dict[str, Any]:
        found: dict[str, Any] = {"quantity": row.quantity, "place": row.place, "axis": row.axis}
        if row.order is not None:
            found["order"] = row.order
        return found | {
            "units": row.units,
            "values": list(row.values),
            "floors": list(row.floors),
            "verdicts": list(row.verdicts),
        }

    return {
        "runs": [{"name": name} | point for name, point in zip(compared.names, compared.points, strict=True)],
        "significant_percent": compared.percent,
        "significant_residuals": compared.residuals,
        "notes": list(compared.notes),
        "levels": [plain(row) for row in compared.levels],
        "orders": [plain(row) for row in compared.orders],
    }
