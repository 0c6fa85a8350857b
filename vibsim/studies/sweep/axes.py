"""Axes of a sweep: what `--over` says, as values per axis, on a grid, point by point or sampled."""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from vibsim.inputs.errors import InputError

MOST_POINTS = 10_000_000


@dataclass(frozen=True)
class Axis:
    """A key and its values (n); `factor` multiplies what the case holds instead of replacing it."""

    path: str
    values: np.ndarray
    factor: bool = False


@dataclass(frozen=True)
class Span:
    """A key and the range that samples are drawn from."""

    path: str
    low: float
    high: float
    logarithmic: bool = False
    factor: bool = False


@dataclass(frozen=True)
class Points:
    """`values` (points, axes) of every axis; `shape` of the grid they fill in C order, or (points,) without.

    `grid` says which; `how` in words.
    """

    paths: tuple[str, ...]
    factors: tuple[bool, ...]
    values: np.ndarray
    shape: tuple[int, ...]
    grid: bool
    how: str


def read_points(given: list[str], sampling: str | None = None, count: int | None = None, seed: int = 1) -> Points:
    """Points from words such as `run.speed_rpm=1000:6000:11`, `run.load=0.2,0.5`, `run.speed_rpm=log:1000:6000:5`,
    `mount[*].stiffness_N_per_mm[*]*=0.8:1.2:5` (times what the case says), or a CSV file of points.

    With `sampling` ("latin_hypercube" or "sobol", by SciPy) ranges `low:high` are drawn from `count` times. Raises
    InputError.
    """
    if not given:
        raise InputError("--over: is missing; say which key takes which values, e.g. --over run.speed_rpm=1000:6000:11")
    files = [text for text in given if "=" not in text]
    if files:
        if len(given) > 1 or sampling:
            raise InputError(f"--over: got the file '{files[0]}' and more; a file of points stands alone")
        return _from_file(Path(files[0]))
    if sampling:
        return _sampled([_span(text) for text in given], sampling, count, seed)
    return _grid([_axis(text) for text in given])


def _split(text: str) -> tuple[str, str, bool]:
    path, _, values = text.partition("=")
    factor = path.endswith("*") and not path.endswith("[*")
    return (path[:-1] if factor else path).strip(), values.strip(), factor


def _axis(text: str) -> Axis:
    path, words, factor = _split(text)
    parts = words.removeprefix("log:").split(":")
    if len(parts) == 1 and not words.startswith("log:"):
        values = np.array([_number(word, text) for word in words.split(",")])
    elif len(parts) == 3:
        values = _range(parts, words.startswith("log:"), text)
    else:
        raise InputError(f"--over: got '{text}'; values are a list 1,2,5 or a range from:to:count or log:from:to:count")
    if len(np.unique(values)) != len(values):
        raise InputError(f"--over: got '{text}'; a value stands twice")
    return Axis(path, values, factor)


def _range(parts: list[str], logarithmic: bool, text: str) -> np.ndarray:
    low, high = _number(parts[0], text), _number(parts[1], text)
    count = _number(parts[2], text)
    if count < 2 or count != int(count) or count > MOST_POINTS:
        raise InputError(f"--over: got '{text}'; a range needs a whole count of at least 2")
    _check_range(low, high, logarithmic, text)
    return np.geomspace(low, high, int(count)) if logarithmic else np.linspace(low, high, int(count))


def _check_range(low: float, high: float, logarithmic: bool, text: str) -> None:
    if low == high:
        raise InputError(f"--over: got '{text}'; the range is empty, from must differ from to")
    if logarithmic and not (low > 0.0 and high > 0.0):
        raise InputError(f"--over: got '{text}'; a log range needs numbers above 0")


def _number(word: str, text: str) -> float:
    try:
        value = float(word)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        what = f"'{word}' is no number" if word.strip() else "a value is missing"
        raise InputError(f"--over: got '{text}'; {what}")
    return value


