"""Tables of numbers from CSV files, with unit-suffixed columns."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np

from vibsim.inputs.errors import InputError
from vibsim.inputs.units import SuffixError, Unit, to_si

Rows = list[tuple[int, list[str]]]


def read_columns(path: Path, key: str, columns: dict[str, Unit | None]) -> tuple[dict[str, np.ndarray], list[int]]:
    """The columns asked for, in SI units (n each), and the file's line number of every row (n).

    A column with a unit is titled `name_<unit>`, one without by its name. Lines that begin with # are left out.
    Raises InputError naming `key`, the file, and what is wrong in it.
    """
    where = f"{key}: '{path}'"
    rows = _rows(path, where)
    header = [title.strip() for title in rows[0][1]]
    found = {}
    for name, unit in columns.items():
        titles = [title for title in header if title == name or (unit and title.startswith(name + "_"))]
        wanted = f"{name}_{unit.example}" if unit else name
        if len(titles) != 1:
            raise InputError(f"{where}: must have one column {wanted}, has columns: {', '.join(header)}")
        values = _numbers(where, rows[1:], header.index(titles[0]), titles[0])
        found[name] = _converted(where, titles[0], values, name, unit)
    return found, [line for line, _ in rows[1:]]


def _rows(path: Path, where: str) -> Rows:
    try:
        with path.open(newline="", encoding="utf-8-sig") as stream:
            reader = csv.reader(stream)
            rows = [(reader.line_num, row) for row in reader if row and not row[0].lstrip().startswith("#")]
    except FileNotFoundError:
        raise InputError(f"{where}: no such file") from None
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise InputError(f"{where}: cannot be read as CSV ({error})") from None
    if not rows:
        raise InputError(f"{where}: is empty")
    if len(rows[0][1]) == 1:
        title = rows[0][1][0].strip()
        raise InputError(f"{where}: has one column, '{title}'; columns must be separated by commas")
    return rows


def _numbers(where: str, rows: Rows, index: int, title: str) -> list[float]:
    values = []
    for line, row in rows:
        found = row[index].strip() if index < len(row) else ""
        try:
            value = float(found)
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            raise InputError(f"{where}: line {line}: {title}: got '{found}'; must be a number")
        values.append(value)
    return values


def _converted(where: str, title: str, values: list[float], name: str, unit: Unit | None) -> np.ndarray:
    if unit is None:
        return np.array(values, dtype=float)
    try:
        return np.array(to_si(values, title[len(name) + 1 :], unit), dtype=float)
    except SuffixError as error:
        raise InputError(f"{where}: column {title}: {error}; e.g. {name}_{unit.example}") from None
