"""Engines side by side as tables."""

from __future__ import annotations

import math
from pathlib import Path

from rich.text import Text

from vibsim.show.tables import CAUTION, new_console, new_table, plain_number
from vibsim.studies.compare import Compared, layout_rows, speed_rows


def print_comparison(compared: list[Compared], written: list[Path]) -> None:
    """Layouts side by side, then every speed."""
    console = new_console()
    speed = compared[0].speeds[0] * 30.0 / math.pi
    columns = ("cc", "1st force N", "2nd force N", "1st couple N m", "2nd couple N m", "evenness", "width mm")
    table = new_table(f"Free forces and couples at {speed:.0f} rpm", "case", *columns)
    for row in layout_rows(compared):
        values = [row[key] for key in ("first_force_N", "second_force_N", "first_couple_N_m", "second_couple_N_m")]
        shown = [plain_number(value, 1) for value in values]
        width = plain_number(row["width_mm"], 0)
        table.add_row(Text(row["case"]), f"{row['displacement_cc']:.0f}", *shown, f"{row['evenness']:.2f}", width)
    console.print(table)
    sizes = (
        "rpm",
        "case",
        "load N m",
        "ripple N m",
        "fluctuation %",
        "worst mount",
        "rms N",
        "worst sensor",
        "rms m/s²",
    )
    table = new_table("Steady runs: net torque swing, worst mount and sensor", *sizes)
    for row in speed_rows(compared):
        mount = plain_number(row["mount_rms_N"], 1) if row["worst_mount"] else ""
        sensor = plain_number(row["sensor_rms_m_per_s2"], 3) if row["worst_sensor"] else ""
        table.add_row(
            f"{row['speed_rpm']:.0f}",
            Text(row["case"] + ("" if row["settled"] else " (not settled)")),
            plain_number(row["load_torque_N_m"], 1),
            plain_number(row["torque_swing_N_m"], 1),
            f"{100.0 * row['speed_fluctuation']:.2f}",
            Text(row["worst_mount"]),
            mount,
            Text(row["worst_sensor"]),
            sensor,
        )
    console.print(table)
    for path in written:
        console.print(Text(f"wrote {path}"))
    console.print(CAUTION, style="dim")
