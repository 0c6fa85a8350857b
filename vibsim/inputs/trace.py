"""Cylinder-pressure traces: CSV with `crank_angle_<unit>` and `pressure_<unit>` columns, one full cycle."""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from vibsim.inputs.errors import InputError
from vibsim.inputs.units import ANGLE, PRESSURE, SuffixError, Unit, to_si


@dataclass(frozen=True)
class Trace:
    """Angles (n) rad from firing top dead centre, rising, less than one cycle in all; pressures (n) Pa, absolute."""

    angles: np.ndarray
    pressures: np.ndarray


def read_trace(path: Path, cycle: float, key: str = "engine.gas.file") -> Trace:
    """Read and check a trace that must cover one cycle (rad). Raises InputError naming `key` and the file."""
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
    angles = _column(where, header, rows[1:], "crank_angle", ANGLE)
    pressures = _column(where, header, rows[1:], "pressure", PRESSURE)
    return _checked(where, angles, pressures, cycle)


def _column(where: str, header: list[str], rows: list[tuple[int, list[str]]], name: str, unit: Unit) -> np.ndarray:
    matches = [index for index, title in enumerate(header) if title.startswith(name + "_") or title == name]
    if len(matches) != 1:
        allowed = f"must have one column {name}_{unit.example}, has columns: {', '.join(header)}"
        raise InputError(f"{where}: {allowed}")
    index = matches[0]
    values = []
    for line, row in rows:
        try:
            values.append(float(row[index]))
        except (ValueError, IndexError):
            found = row[index] if index < len(row) else "nothing"
            raise InputError(f"{where}: line {line}: {header[index]}: got '{found}'; must be a number") from None
    try:
        return np.array(to_si(values, header[index][len(name) + 1 :], unit), dtype=float)
    except SuffixError as error:
        raise InputError(f"{where}: column {header[index]}: {error}; e.g. {name}_{unit.example}") from None


def _checked(where: str, angles: np.ndarray, pressures: np.ndarray, cycle: float) -> Trace:
    degrees = math.degrees(cycle)
    if len(angles) < 36:
        raise InputError(f"{where}: has {len(angles)} points; a cycle needs at least 36")
    if not (np.isfinite(angles).all() and np.isfinite(pressures).all()):
        raise InputError(f"{where}: holds numbers that are not finite")
    steps = np.diff(angles)
    if not (steps > 0.0).all():
        after = np.degrees(angles[int(np.argmin(steps > 0.0))])
        raise InputError(f"{where}: crank_angle must rise from row to row, does not after {after:g} deg")
    span, widest = angles[-1] - angles[0], max(steps.max(), math.radians(1.0))
    if span > cycle * (1.0 + 1e-9) or cycle - span > 2.0 * widest:
        raise InputError(f"{where}: covers {math.degrees(span):.1f} deg; must cover one cycle of {degrees:.0f} deg")
    if pressures.min() <= 0.0:
        raise InputError(f"{where}: least pressure {pressures.min():.4g} Pa; pressures are absolute, must be positive")
    if not 2.0e4 < pressures.max() < 5.0e7:
        raise InputError(f"{where}: peak pressure {pressures.max():.4g} Pa; must be 0.2 to 500 bar, check the unit")
    if cycle - span < 1e-6 * cycle:  # both ends of the cycle given: they are one point
        if abs(pressures[-1] - pressures[0]) > 0.02 * np.ptp(pressures):
            raise InputError(
                f"{where}: starts at {pressures[0]:.5g} Pa and ends at {pressures[-1]:.5g} Pa; a cycle must close"
            )
        return Trace(angles[:-1], pressures[:-1])
    return Trace(angles, pressures)
