"""Engines side by side as tables."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from rich.markup import escape
from rich.table import Table
from rich.text import Text

from vibsim.show.tables import CAUTION, new_console, new_table, plain_number
from vibsim.studies.compare import Compared, Same, basis, layout_rows, speed_rows

LAYOUT_COLUMNS = ("cc", "1st force N", "2nd force N", "1st couple N m", "2nd couple N m", "evenness", "width mm")
SPEED_COLUMNS = ("load %", "kW", "N m", "ripple N m", "fluctuation %")
FELT_COLUMNS = ("worst mount", "rms N", "worst sensor", "rms m/s²")
MOST_SENSORS = 8  # columns that fit beside each other


def print_comparison(compared: list[Compared], same: Same | None, written: list[Path]) -> None:
    """Layouts side by side, then every speed, then every sensor."""
    console = new_console()
    for line in basis(compared, same):
        console.print(Text(line))
    console.print(_layout_table(compared))
    rows = speed_rows(compared)
    console.print(_speed_table(rows))
    sensors = _sensor_table(rows)
    if sensors is not None:
        console.print(sensors)
    for path in written:
        console.print(Text(f"wrote {path}"))
    console.print(CAUTION, style="dim")


def _layout_table(compared: list[Compared]) -> Table:
    speed = compared[0].speeds[0] * 30.0 / math.pi
    table = new_table(f"Free forces and couples at {speed:.0f} rpm; they grow with its square", "case", *LAYOUT_COLUMNS)
    for row in layout_rows(compared):
        values = [row[key] for key in ("first_force_N", "second_force_N", "first_couple_N_m", "second_couple_N_m")]
        shown = [plain_number(value, 1) for value in values]
        width = plain_number(row["width_mm"], 0)
        table.add_row(Text(row["case"]), f"{row['displacement_cc']:.0f}", *shown, f"{row['evenness']:.2f}", width)
    return table


def _speed_table(rows: list[dict[str, Any]]) -> Table:
    noted = ("note",) if any(_note(row) for row in rows) else ()
    columns = (*SPEED_COLUMNS, *FELT_COLUMNS, *noted)
    table = new_table("Steady runs: net torque swing, worst mount and sensor", "rpm", "case", *columns)
    for row in rows:
        cells: list[str | Text] = [
            f"{row['speed_rpm']:.0f}",
            Text(row["case"]),
            plain_number(100.0 * row["load"], 0),
            plain_number(row["power_kW"], 1),
            plain_number(row["load_torque_N_m"], 1),
            plain_number(row["torque_swing_N_m"], 1),
            f"{100.0 * row['speed_fluctuation']:.2f}",
            Text(row["worst_mount"]),
            plain_number(row["mount_rms_N"], 1) if row["worst_mount"] else "",
            Text(row["worst_sensor"]),
            plain_number(row["sensor_rms_m_per_s2"], 3) if row["worst_sensor"] else "",
        ]
        if noted:
            cells.append(Text(_note(row)))
        table.add_row(*cells)
    return table


def _note(row: dict[str, Any]) -> str:
    return "; ".join(word for word in (row["note"], "" if row["settled"] else "not settled") if word)


def _sensor_table(rows: list[dict[str, Any]]) -> Table | None:
    """Every sensor beside its namesakes; the worst alone is not the same place in every case."""
    names = list(dict.fromkeys(name for row in rows for name in row["sensors_rms_m_per_s2"]))[:MOST_SENSORS]
    if len(names) < 2:
        return None
    table = new_table("Sensors: rms acceleration, unweighted, m/s²", "rpm", "case", *map(escape, names))
    for row in rows:
        levels = row["sensors_rms_m_per_s2"]
        shown = [plain_number(levels[name], 3) if name in levels else "" for name in names]
        table.add_row(f"{row['speed_rpm']:.0f}", Text(row["case"]), *shown)
    return table
