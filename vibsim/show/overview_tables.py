"""What was understood of a case file."""

from __future__ import annotations

import math

from rich.table import Table
from rich.text import Text

from vibsim.show.tables import new_console, new_table, plain_number
from vibsim.show.wheel_tables import ESTIMATES, seats_table, wheels_table
from vibsim.studies.losses import Loss
from vibsim.studies.overview import Overview


def print_overview(understood: Overview) -> None:
    """What was understood of a case file."""
    console = new_console()
    console.print(Text(understood.title, style="bold"))
    console.print(Text(understood.layout))
    if understood.firing:
        order = ", ".join(f"{name} at {math.degrees(angle):.0f}°" for name, angle in understood.firing)
        intervals = " / ".join(f"{math.degrees(angle):.0f}°" for angle in understood.intervals)
        console.print(Text(f"fires: {order}; intervals {intervals}"))
    for words in [*understood.running, *understood.notes]:
        console.print(Text(words))
    for words in understood.warnings:
        console.print(Text(f"warning: {words}", style="bold"))
    table = new_table("Masses", "body", "kg", "of which moving parts")
    for row in understood.masses:
        moving = f"{row['pistons_and_rods_kg']:.3f} ({row['moving_parts']})" if "moving_parts" in row else ""
        table.add_row(Text(row["body"]), f"{row['mass_kg']:.2f}", moving)
    console.print(table)
    if understood.losses:
        console.print(_losses_table(understood.losses))
    if understood.statics_problem:
        console.print(Text(understood.statics_problem))
    if understood.mounts:
        table = new_table("Mounts at rest", "mount", "between", "law", "X N", "Y N", "Z N", "sag mm", "Hz")
        for mount in understood.mounts:
            force = [plain_number(value, 1) for value in mount.force]
            bounce = f"{mount.frequency:.1f}" if mount.frequency else ""
            between = Text(" → ".join(mount.between))
            table.add_row(Text(mount.name), between, mount.law, *force, plain_number(1e3 * mount.sag, 2), bounce)
        console.print(table)
        console.print(
            "force of weight on the second body; Hz: bounce estimated from the sag; see vibsim modes", style="dim"
        )

    if understood.wheels:
        console.print(wheels_table(understood.wheels))
        console.print(ESTIMATES, style="dim")
    if understood.seats:
        console.print(seats_table(understood.seats))


def _losses_table(losses: list[Loss]) -> Table:
    columns = ("loss", "kind", "mean effective pressure bar", "torque N m", "power kW", "reacted by")
    table = new_table("Friction and accessories at the run's speed, felt at the crank", *columns)
    for row in losses:
        numbers = _loss_numbers(row.pressure, row.torque, row.power)
        table.add_row(Text(row.name), row.kind, *numbers, Text(row.reacted_by))
    if len(losses) > 1:
        sums = [sum(getattr(row, name) for row in losses) for name in ("pressure", "torque", "power")]
        table.add_row("all", "", *_loss_numbers(*sums), "")
    return table


def _loss_numbers(pressure: float, torque: float, power: float) -> tuple[str, str, str]:
    return plain_number(pressure * 1e-5, 3), plain_number(torque, 2), plain_number(power * 1e-3, 3)
