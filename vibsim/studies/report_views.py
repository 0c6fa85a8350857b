"""Which runs a report shows together, and what its slider moves along."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np

from vibsim.post.orders import angle_grid
from vibsim.results.labelled import Group
from vibsim.studies.report_levels import Levels, alike, run_levels, together
from vibsim.studies.report_record import bare_levels, record_levels

RPM = 30.0 / math.pi
SPEED = ("run.speed",)  # how the key of the axis that the slider moves along begins
NAMED = re.compile(
    r"^\w+\[([^\]]+)\]\.([a-z]+(?:_[a-z]{3,})*)\w*(?:\[([^\]]+)\])?$"
)  # mount[rear].stiffness_N_per_mm[3]
TIMES = ", times what the case says"


@dataclass(frozen=True)
class Axis:
    """What points differ in: `values` in `unit`, as case keys are written."""

    label: str
    unit: str
    values: np.ndarray


@dataclass(frozen=True)
class View:
    """Points that are shown together: a grid over `axes` with `levels` in its order, or as many as `names` says.

    `slider` tells which axis moves; `grid` whether the axes span a grid or every one has a value per point; `found`
    what a sweep says in numbers (None of runs); `runs` the results of runs, in the order of the points; `written` what
    the case as written says for each axis, where that is known; `swept` a sweep's own variables, its points the first
    `lead` dimensions. Of a `record` that does not repeat the points are windows along it.
    """

    name: str
    subject: int
    axes: list[Axis]
    slider: int
    grid: bool
    names: list[str]
    levels: Levels
    found: dict[str, Any] | None = None
    runs: list[Group] = field(default_factory=list)
    keys: list[str] = field(default_factory=list)
    written: list[float | None] = field(default_factory=list)
    swept: Group | None = None
    lead: int = 0
    record: bool = False


def axis_words(keys: list[str]) -> list[str]:
    """What axes are called: `run.speed_rpm` is the crank speed, `mount[rear].stiffness_N_per_mm[*]` the rear stiffness;
    other keys, and those that would be called alike, as they are written."""
    found = [_short(key) for key in keys]
    return [short if found.count(short) == 1 else _long(key) for short, key in zip(found, keys, strict=True)]


def _long(key: str) -> str:
    return key.removeprefix("run.").replace(TIMES, " ×")


def _short(key: str) -> str:
    if key.startswith(SPEED):
        return "crank speed"
    match = NAMED.match(key.removesuffix(TIMES))
    if match is None:
        return _long(key)
    name, what, index = match.groups()
    words = ["all" if name == "*" else name, what.replace("_", " ")]
    words += [index] if index not in (None, "*") else []
    return " ".join(words) + (" ×" if key.endswith(TIMES) else "")


class Run(NamedTuple):
    """A run's name, the number of its subject, its results, and where it is periodic its levels."""

    name: str
    subject: int
    results: Group
    levels: Levels | None


def run_of(name: str, subject: int, results: Group) -> Run:
    """What repeats from cycle to cycle has levels of one point; what does not is told along its record."""
    grid = angle_grid(results) if "torque" in results.groups else None
    return Run(name, subject, results, run_levels(results) if grid is not None and grid[2] else None)


def run_views(runs: list[Run]) -> list[View]:
    """Periodic runs of one drawing at speeds that differ share a slider; every other run stands for itself."""
    groups: list[list[Run]] = []
    for run in runs:
        home = next((group for group in groups if group[0].subject == run.subject and _shares(group, run)), None)
        if home is None:
            groups.append([run])
        else:
            home.append(run)
    return [_run_view(group) if group[0].levels else _record_view(group[0]) for group in groups]


def _shares(group: list[Run], run: Run) -> bool:
    first = group[0].levels
    if run.levels is None or first is None:
        return False
    speeds = [float(other.levels.speed[0]) for other in group if other.levels is not None]
    own = float(run.levels.speed[0])
    return all(abs(own - speed) > 1e-3 * abs(speed) for speed in speeds) and alike(first, run.levels)


def _run_view(group: list[Run]) -> View:
    runs = sorted(group, key=lambda run: float(run.levels.speed[0]) if run.levels else 0.0)
    levels = together([run.levels for run in runs if run.levels is not None])
    names = [run.name for run in runs]
    axis = Axis("crank speed", "rpm", levels.speed * RPM)
    groups = [run.results for run in runs]
    return View(", ".join(names), runs[0].subject, [axis], 0, True, names, levels, runs=groups, written=[None])


def _record_view(run: Run) -> View:
    """A record's windows along time; as one point where it has none."""
    found = record_levels(run.results)
    if found is not None:
        levels, time = found
        axis = Axis("time", "s", time)
        return View(
            run.name, run.subject, [axis], 0, True, [run.name], levels, runs=[run.results], written=[None], record=True
        )
    levels = run_levels(run.results) if "torque" in run.results.groups else bare_levels(run.results)
    return _run_view([run._replace(levels=levels)])
