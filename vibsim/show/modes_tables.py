"""Modes as tables."""

from __future__ import annotations

import math

import numpy as np
from rich.text import Text

from vibsim.show.tables import new_console, new_table, plain_number
from vibsim.studies.modes import DIRECTIONS, ModesResult


def print_modes(result: ModesResult, crank: str) -> None:
    """Frequencies, damping and kinetic-energy shares."""
    console = new_console()
    columns = [f"{body} {direction}" for body in result.bodies for direction in DIRECTIONS]
    table = new_table(
        f"Modes about static equilibrium, crank {crank}", "mode", "Hz", "damping", "share of kinetic energy"
    )
    for index, frequency in enumerate(result.modes.frequency):
        flat = result.modes.energy[index].ravel()
        shares = [f"{columns[n]} {100.0 * flat[n]:.0f} %" for n in np.argsort(flat)[::-1] if flat[n] >= 0.05]
        numbers = f"{frequency:.2f}", plain_number(result.modes.damping[index], 3)
        table.add_row(str(index + 1), *numbers, Text(", ".join(shares)))
    console.print(table)
    shapes = new_table("Shapes at the bodies' centres of mass, largest entry 1 (m, rad)", "mode", "body", *DIRECTIONS)
    for index, shape in enumerate(result.modes.shape):
        for b, body in enumerate(result.bodies):
            shapes.add_row(str(index + 1) if b == 0 else "", Text(body), *(_complex(entry) for entry in shape[b]))
    console.print(shapes)
    if result.tangent:
        console.print(
            Text(
                f"static stiffness and viscous damping alone of {', '.join(result.tangent)}: they stiffen and damp "
                "more with frequency, or at small amplitude; see vibsim mounts"
            )
        )
    console.print("damping: share of critical; shapes: size∠phase, · where the size is below 0.02", style="dim")


def _complex(value: complex) -> str:
    """Size and phase in degrees; entries below a fiftieth are left out, phases near 0 and 180 become the sign."""
    size, angle = abs(value), math.degrees(math.atan2(value.imag, value.real))
    if size < 0.02:
        return "·"
    if abs(angle) < 3.0 or abs(angle) > 177.0:
        return f"{math.copysign(size, value.real):.2f}"
    return f"{size:.2f}∠{angle:.0f}°"
