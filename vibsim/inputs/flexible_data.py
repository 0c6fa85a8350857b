"""Elastic modes of a body from a CSV file: one row per mode and point."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from vibsim.inputs import units as u
from vibsim.inputs.columns import Sheet, numbers, read_sheet, words
from vibsim.inputs.errors import InputError
from vibsim.inputs.flexible_models import ElasticMode


def read_modes(path: Path, key: str) -> tuple[ElasticMode, ...]:
    """Modes in order of frequency, shapes by name of point.

    Columns: mode, frequency_<unit>, damping_ratio, modal_mass_<unit>, point, x, y, z. Raises InputError for a mode
    whose rows disagree, a point given twice, and numbers that no mode has.
    """
    sheet = read_sheet(path, key)
    if not sheet.rows:
        raise InputError(f"{sheet.where}: has no rows; needs one per mode and point")
    columns = {
        "frequency": numbers(sheet, "frequency", u.FREQUENCY),
        "damping_ratio": numbers(sheet, "damping_ratio"),
        "modal_mass": numbers(sheet, "modal_mass", u.MASS),
    }
    shape = np.column_stack([numbers(sheet, axis) for axis in "xyz"])
    points, modes = words(sheet, "point"), words(sheet, "mode")
    found = [
        _mode(sheet, name, [n for n, mode in enumerate(modes) if mode == name], columns, points, shape)
        for name in dict.fromkeys(modes)
    ]
    return tuple(sorted(found, key=lambda mode: mode.frequency))


def _mode(
    sheet: Sheet, name: str, rows: list[int], columns: dict[str, np.ndarray], points: list[str], shape: np.ndarray
) -> ElasticMode:
    values = {}
    for key, column in columns.items():
        first = float(column[rows[0]])
        for row in rows:
            if column[row] != first:
                line = sheet.rows[row][0]
                raise InputError(
                    f"{sheet.where}: line {line}: {key}: got {column[row]:g}; mode {name} has {first:g} above"
                )
        values[key] = first
    line = sheet.rows[rows[0]][0]
    for key, good, allowed in (
        ("frequency", values["frequency"] > 0.0, "must be greater than 0; leave rigid-body modes out"),
        ("damping_ratio", 0.0 <= values["damping_ratio"] < 1.0, "must be at least 0 and less than 1"),
        ("modal_mass", values["modal_mass"] > 0.0, "must be greater than 0"),
    ):
        if not good:
            raise InputError(f"{sheet.where}: line {line}: {key}: got {values[key]:g}; {allowed}")
    named: dict[str, tuple[float, ...]] = {}
    for row in rows:
        if points[row] in named:
            raise InputError(
                f"{sheet.where}: line {sheet.rows[row][0]}: point '{points[row]}' is there twice in mode {name}"
            )
        named[points[row]] = tuple(float(value) for value in shape[row])
    return ElasticMode(shape=named, **values)