def _span(text: str) -> Span:
    path, words, factor = _split(text)
    logarithmic = words.startswith("log:")
    parts = words.removeprefix("log:").split(":")
    if len(parts) != 2:
        raise InputError(f"--over: got '{text}'; with --sample a range is from:to or log:from:to, without a count")
    low, high = _number(parts[0], text), _number(parts[1], text)
    _check_range(low, high, logarithmic, text)
    return Span(path, low, high, logarithmic, factor)


def _grid(axes: list[Axis]) -> Points:
    _no_doubles([axis.path for axis in axes])
    shape = tuple(len(axis.values) for axis in axes)
    if math.prod(shape) > MOST_POINTS:
        raise InputError(f"--over: got {math.prod(shape)} points; at most {MOST_POINTS}")
    values = np.stack(np.meshgrid(*(axis.values for axis in axes), indexing="ij"), axis=-1).reshape(-1, len(axes))
    return Points(tuple(a.path for a in axes), tuple(a.factor for a in axes), values, shape, True, "grid")


def _sampled(spans: list[Span], sampling: str, count: int | None, seed: int) -> Points:
    from scipy.stats import qmc

    _no_doubles([span.path for span in spans])
    if count is None:
        raise InputError(f"--points: is missing; --sample needs 1 to {MOST_POINTS} points")
    if not 1 <= count <= MOST_POINTS:
        raise InputError(f"--points: got {count}; --sample needs 1 to {MOST_POINTS} points")
    sampler = (
        qmc.LatinHypercube(len(spans), rng=seed) if sampling == "latin_hypercube" else qmc.Sobol(len(spans), rng=seed)
    )
    if sampling == "sobol" and count & (count - 1):
        raise InputError(
            f"--points: got {count}; a Sobol sequence needs a power of two, e.g. {1 << count.bit_length()}"
        )
    unit = sampler.random(count)
    values = np.empty_like(unit)
    for k, span in enumerate(spans):
        low, high = (math.log(span.low), math.log(span.high)) if span.logarithmic else (span.low, span.high)
        values[:, k] = low + (high - low) * unit[:, k]
        if span.logarithmic:
            values[:, k] = np.exp(values[:, k])
    values = values[np.lexsort(values.T[::-1])]  # neighbours after each other, for warm starts
    how = f"{sampling} of {count} points, seed {seed}"
    return Points(tuple(s.path for s in spans), tuple(s.factor for s in spans), values, (count,), False, how)


def _from_file(path: Path) -> Points:
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            rows = [row for row in csv.reader(file) if row and not row[0].lstrip().startswith("#")]
    except (OSError, UnicodeDecodeError) as error:
        why = error.strerror if isinstance(error, OSError) else "not text in UTF-8"
        hint = "; an axis is KEY=VALUES, a file of points a CSV whose first line names the keys"
        raise InputError(f"--over: got '{path}'; cannot be read ({why}){hint}") from None
    if len(rows) < 2:
        raise InputError(f"--over: got '{path}'; has no points: a first line of keys, then a line per point")
    head = [cell.strip() for cell in rows[0]]
    factors = tuple(cell.endswith("*") and not cell.endswith("[*") for cell in head)
    paths = tuple(cell[:-1].strip() if factor else cell for cell, factor in zip(head, factors, strict=True))
    _no_doubles(list(paths))
    values = np.empty((len(rows) - 1, len(paths)))
    for n, row in enumerate(rows[1:]):
        if len(row) != len(paths):
            raise InputError(f"--over: got '{path}'; point {n + 1} has {len(row)} values for {len(paths)} keys")
        values[n] = [_number(cell, f"{path}, point {n + 1}") for cell in row]
    return Points(paths, factors, values, (len(values),), False, f"points of {path.name}")


def _no_doubles(paths: list[str]) -> None:
    for path in paths:
        if paths.count(path) > 1:
            raise InputError(f"--over: got '{path}' twice; one axis per key")
