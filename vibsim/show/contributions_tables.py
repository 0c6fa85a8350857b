"""Contributions to a sensor in tables: ranked by the share in phase with the whole."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from rich.text import Text

from vibsim.show.tables import CAUTION, new_console, new_table
from vibsim.studies.blame import blame
from vibsim.studies.contributions import EVERY, PAST, By, Contributions, Share
from vibsim.studies.response import LEFT_OUT

FAINTEST = 5e-4  # share and part of the rms that a row must have
HEADINGS: dict[By, str] = {
    "mount": "By mount: its force and moment through the structure with these mounts cut",
    "cylinder": "By cylinder: its gas, reciprocating and rotating mass; counterweights and shafts by themselves",
    "source": "By source",
    "order": "By engine order: part of the mean square",
}
SHARES = "share: part in phase with the whole; shares add up to 100 %, one below zero cancels others"


def shown(found: Contributions, what: By) -> list[Share]:
    """Contributions worth a row."""
    least = FAINTEST * found.rms
    return [
        item
        for item in found.by(what)
        if abs(item.share) >= FAINTEST or (item.rms >= least and what != "order" and item.name != PAST)
    ]


def heading(found: Contributions) -> str:
    """Sensor, axes, speed and orders in words."""
    axes = "all axes" if len(found.axes) == 3 else f"along {found.axes[0]}"
    orders = "order " + " and ".join(f"{order:g}" for order in found.orders)
    if len(found.orders) > 4:
        orders = f"orders {found.orders[0]:g} to {found.orders[-1]:g}"
    missing = f", cylinder {found.misfire} misfiring" if found.misfire else ""
    return f"{found.sensor} at {found.speed * 30.0 / math.pi:.0f} rpm{missing}, {axes}, {orders}"


def print_contributions(found: Contributions, written: list[Path]) -> None:
    """All ways of looking, then how well the parts add up, and to the run."""
    console = new_console()
    console.print(Text(f"{heading(found)}: {found.rms:.4g} m/s² rms, unweighted", style="bold"))
    console.print(Text(blame(found).words))
    for what in EVERY:
        if what == "order" and len(found.orders) < 2:
            continue
        one = found.total.size == 1
        last = [] if what == "order" else ["phase °" if one else "strongest orders"]
        table = new_table(HEADINGS[what], "name", "share %", "rms alone, m/s²", *last)
        for item in shown(found, what):
            phase = f"{math.degrees(np.angle(item.amplitude.flat[0])):.0f}" if one else _strongest(found, item)
            table.add_row(
                Text(item.name),
                f"{100.0 * item.share:.1f}",
                f"{item.rms:.4g}",
                *([] if what == "order" else [phase]),
            )
        console.print(table)
    console.print(f"{SHARES}; all are of the mean square", style="dim")
    if found.total.size == 1:
        console.print("phase: amplitude·cos(order·crank angle + phase)", style="dim")
    if found.misfire:
        words = (
            f"cylinder {found.misfire} misfires: what the gas of the others leaves over is what its burning cancelled"
        )
        console.print(Text(words))
    console.print(f"parts add up to the linear total within {found.gap:.1g} of it", style="dim")
    if found.run_gap is not None:
        console.print(f"the run differs from the linear total by {100.0 * found.run_gap:.2f} % of its rms")
    console.print(LEFT_OUT, style="dim")
    for path in written:
        console.print(Text(f"wrote {path}"))
    console.print(CAUTION, style="dim")


def _strongest(found: Contributions, item: Share) -> str:
    size = np.linalg.norm(item.amplitude, axis=1)
    ranked = np.argsort(size)[::-1][:3]
    return ", ".join(f"{found.orders[n]:g}: {size[n]:.3g}" for n in ranked if size[n] > 0.0)
