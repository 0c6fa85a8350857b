"""Mounts and fits of their laws as tables."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from rich.text import Text

from vibsim.show.tables import CAUTION, new_console, new_table, plain_number
from vibsim.studies.mount_fit import as_toml, points
from vibsim.studies.mounts import Mounts, loss_angle

AXES = ("x", "y", "z")


def print_mounts(found: Mounts, figures: list[Path]) -> None:
    """Law, deflection and rates at rest; dynamic stiffness and loss angle at some frequencies."""
    console = new_console()
    columns = ("mount", "between", "law", "axis", "deflection mm", "static N/mm")
    dynamic = [word for value in found.frequencies for word in (f"{value:g} Hz N/mm", "loss °")]
    table = new_table("Mounts at rest under the weight, along their own axes", *columns, *dynamic)
    for seen in found.mounts:
        for k, axis in enumerate(AXES):
            first = k == 0
            values = [row[k, k] for row in seen.stiffness]
            numbers = [
                word
                for value in values
                for word in (plain_number(1e-3 * abs(value), 1), plain_number(math.degrees(loss_angle(value)), 1))
            ]
            table.add_row(
                Text(seen.mount.name if first else ""),
                Text(" → ".join(seen.mount.between) if first else ""),
                seen.mount.law if first else "",  # type: ignore[attr-defined]
                axis,
                plain_number(1e3 * seen.deflection[k], 2),
                plain_number(1e-3 * seen.static[k, k], 1),
                *numbers,
            )
    console.print(table)
    for note in found.notes:
        console.print(Text(note))
    console.print(
        f"static: the slope at rest; small motions about it, friction at ±{1e3 * found.amplitude:g} mm; scheduled "
        f"mounts at {found.speed * 30.0 / math.pi:.0f} rpm; a rod in the axes of its first body",
        style="dim",
    )
    console.print(CAUTION, style="dim")
    for path in figures:
        console.print(Text(f"wrote {path}"))


def print_fit(fit, figures: list[Path]) -> None:
    """The keys as TOML, and the error of every point."""
    console = new_console()
    rows = points(fit)
    place = "frequency_Hz" if "frequency_Hz" in rows[0] else "amplitude_mm"
    angle = "loss_angle_deg" in rows[0]
    columns = [place.replace("_", " "), "N/mm", "fit N/mm"] + (["loss °", "fit °"] if angle else []) + ["error %"]
    table = new_table(f"{fit.law} fitted to {fit.data.path.name}", *columns)
    for row in rows:
        numbers = [f"{row[place]:g}", f"{row['stiffness_N_per_mm']:.1f}", f"{row['fitted_N_per_mm']:.1f}"]
        if angle:
            numbers += [f"{row['loss_angle_deg']:.1f}", plain_number(row["fitted_loss_angle_deg"], 1)]
        table.add_row(*numbers, f"{100.0 * row['error']:.1f}")
    console.print(table)
    worst = int(np.argmax(fit.error))
    mean = math.sqrt(float(np.mean(fit.error**2)))
    console.print(
        f"error: rms {100.0 * mean:.1f} %, greatest {100.0 * fit.error[worst]:.1f} % at {rows[worst][place]:g} "
        f"{place.split('_')[1]}, of the measured stiffness"
    )
    console.print("\n# paste under [[mount]]", markup=False)
    console.print(as_toml(fit), markup=False, end="")
    for path in figures:
        console.print(Text(f"wrote {path}"))
