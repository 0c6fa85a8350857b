"""Torque curves as CSV."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from vibsim.show.histories import write_rows
from vibsim.studies.torque_curve import TorqueCurves
from vibsim.studies.torque_rows import row_of


def write_torque(curves: TorqueCurves, folder: Path) -> list[Path]:
    """Write torque.csv into a folder, made if absent: a row for every line and speed, units in the header, nothing
    where the gas does not tell. Raises VibsimError when that cannot be done."""
    rows = [row_of(line, point) for line in curves.lines for point in line.points]
    return write_rows(list(rows[0]), [[_cell(value) for value in row.values()] for row in rows], folder / "torque.csv")


def _cell(value: Any) -> str:
    if isinstance(value, float):
        return f"{value:.8g}"
    if isinstance(value, list):
        return "; ".join(value)
    return "" if value is None else str(value)
