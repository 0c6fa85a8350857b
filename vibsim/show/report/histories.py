"""Torque, speed and pressure over a cycle or a record, as the report's charts read them."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np

from vibsim.post.orders import angle_grid
from vibsim.results.labelled import Group
from vibsim.show.report.drawing import numbers
from vibsim.show.report.packing import packed
from vibsim.studies.report import View

STEPS = 360  # of a history
MOST_NUMBERS = 250_000  # of all histories of a sweep: 1.3 MB as written
FEWEST_STEPS = 60
HISTORIES = (  # title, unit, scale, variables with their names
    ("Torque on the crank", "N m", 1.0, (("gas_torque", "gas"), ("inertia_torque", "inertia"))),
    ("Output torque", "N m", 1.0, (("load_torque", "output"), ("friction_torque", "friction"))),
    ("Crank speed", "rpm", 30.0 / math.pi, (("crank_speed", "crank"),)),
)
Course = tuple[str, str, list[tuple[str, np.ndarray]]]  # title, unit, curves by name


def histories(results: Group) -> dict[str, Any]:
    """Torque, speed and pressure over one cycle in steps of crank angle, or over the record of a run that is not
    periodic, with its forces and accelerations: there the least and the greatest value of each interval of time."""
    grid = angle_grid(results)
    if grid is not None and grid[2]:
        group, x = grid[0], np.degrees(grid[1])
        chosen = np.unique(np.linspace(0, len(x) - 1, STEPS).round().astype(int))
        charts = [_history(one, lambda values: values[chosen]) for one in _courses(group, results.labels("cylinder"))]
        return _over_cycle(x[chosen]) | {"charts": charts}
    time = results["time"]
    edges = np.unique(np.linspace(0, len(time), STEPS // 2 + 1).round().astype(int))
    x = np.stack([time[edges[:-1]], 0.5 * (time[edges[:-1]] + time[edges[1:] - 1])], axis=1).ravel()
    courses = [*_courses(results, results.labels("cylinder")), *_vectors(results)]
    courses.sort(key=lambda one: one[1] != "rpm")  # the speed first: it says where in the record one is
    charts = [_history(one, lambda values: _extremes(values, edges)) for one in courses]
    words = f"from the least to the greatest value of every {1e3 * (time[-1] - time[0]) / (len(edges) - 1):.3g} ms"
    return {"x": numbers(x), "label": "time", "unit": "s", "cycle": False, "words": words, "charts": charts}


def _over_cycle(x: np.ndarray) -> dict[str, Any]:
    return {"x": numbers(x), "label": "crank angle", "unit": "°", "cycle": True, "words": ""}


def swept_histories(view: View, points: np.ndarray) -> tuple[dict[str, Any] | None, list[str]]:
    """Histories over one cycle of a sweep that kept them: charts without numbers, and the numbers of all points
    (points, curves, steps) in one; notes on what was left out."""
    swept = view.swept
    if swept is None or "crank_speed_over_cycle" not in swept:
        return None, []
    degrees = np.degrees(swept["cycle_angle"])
    over = Group()
    for name, item in swept.variables.items():
        if name.endswith("_over_cycle"):
            data = item.data.reshape(-1, *item.data.shape[view.lead :])[points]
            over.add(name.removesuffix("_over_cycle"), item.dims[view.lead - 1 :], data, item.units, item.long_name)
    courses = _courses(over, swept.labels("cylinder"), angle=1)
    curves = [values for _, _, course in courses for _, values in course]
    steps = min(STEPS // 2, len(degrees), MOST_NUMBERS // (len(points) * len(curves)))
    if steps < FEWEST_STEPS:
        return None, ["histories of so many points do not fit; they stand in the sweep's file"]
    chosen = np.unique(np.linspace(0, len(degrees) - 1, steps).round().astype(int))
    charts = [
        {"title": title, "unit": unit, "series": [{"name": name} for name, _ in course], "afloat": unit == "rpm"}
        for title, unit, course in courses
    ]
    values = np.stack([curve[:, chosen] for curve in curves], axis=1)
    return _over_cycle(degrees[chosen]) | {"charts": charts, "values": packed(values)}, []


def _extremes(values: np.ndarray, edges: np.ndarray) -> np.ndarray:
    """Least and greatest (2·intervals) of values (n) between edges (intervals + 1, indices)."""
    low, high = np.minimum.reduceat(values, edges[:-1]), np.maximum.reduceat(values, edges[:-1])
    return np.stack([low, high], axis=1).ravel()


def _courses(group: Group, cylinders: list[str], angle: int = 0) -> list[Course]:
    """Curves over the dimension `angle`; before it may stand one of points."""
    found: list[Course] = []
    for title, unit, scale, variables in HISTORIES:
        found.append((title, unit, [(name, scale * group[key]) for key, name in variables if key in group]))
    if "cylinder_pressure" in group and np.ptp(group["cylinder_pressure"]) > 0.0:
        names = [f"cylinder {name}" for name in cylinders]
        curves = list(zip(names, 1e-5 * np.moveaxis(group["cylinder_pressure"], angle + 1, 0), strict=True))
        found.append(("Cylinder pressure", "bar", curves))
    return [one for one in found if one[2]]


def _vectors(results: Group) -> list[Course]:
    """Size of the varying force of every mount and of the acceleration of every sensor over the record."""
    found: list[Course] = []
    for title, unit, key, dim in (
        ("Varying force of mounts", "N", "mount_force", "mount"),
        ("Acceleration of sensors", "m/s²", "sensor_acceleration", "sensor"),
    ):
        if key in results:
            varying = results[key] - (results[key].mean(axis=0) if dim == "mount" else 0.0)
            sizes = np.linalg.norm(varying, axis=2)
            found.append((title, unit, list(zip(results.labels(dim), sizes.T, strict=True))))
    return found


def _history(course: Course, taken: Callable[[np.ndarray], np.ndarray]) -> dict[str, Any]:
    title, unit, curves = course
    series = [{"name": name, "values": numbers(taken(np.asarray(values)))} for name, values in curves]
    return {"title": title, "unit": unit, "series": series, "afloat": unit == "rpm"}
