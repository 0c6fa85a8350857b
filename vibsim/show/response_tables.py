"""Frequency-domain responses in tables: where each sensor and mount has its worst."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from rich.text import Text

from vibsim.show.tables import CAUTION, new_console, new_table
from vibsim.studies.response import AXES, LEFT_OUT, ForceResponse, OrderLevels

RPM = 30.0 / math.pi


def print_orders(found: OrderLevels, written: list[Path]) -> None:
    """Per sensor and mount and order: the greatest amplitude over the speeds, where, and that at both ends."""
    console = new_console()
    low, high = found.speeds[0] * RPM, found.speeds[-1] * RPM
    console.print(f"{len(found.speeds)} speeds from {low:.0f} to {high:.0f} rpm, the run's load")
    for what, names, felt, unit in (
        ("Sensor levels", found.sensors, found.sensor, "m/s²"),
        ("Mount forces", found.mounts, found.mount, "N"),
    ):
        if not names:
            continue
        columns = ("order", f"at {low:.0f} rpm", f"at {high:.0f} rpm", "greatest", "at rpm", "at Hz")
        table = new_table(f"{what} per engine order, amplitude of all three axes together, {unit}", "name", *columns)
        size = np.linalg.norm(felt, axis=-1)
        for n, name in enumerate(names):
            for o, order in enumerate(found.orders):
                curve = size[:, o, n]
                worst = int(curve.argmax())
                place = found.speeds[worst] * RPM
                table.add_row(
                    Text(name if o == 0 else ""),
                    f"{order:g}",
                    *(f"{value:.4g}" for value in (curve[0], curve[-1], curve[worst])),
                    f"{place:.0f}",
                    f"{order * place / 60.0:.1f}",
                )
        console.print(table)
    _close(console, written)


def print_shaken(found: ForceResponse, written: list[Path]) -> None:
    """Per sensor and mount: the greatest response and its frequency."""
    console = new_console()
    ground = found.shake.body == "ground"
    per = "m/s² of the ground" if ground else "N"
    shaken = "the ground" if ground else f"'{found.shake.body}'"
    low, high = found.frequencies[0], found.frequencies[-1]
    console.print(Text(f"shaking {shaken} along {found.shake.along}, {low:g} to {high:g} Hz"))
    for what, names, felt, unit in (
        ("Sensors", found.sensors, found.sensor, "m/s²"),
        ("Mounts", found.mounts, found.mount, "N"),
    ):
        if not names:
            continue
        table = new_table(
            f"{what}: greatest response, {unit} per {per}", "name", "axis", "greatest", "at Hz", "phase °"
        )
        for n, name in enumerate(names):
            for a, axis in enumerate(AXES):
                worst = int(np.abs(felt[:, n, a]).argmax())
                value = felt[worst, n, a]
                table.add_row(
                    Text(name if a == 0 else ""),
                    axis,
                    f"{abs(value):.4g}",
                    f"{found.frequencies[worst]:.2f}",
                    f"{math.degrees(np.angle(value)):.0f}",
                )
        console.print(table)
    if found.passed is not None:
        size = np.abs(found.passed)
        worst = int(size.argmax())
        below = np.flatnonzero(size > 1.0)
        text = f"handed on by its mounts along {found.shake.along}: at most {size[worst]:.3g} of the force, at "
        text += f"{found.frequencies[worst]:.2f} Hz"
        if len(below) and below[-1] + 1 < len(size):
            text += f"; less than the force above {found.frequencies[below[-1] + 1]:.2f} Hz"
        console.print(text)
    _close(console, written)


def _close(console, written: list[Path]) -> None:
    console.print(LEFT_OUT, style="dim")
    for path in written:
        console.print(Text(f"wrote {path}"))
    console.print(CAUTION, style="dim")
