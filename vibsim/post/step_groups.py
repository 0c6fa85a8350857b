"""Post-processed groups of every step of a run: of the cycles that it ended with, and of the end of its record."""

from __future__ import annotations

from collections.abc import Callable

from vibsim.post.quantities import post_process
from vibsim.results.labelled import Group

OF_STEPS = ("mount_forces", "sensors", "orders", "spectra", "torque")
LONGEST = 4.0  # s of a step's record that levels and spectra are of
FEWEST_POINTS = 16


def add_step_groups(results: Group, rate: float, rows: Callable[[int, int], Group]) -> None:
    """Levels, orders, spectra and torque of every step into its group under `steps`; `rows` gives the record between
    two points of it, `rate` (Hz) apart."""
    steps = results.groups["steps"]
    for number in range(1, int(steps.attributes["count"]) + 1):
        step = steps.groups[str(number)]
        first, end = points_of(step, rate)
        first = max(first, end - round(LONGEST * rate))
        if end - first < FEWEST_POINTS:
            continue
        found = post_process(as_run(results, step, rows(first, end)), OF_STEPS)
        for name in OF_STEPS:
            if name in found.groups:
                group = step.groups[name] = found.groups[name]
                if name in ("mount_forces", "sensors", "spectra"):
                    group.attributes["from_s"] = float(found["time"][0])
                    group.attributes["to_s"] = float(found["time"][-1])


def points_of(step: Group, rate: float) -> tuple[int, int]:
    """First point of a step in the record, and the one after its last; the first point of all is the first step's."""
    begin, end = (round(float(step.attributes[name]) * rate) for name in ("begin_s", "end_s"))
    return begin + 1 if begin else 0, end + 1


def stretch(results: Group, first: int, end: int) -> Group:
    """The record of results between two points of it."""
    found = Group()
    for name, item in results.variables.items():
        if item.dims[:1] == ("time",):
            found.add(name, item.dims, item.data[first:end], item.units, item.long_name)
    return found


def as_run(results: Group, step: Group, record: Group) -> Group:
    """A step as results of a run by itself: labels and attributes of the whole, its own stretch of the record, and its
    crank-angle grid."""
    labels = {name: item for name, item in results.variables.items() if "time" not in item.dims}
    found = Group(variables={**labels, **record.variables}, attributes=dict(results.attributes))
    found.attributes["run_kind"] = str(step.attributes["kind"])
    found.groups = {name: group for name, group in results.groups.items() if name in ("engine", "charger")}
    if "crank_grid" in step.groups:
        found.groups["crank_grid"] = step.groups["crank_grid"]
    return found
