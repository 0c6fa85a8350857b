"""The index of a folder of pressure traces: which file was measured at which crank speed and load."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from vibsim.inputs.columns import Sheet, columns_of, numbers, read_sheet, words
from vibsim.inputs.errors import InputError
from vibsim.inputs.units import PRESSURE, SPEED, Unit

INDEX = "index.csv"
KEY = "engine.gas.folder"
COLUMNS: dict[str, Unit | None] = {
    "file": None,
    "speed": SPEED,
    "load": None,
    "cylinder": None,
    "intake_pressure": PRESSURE,
}


@dataclass(frozen=True)
class Measured:
    """One trace of the folder: crank speed (rad/s), load (0 to 1), the cylinder it is of ("" all), intake pressure
    (Pa, None where the index does not say)."""

    file: str
    speed: float
    load: float
    cylinder: str = ""
    intake_pressure: float | None = None


def read_index(folder: Path) -> tuple[Measured, ...]:
    """Rows of the folder's index.csv: file, speed_<unit>, load, and if given cylinder and intake_pressure_<unit>.

    Raises InputError naming the key and the file.
    """
    if not folder.is_dir():
        raise InputError(f"{KEY}: '{folder}': no such folder")
    sheet = read_sheet(folder / INDEX, KEY)
    _check_header(sheet)
    files, speeds, loads = words(sheet, "file"), numbers(sheet, "speed", SPEED), numbers(sheet, "load")
    cylinders, pressures = [""] * len(files), [None] * len(files)
    if columns_of(sheet, "cylinder", False):
        cylinders = words(sheet, "cylinder")
    if columns_of(sheet, "intake_pressure", True):
        pressures = numbers(sheet, "intake_pressure", PRESSURE).tolist()
    cells = zip(files, speeds.tolist(), loads.tolist(), cylinders, pressures, strict=True)
    rows = tuple(Measured(*row) for row in cells)
    if not rows:
        raise InputError(f"{sheet.where}: names no trace")
    seen: dict[tuple[str, float, float], str] = {}
    for (line, _), row in zip(sheet.rows, rows, strict=True):
        _check_row(f"{sheet.where}: line {line}", row, seen)
    return rows


def _check_header(sheet: Sheet) -> None:
    known = {index for name, unit in COLUMNS.items() for index in columns_of(sheet, name, unit is not None)}
    unknown = [title for index, title in enumerate(sheet.header) if index not in known]
    if unknown:
        allowed = ", ".join(f"{name}_{unit.example}" if unit else name for name, unit in COLUMNS.items())
        raise InputError(f"{sheet.where}: unknown column '{unknown[0]}'; allowed: {allowed}")


def _check_row(where: str, row: Measured, seen: dict[tuple[str, float, float], str]) -> None:
    if not row.file:
        raise InputError(f"{where}: file: is missing")
    if not (math.isfinite(row.speed) and row.speed > 0.0):
        raise InputError(f"{where}: speed: got {row.speed * 30.0 / np.pi:g} rpm; must be greater than 0")
    if not 0.0 <= row.load <= 1.0:
        raise InputError(f"{where}: load: got {row.load:g}; must be 0 to 1")
    if row.intake_pressure is not None and not 0.0 < row.intake_pressure < 1e7:
        raise InputError(f"{where}: intake_pressure: got {row.intake_pressure:.4g} Pa; must be positive, absolute")
    place = (row.cylinder, row.speed, row.load)
    if place in seen:
        raise InputError(f"{where}: '{row.file}' is at the speed and load of '{seen[place]}'; keep one")
    seen[place] = row.file
