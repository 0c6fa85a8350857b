"""The numbers of the report's charts, as its script reads them: JSON, with arrays as base64 of 32-bit floats."""

from __future__ import annotations

import base64
import json
import math
from collections.abc import Callable
from typing import Any

import numpy as np

from vibsim.post.orders import angle_grid
from vibsim.results.labelled import Group
from vibsim.show.report.drawing import drawing, numbers
from vibsim.show.report.verdict import shown_unit, trade_words
from vibsim.show.style import COLOURS
from vibsim.studies.report import Axis, Report, View
from vibsim.studies.report_levels import Levels

MOST_NUMBERS = 500_000  # of phasors in a view: 2.7 MB as written
FEWEST_ORDERS = 9  # kept before points are thinned out: up to order 4 of a four-stroke
STEPS = 360  # of a history
HISTORIES = (  # title, unit, scale, variables with their names
    ("Torque on the crank", "N m", 1.0, (("gas_torque", "gas"), ("inertia_torque", "inertia"))),
    ("Output torque", "N m", 1.0, (("load_torque", "output"), ("friction_torque", "friction"))),
    ("Crank speed", "rpm", 30.0 / math.pi, (("crank_speed", "crank"),)),
)


def payload(report: Report) -> dict[str, Any]:
    """Everything the script needs."""
    return {
        "colours": COLOURS,
        "models": [drawing(subject) for subject in report.subjects],
        "views": [_view(view) for view in report.views],
    }


