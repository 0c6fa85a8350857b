"""The numbers of the report's charts, as its script reads them: JSON, with arrays as base64 of 32-bit floats."""

from __future__ import annotations

import json
import math
from typing import Any

import numpy as np

from vibsim.show.report.drawing import drawing, numbers
from vibsim.show.report.histories import histories, swept_histories
from vibsim.show.report.packing import packed
from vibsim.show.report.people import comfort_bands, people_data
from vibsim.show.report.verdict import shown_unit, trade_words
from vibsim.show.style import COLOURS
from vibsim.studies.report import Axis, Report, View
from vibsim.studies.report_levels import Levels

MOST_NUMBERS = 500_000  # of phasors in a view: 2.7 MB as written
FEWEST_ORDERS = 9  # kept before points are thinned out: up to order 4 of a four-stroke


def payload(report: Report) -> dict[str, Any]:
    """Everything the script needs."""
    return {
        "colours": COLOURS,
        "comfort": comfort_bands(),
        "floors": report.differences.floors(),
        "models": [drawing(subject) for subject in report.subjects],
        "views": [_view(view) for view in report.views],
    }


def as_json(found: dict[str, Any]) -> str:
    """JSON that may stand inside a script element: nothing in it can close the element or open a comment."""
    text = json.dumps(found, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text


def _view(view: View) -> dict[str, Any]:
    levels, axes, points, notes = thinned(view)
    swept, more = swept_histories(view, points)
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
        "notes": notes + more,
        "record": view.record,
        "swept": swept,
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
        **people_data(levels),
        "quantities": [_quantity(row, points) for row in view.found["quantities"]] if view.found else [],
        "histories": [histories(results) for results in view.runs],
    }


def _pairs(values: np.ndarray) -> np.ndarray:
    return np.stack([values.real, values.imag], axis=-1)


def _quantity(row: dict[str, Any], points: np.ndarray) -> dict[str, Any]:
    scale, unit = shown_unit(row)
    return {
        "label": trade_words(row),
        "unit": unit,
        "values": packed(scale * row["values"][points]),
        "shares": list(row["importance"].values()),
    }


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
