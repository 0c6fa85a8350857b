"""CSV: a file per group and first dimension, a column per variable and label, units in the header.

The dialect is RFC 4180 but for line ends: comma between fields, point in numbers, UTF-8 without a mark, `"` around a
field that needs it, one header line, lines end in a line feed. Numbers have the digits that give the same float64 back.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np

from vibsim.results.exchange.chosen import (
    Chosen,
    choose,
    column_name,
    combinations,
    coordinate,
    is_text,
    values_at,
)
from vibsim.results.hdf5 import beside
from vibsim.results.labelled import Group, Variable
from vibsim.results.sweep_file import STATUS_WORDS

ROWS_AT_ONCE = 4096
STATUS = [words.split(" ", 1)[1] for words in STATUS_WORDS.split(", ")]


def write_csv(results: Group, folder: Path, words: list[str] | None = None) -> list[Path]:
    """Write the tables of a run into a folder; about.csv holds what is a single number or word. Raises InputError for
    a variable that is not there, VibsimError when the disk does not take it."""
    tables: dict[tuple[str, str], list[Chosen]] = {}
    singles: list[Chosen] = []
    for item in choose(results, words):
        if item.variable.dims:
            tables.setdefault((item.place, item.variable.dims[0]), []).append(item)
        else:
            singles.append(item)
    paths = []
    for (place, first), items in tables.items():
        alone = sum(1 for other, _ in tables if other == place) == 1
        stem = first if not place else place if alone else f"{place}-{first}"
        columns = [_first_column(first, coordinate(results, items[0], first))]
        columns += [column for item in items for column in _columns(results, item)]
        paths.append(_write_table(folder / f"{stem.replace('/', '-')}.csv", columns))
    return [*paths, _write_about(folder / "about.csv", results, singles)]


def _first_column(name: str, variable: Variable) -> tuple[str, np.ndarray]:
    return column_name(name, [], "" if is_text(variable) else variable.units), variable.data


def _columns(results: Group, item: Chosen, lead: int = 1) -> Iterable[tuple[str, np.ndarray]]:
    units = "" if is_text(item.variable) else item.variable.units
    for place, labels in combinations(results, item, lead):
        yield column_name(item.name, labels, units), values_at(item.variable.data, place, lead)


def _write_table(path: Path, columns: list[tuple[str, np.ndarray]]) -> Path:
    with beside(path) as part, part.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow([name for name, _ in columns])
        _write_rows(writer, [data for _, data in columns])
    return path


def _write_rows(writer: Any, columns: list[np.ndarray], before: tuple[str, ...] = ()) -> None:
    for first in range(0, len(columns[0]), ROWS_AT_ONCE):
        blocks = [_cells(data[first : first + ROWS_AT_ONCE]) for data in columns]
        writer.writerows([*before, *row] for row in zip(*blocks, strict=True))


def _cells(data: np.ndarray) -> list[Any]:
    """Values as Python prints them, shortest to give the same number back; nothing where there is no number."""
    if data.dtype.kind != "f" or np.isfinite(data).all():
        return data.tolist()
    return [value if np.isfinite(value) else "" for value in data.tolist()]


def _write_about(path: Path, results: Group, singles: list[Chosen]) -> Path:
    with beside(path) as part, part.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["name", "value", "unit"])
        for item in singles:
            writer.writerow([item.path, item.variable.data.item(), item.variable.units])
        for place, group in {"": results, **results.groups}.items():
            writer.writerows([f"{place}/{name}".lstrip("/"), value, ""] for name, value in group.attributes.items())
    return path


def write_sweep_csv(results: Group, path: Path, words: list[str] | None = None) -> list[Path]:
    """Write one table of a sweep, a row per point: case (where there are several), axes, status, why it failed, then a
    column per quantity and label. Cells of points that are not done are empty. Raises as `write_csv`."""
    cases = {"": results} if "status" in results.variables else results.groups
    keys = str(results.attributes.get("sweep_keys", "")).split("\n")
    parts = {case: _sweep_columns(group, words, keys) for case, group in cases.items()}
    header = list(dict.fromkeys(name for columns in parts.values() for name in columns))
    several = "" not in parts
    with beside(path) as part, part.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow([*(["case"] if several else []), *header])
        for case, columns in parts.items():
            nothing = np.full(len(columns["status"]), "", dtype=object)
            _write_rows(writer, [columns.get(name, nothing) for name in header], (case,) if several else ())
    return [path]


def _sweep_columns(group: Group, words: list[str] | None, keys: list[str]) -> dict[str, np.ndarray]:
    """Columns over all points, by their names in the header."""
    status = group.variables["status"]
    dims, count = status.dims, status.data.size
    columns = {"point": np.arange(count)}
    if dims != ("point",):
        spread = np.meshgrid(*(group.variables[name].data for name in dims), indexing="ij")
        for name, values in zip(dims, spread, strict=True):
            columns[column_name(name, [], group.variables[name].units)] = values.ravel()
    quantities = {}
    for name, item in _over_points(group).items():
        if item.dims == ("point",) and item.long_name.split(",")[0] in keys:  # an axis of points that lie on no grid
            columns[column_name(name, [], item.units)] = item.data
        else:
            quantities[name] = item
    columns["status"] = np.array(STATUS, dtype=object)[status.data.ravel()]
    columns["why it failed"] = _reasons(group, count)
    for chosen in choose(Group(quantities), words):
        for column, data in _columns(group, Chosen(chosen.path, group, chosen.variable), len(dims)):
            columns[column] = np.asarray(data).reshape(count)
    return columns


def _over_points(group: Group) -> dict[str, Variable]:
    dims = group.variables["status"].dims
    return {
        name: item
        for name, item in group.variables.items()
        if item.dims[: len(dims)] == dims and name not in ("status", *dims)
    }


def _reasons(group: Group, count: int) -> np.ndarray:
    found = np.full(count, "", dtype=object)
    if "failure" in group:
        found[group["failure"].astype(int)] = group["failure_reason"]
    return found