def as_json(found: dict[str, Any]) -> str:
    """JSON that may stand inside a script element: nothing in it can close the element or open a comment."""
    text = json.dumps(found, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text


def packed(values: np.ndarray) -> str:
    """Base64 of little-endian 32-bit floats; nan stays nan."""
    return base64.b64encode(np.ascontiguousarray(values, dtype="<f4").tobytes()).decode()


def _view(view: View) -> dict[str, Any]:
    levels, axes, points, notes = thinned(view)
    begin = [None if value is None else float(f"{value:.6g}") for value in view.written]
    return {
        "name": view.name,
        "model": view.subject,
        "kind": "sweep" if view.found is not None else "run",
        "grid": view.grid,
        "slider": view.slider,
        "begin": begin,
        "axes": [{"label": one.label, "unit": one.unit, "values": numbers(one.values)} for one in axes],
        "names": view.names,
        "notes": notes,
        "speed": packed(levels.speed),
        "points": len(levels.speed),
        "mounts": levels.mounts,
        "sensors": levels.sensors,
        "order": levels.order.tolist(),
        "mount_rms": packed(levels.mount_rms),
        "sensor_rms": packed(levels.sensor_rms),
        "mount_orders": packed(_pairs(levels.mount_orders)),
        "sensor_orders": packed(_pairs(levels.sensor_orders)),
        "torque_orders": packed(levels.torque_orders),
        "quantities": [_quantity(row, points) for row in view.found["quantities"]] if view.found else [],
        "histories": [histories(results) for results in view.runs],
    }


def _pairs(values: np.ndarray) -> np.ndarray:
    return np.stack([values.real, values.imag], axis=-1)


def _quantity(row: dict[str, Any], points: np.ndarray) -> dict[str, Any]:
    scale, unit = shown_unit(row)
    return {"label": trade_words(row), "unit": unit, "values": packed(scale * row["values"][points])}


def thinned(view: View) -> tuple[Levels, list[Axis], np.ndarray, list[str]]:
    """The points and orders that fit into the file, their axes, their indices, and in words what was left out.

    First the highest orders go, then values of the axes that the slider does not move along, evenly, then of its own.
    """
    levels, axes, notes = view.levels, view.axes, []
    points = np.arange(len(levels.speed))
    per_order = 6 * max(len(levels.mounts) + len(levels.sensors), 1)
    orders = len(levels.order)
    fit = MOST_NUMBERS // max(per_order * len(points), 1)
    if orders > fit:
        orders = max(min(FEWEST_ORDERS, orders), min(fit, orders))
        notes.append(f"charts and pictures hold orders up to {levels.order[orders - 1]:g}")
    most = max(MOST_NUMBERS // max(per_order * max(orders, 1), 1), 2)
    if len(points) > most:
        points, axes = _fewer(view, most)
        kept = " × ".join(str(len(one.values)) for one in axes) if view.grid else f"{len(points)}"
        notes.append(f"charts and pictures hold {kept} of {len(levels.speed)} points; the verdict is of all")
    return levels.chosen(points, orders), axes, points, notes


def _fewer(view: View, most: int) -> tuple[np.ndarray, list[Axis]]:
    """Indices of no more than so many points, evenly among all, and their axes."""
    total = len(view.levels.speed)
    if not view.grid:
        points = np.unique(np.linspace(0, total - 1, most).round().astype(int))
        return points, [Axis(one.label, one.unit, one.values[points]) for one in view.axes]
    shape = [len(one.values) for one in view.axes]
    while math.prod(shape) > most:
        others = [n for n, size in enumerate(shape) if n != view.slider and size > 2]
        widest = max(others, key=lambda n: shape[n]) if others else view.slider
        shape[widest] -= 1
    picks = [
        np.linspace(0, len(one.values) - 1, count).round().astype(int)
        for one, count in zip(view.axes, shape, strict=True)
    ]
    numbered = np.arange(total).reshape([len(one.values) for one in view.axes])
    axes = [Axis(one.label, one.unit, one.values[pick]) for one, pick in zip(view.axes, picks, strict=True)]
    return numbered[np.ix_(*picks)].ravel(), axes


def histories(results: Group) -> dict[str, Any]:
    """Torque, speed and pressure over one cycle in steps of crank angle, or over the record of a run that is not
    periodic, with its forces and accelerations: there the least and the greatest value of each interval of time."""
    grid = angle_grid(results)
    if grid is not None and grid[2]:
        group, x = grid[0], np.degrees(grid[1])
        chosen = np.unique(np.linspace(0, len(x) - 1, STEPS).round().astype(int))
        charts = [_history(one, lambda values: values[chosen]) for one in _courses(group, results.labels("cylinder"))]
        return {
            "x": numbers(x[chosen]),
            "label": "crank angle",
            "unit": "°",
            "cycle": True,
            "words": "",
            "charts": charts,
        }
    time = results["time"]
    edges = np.unique(np.linspace(0, len(time), STEPS // 2 + 1).round().astype(int))
    x = np.stack([time[edges[:-1]], 0.5 * (time[edges[:-1]] + time[edges[1:] - 1])], axis=1).ravel()
    courses = [*_vectors(results), *_courses(results, results.labels("cylinder"))]
    charts = [_history(one, lambda values: _extremes(values, edges)) for one in courses]
    words = f"least and greatest of every {1e3 * (time[-1] - time[0]) / (len(edges) - 1):.3g} ms"
    return {"x": numbers(x), "label": "time", "unit": "s", "cycle": False, "words": words, "charts": charts}


def _extremes(values: np.ndarray, edges: np.ndarray) -> np.ndarray:
    """Least and greatest (2·intervals) of values (n) between edges (intervals + 1, indices)."""
    low, high = np.minimum.reduceat(values, edges[:-1]), np.maximum.reduceat(values, edges[:-1])
    return np.stack([low, high], axis=1).ravel()


Course = tuple[str, str, list[tuple[str, np.ndarray]]]  # title, unit, curves by name


def _courses(group: Group, cylinders: list[str]) -> list[Course]:
    found: list[Course] = []
    for title, unit, scale, variables in HISTORIES:
        found.append((title, unit, [(name, scale * group[key]) for key, name in variables if key in group]))
    if "cylinder_pressure" in group and np.ptp(group["cylinder_pressure"]) > 0.0:
        names = [f"cylinder {name}" for name in cylinders]
        curves = list(zip(names, 1e-5 * group["cylinder_pressure"].T, strict=True))
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
