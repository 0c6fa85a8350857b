"""CSV files with a header row: columns of numbers with a unit in their name, columns of words."""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from vibsim.inputs.errors import InputError
from vibsim.inputs.units import SuffixError, Unit, to_si


@dataclass(frozen=True)
class Sheet:
    """A CSV file as read: `where` begins every message about it; rows with their line number."""

    where: str
    header: list[str]
    rows: list[tuple[int, list[str]]]


def read_sheet(path: Path, key: str) -> Sheet:
    """Read a CSV file; lines that begin with # are left out. Raises InputError naming `key` and the file."""
    where = f"{key}: '{path}'"
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
    header = [name.strip() for name in rows[0][1]]
    if len(header) == 1:
        raise InputError(f"{where}: has one column, '{header[0]}'; columns must be separated by commas")
    return Sheet(where, header, rows[1:])


def columns_of(sheet: Sheet, name: str, unit: bool) -> list[int]:
    """Places of the columns of a name, with a unit after it or (an absent one is complained about later) without."""
    return [
        index for index, title in enumerate(sheet.header) if title == name or (unit and title.startswith(name + "_"))
    ]


def _only(sheet: Sheet, name: str, unit: Unit | None) -> int:
    matches = columns_of(sheet, name, unit is not None)
    if len(matches) != 1:
        example, columns = f"{name}_{unit.example}" if unit else name, ", ".join(sheet.header)
        raise InputError(f"{sheet.where}: must have one column {example}, has columns: {columns}")
    return matches[0]


def numbers(sheet: Sheet, name: str, unit: Unit | None = None) -> np.ndarray:
    """One column in SI units. Raises InputError for a column missing, a cell that is no number, a wrong unit."""
    index = _only(sheet, name, unit)
    title, values = sheet.header[index], []
    for line, row in sheet.rows:
        found = row[index].strip() if index < len(row) else "nothing"
        try:
            value = float(found)
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            raise InputError(f"{sheet.where}: line {line}: {title}: got '{found}'; must be a number")
        values.append(value)
    if unit is None:
        return np.array(values, dtype=float)
    try:
        return np.array(to_si(values, title[len(name) + 1 :], unit), dtype=float)
    except SuffixError as error:
        raise InputError(f"{sheet.where}: column {title}: {error}; e.g. {name}_{unit.example}") from None


def words(sheet: Sheet, name: str) -> list[str]:
    """One column of text, stripped; an absent cell is empty."""
    index = _only(sheet, name, None)
    return [row[index].strip() if index < len(row) else "" for _, row in sheet.rows]


def read_columns(path: Path, key: str, columns: dict[str, Unit | None]) -> tuple[dict[str, np.ndarray], list[int]]:
    """The columns asked for, in SI units (n each), and the file's line number of every row (n).

    A column with a unit is titled `name_<unit>`, one without by its name. Raises InputError naming `key`, the file, and
    what is wrong in it.
    """
    sheet = read_sheet(path, key)
    found = {name: numbers(sheet, name, unit) for name, unit in columns.items()}
    return found, [line for line, _ in sheet.rows]
