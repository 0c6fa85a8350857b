"""JSON: every table of a results file with units; histories only where they are asked for by name."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np

from vibsim.results.exchange.chosen import Chosen, choose, coordinate
from vibsim.results.hdf5 import beside
from vibsim.results.labelled import Group, Variable

HISTORIES = ("time", "angle", "cycle_angle")  # dimensions of curves, which are arrays and no tables


def write_json(results: Group, path: Path, words: list[str] | None = None, more: dict[str, Any] | None = None) -> Path:
    """Write `as_json` with what else belongs to it, whole or not at all. Raises InputError, VibsimError."""
    text = json.dumps((more or {}) | as_json(results, words), ensure_ascii=False, allow_nan=False)
    with beside(path) as part:
        part.write_text(text + "\n", encoding="utf-8")
    return path


def as_json(results: Group, words: list[str] | None = None) -> dict[str, Any]:
    """Attributes and variables by path, each with dims, units, long_name and data (null where it is no number), and
    the coordinates they use. Raises InputError."""
    items = choose(results, words)
    if not words:
        items = [item for item in items if not set(item.variable.dims) & set(HISTORIES)]
    attributes = {"": results.attributes} | {name: group.attributes for name, group in results.groups.items()}
    return {
        "attributes": {name: {key: plain(value) for key, value in found.items()} for name, found in attributes.items()},
        "coordinates": _coordinates(results, items),
        "variables": {item.path: _entry(item.variable) for item in items},
    }


def _coordinates(results: Group, items: list[Chosen]) -> dict[str, Any]:
    """Of each group the coordinates of its variables; the root's by their bare names."""
    found = {}
    for item in items:
        for dimension in item.variable.dims:
            path = f"{item.place}/{dimension}".lstrip("/")
            if path not in found:
                found[path] = _entry(coordinate(results, item, dimension))
    return found


def _entry(variable: Variable) -> dict[str, Any]:
    return {
        "dims": list(variable.dims),
        "units": variable.units,
        "long_name": variable.long_name,
        "data": plain(variable.data.tolist()),
    }


def plain(value: Any) -> Any:
    """Numbers, words and lists that JSON knows; None for what is no finite number."""
    if isinstance(value, np.ndarray | np.generic):
        value = value.tolist()
    if isinstance(value, list):
        return [plain(item) for item in value]
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value if isinstance(value, str | int | bool) or value is None else str(value)
