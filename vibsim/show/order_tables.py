"""Engine orders of a results file in tables: exact ones with their phase, tracked ones where they are greatest."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from rich.text import Text

from vibsim.show.tables import CAUTION, new_console, new_table
from vibsim.studies.order_tracking import PHASE, RPM, OrdersFound

MOST_ROWS = 8


def strongest(found: OrdersFound, label: int, orders: tuple[float, ...] | None, most: int = MOST_ROWS) -> list[int]:
    """The orders asked for, or those greatest anywhere, by number."""
    picked = found.picked(orders)
    if orders is not None:
        return picked
    size = found.size()[:, picked, label].max(axis=0)
    ranked = [picked[n] for n in np.argsort(size)[::-1][:most] if size[n] > 1e-3 * size.max()]
    return sorted(ranked)


def print_found(found: OrdersFound, orders: tuple[float, ...] | None, written: list[Path]) -> None:
    """A table for every sensor, mount, ... of the channel."""
    console = new_console()
    console.print(Text(how(found), style="bold"))
    for n, label in enumerate(found.channel.labels):
        picked = strongest(found, n, orders)
        console.print(_exact(found, n, label, picked) if found.exact else _tracked(found, n, label, picked))
    console.print(f"phase: {PHASE}", style="dim")
    for path in written:
        console.print(Text(f"wrote {path}"))
    console.print(CAUTION, style="dim")


def how(found: OrdersFound) -> str:
    """How the orders were had, in words."""
    speed = found.tracked.speed * RPM
    if found.exact:
        return f"{found.channel.title} at {speed[0]:.0f} rpm: orders of one exact cycle of {turns(found)}"
    ways = f"{speed[0]:.0f} to {speed[-1]:.0f} rpm"
    if not found.over_speed:
        ways = f"between {speed.min():.0f} and {speed.max():.0f} rpm"
    words = f"{found.channel.title}, {ways}: orders tracked over crank angle, "
    words += f"{'Hann windows' if found.method == 'transform' else 'by the Gabor transform, windows'} of {turns(found)}"
    if found.left_out > 1e-9:
        words += f"; {found.left_out:.3g} s in which the crank does not turn forward are left out"
    return words


def turns(found: OrdersFound) -> str:
    number = found.tracked.window_turns
    return f"{number:g} crank turn{'s' if number != 1 else ''}"


def _exact(found: OrdersFound, n: int, label: str, picked: list[int]):
    axes, unit = found.channel.axes, found.channel.unit
    columns = [words for axis in axes for words in (f"{axis} {unit}".strip(), f"{axis} phase °".strip())]
    overall = np.linalg.norm(found.tracked.overall[0, n])
    heading = f"{label}: amplitude, {unit}; {overall:.4g} rms of all that varies"
    table = new_table(heading, "order", *columns, *(["all axes"] if len(axes) > 1 else []))
    for o in picked:
        felt = found.tracked.amplitude[0, o, n]
        cells = [words for value in felt for words in (f"{abs(value):.4g}", f"{math.degrees(np.angle(value)):.1f}")]
        whole = [f"{np.linalg.norm(felt):.4g}"] if len(axes) > 1 else []
        table.add_row(f"{found.tracked.orders[o]:g}", *cells, *whole)
    return table


def _tracked(found: OrdersFound, n: int, label: str, picked: list[int]):
    data = found.tracked
    overall = np.linalg.norm(data.overall[:, n], axis=-1)
    top = int(overall.argmax())
    heading = f"{label}: greatest amplitude of all axes, {found.channel.unit}; "
    heading += f"overall at most {overall[top]:.4g} rms, at {data.speed[top] * RPM:.0f} rpm"
    heading += f" in step {found.step_at(float(data.time[top]))}" if found.steps else ""
    where = ["in step"] if found.steps else ["at the start", "at the end"]
    table = new_table(heading, "order", "greatest", "error", "at rpm", "at Hz", "at s", *where)
    for o in picked:
        size = found.size()[:, o, n]
        w = int(size.argmax())
        error = float(np.linalg.norm(data.error[w, o, n]))
        cells = [f"{size[w]:.4g}", f"{error:.2g}" if math.isfinite(error) else "-", f"{data.speed[w] * RPM:.0f}"]
        cells += [f"{data.orders[o] * data.speed[w] / (2.0 * math.pi):.1f}", f"{data.time[w]:.3f}"]
        last = [found.step_at(float(data.time[w]))] if found.steps else [f"{size[0]:.4g}", f"{size[-1]:.4g}"]
        table.add_row(f"{data.orders[o]:g}", *cells, *last)
    return table
