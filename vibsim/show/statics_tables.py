"""Statics as tables, and all forces as CSV."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from rich.console import Console
from rich.text import Text

from vibsim.inputs.errors import VibsimError
from vibsim.show.tables import CAUTION, new_console, new_table, plain_number
from vibsim.show.wheel_tables import load_case_wheels
from vibsim.solver.packed import STANDARD_GRAVITY
from vibsim.studies.load_cases import SOURCE
from vibsim.studies.statics import Standing, Statics
from vibsim.studies.statics_rows import clearance_rows, envelope_rows

HEADS = ["case", "gear", "mount"] + [
    f"{what}_{axis}_{unit}"
    for what, unit in (("force", "N"), ("deflection", "mm"), ("own_axes_force", "N"), ("own_axes_deflection", "mm"))
    for axis in "xyz"
]


def print_statics(statics: Statics, written: list[Path], standing: Statics | None = None) -> None:
    """Preloads per gear, load cases, envelope and clearances; `standing` the same vehicle on its wheels."""
    console = new_console()
    console.print(_forces(statics, statics.gears, "Preload: weight and full engine torque in each gear"))
    console.print(_forces(statics, statics.loads, "Strength load cases: weight, acceleration and engine torque"))
    console.print(_envelope(statics))
    if statics.wheels:
        console.print(load_case_wheels(statics, statics.gears + statics.loads))
    if standing is not None:
        console.print(load_case_wheels(standing, standing.gears))
        console.print("on its wheels: the chassis not held, but carried by its suspension", style="dim")
    if statics.gears[0].points:
        console.print(_clearances(statics))
    _notes(console, statics)
    for path in written:
        console.print(f"written: {path}", style="dim")
    console.print(CAUTION, style="dim")


def _forces(statics: Statics, cases: list[Standing], title: str):
    columns = ("felt g, X Y Z", "leaves N m", *(f"{name} N" for name in statics.mounts))
    table = new_table(title, "case", *columns, f"{statics.moving} moves mm", "turns deg")
    body = statics.bodies.index(statics.moving)
    for standing in cases:
        felt = np.array([0.0, 0.0, -1.0]) - np.array(standing.case.acceleration) / STANDARD_GRAVITY
        delivery = standing.delivery
        leaves = "" if delivery is None else f"{delivery.torque:.0f}" + (" grip" if delivery.grip_limits else "")
        move = standing.displacement[body]
        table.add_row(
            Text(standing.case.name),
            " ".join(f"{value + 0.0:g}" for value in np.round(felt, 3)),
            leaves,
            *(f"{np.linalg.norm(force):.0f}" for force in standing.force),
            plain_number(1e3 * float(np.linalg.norm(move[:3])), 1),
            plain_number(float(np.degrees(np.linalg.norm(move[3:]))), 2),
        )
    return table


def _envelope(statics: Statics):
    title = "Envelope over all of them: force on the second body, vehicle axes, N"
    table = new_table(title, "mount", "X", "Y", "Z", "greatest N", "in", "deflects mm", "in ")
    table.columns[5].justify = table.columns[7].justify = "left"
    for row in envelope_rows(statics):
        spans = (f"{low:.0f} to {high:.0f}" for low, high in zip(row["least_N"], row["greatest_N"], strict=True))
        sizes = f"{row['size_N']:.0f}", Text(row["size_in"]), f"{row['deflection_mm']:.1f}", Text(row["deflection_in"])
        table.add_row(Text(row["name"]), *spans, *sizes)
    return table


def _clearances(statics: Statics):
    table = new_table("Clearances where they are least", "point", "moves mm, X Y Z", "left mm", "towards", "in")
    table.columns[4].justify = "left"
    for row in clearance_rows(statics):
        left, moves = "", " ".join(plain_number(value, 1) for value in row["move_mm"])
        if "clearance_left_mm" in row:
            left = plain_number(row["clearance_left_mm"], 1) + (" touches" if row["touches"] else "")
        table.add_row(Text(row["name"]), moves, left, row.get("towards", ""), Text(row["in"]))
    return table


def _notes(console: Console, statics: Statics) -> None:
    if statics.held:
        names = ", ".join(statics.held)
        held = f"held as drawn: {names}; every other body feels mass × (g − acceleration) at its centre of mass"
    else:
        held = "nothing is held: every body feels mass × (g − acceleration), the suspension takes it to the ground"
    console.print(held + "; felt: weight and acceleration in all", style="dim")
    if statics.engine_torque:
        console.print(f"full engine torque: {statics.engine_torque:.4g} N m, {statics.torque_source}", style="dim")
    console.print(Text(statics.remark, style="dim"))
    if SOURCE not in statics.remark:
        console.print(f"--common-practice prints others ({SOURCE})", style="dim")


def write_forces(statics: Statics, folder: Path) -> list[Path]:
    """Write statics.csv into a folder, made if absent: one row per case and mount. Raises VibsimError."""
    path = folder / "statics.csv"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with path.open("w", newline="", encoding="utf-8") as file:
            csv.writer(file).writerows([HEADS, *_force_rows(statics)])
    except OSError as error:
        raise VibsimError(f"{path}: cannot be written ({error.strerror}); expected a folder") from None
    return [path]


def _force_rows(statics: Statics) -> Iterator[list[str]]:
    for standing in statics.gears + statics.loads:
        values = standing.force, 1e3 * standing.deflection, standing.own_force, 1e3 * standing.own_deflection
        for mount, numbers in zip(statics.mounts, np.concatenate(values, axis=1), strict=True):
            yield [standing.case.name, str(standing.case.gear), mount, *(f"{number:.6g}" for number in numbers)]
