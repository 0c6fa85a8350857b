"""The layouts a search leaves to choose from, in a table with what its columns mean."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from rich.text import Text

from vibsim.engine.firing import intervals_of
from vibsim.engine.package import BRIDGED_SPLAY, CROWN_OVER_BORE
from vibsim.show.tables import CAUTION, new_console, new_table, plain_number
from vibsim.studies.search.find import Candidate, Search


def print_search(found: Search, written: list[Path]) -> None:
    """Layouts to choose from below the case as drawn, by rising force."""
    console = new_console()
    if found.unit is not None and found.speed is not None:
        speed = found.speed * 30.0 / math.pi
        console.print(f"F = {found.unit:.1f} N at {speed:.0f} rpm is one cylinder's primary force")
    arm = "the throw spacing" if found.couple_word == "F·a" else "one bore, as there is one throw"
    console.print(f"couples in {found.couple_word}, {1e3 * found.yard.arm:.1f} mm being {arm}")
    console.print(Text(tried_in_words(found)))
    bank, room = found.space.bank_range is not None, len({row.bearings for row in (found.drawn, *found.rows)}) > 1
    columns = ["force F", f"couple {found.couple_word}", "uneven", "added kg"]
    columns += ["bank °", "width mm"] * bank + ["mains"] * room
    orders = "order 1" if found.yard.highest == 1 else f"orders 1 to {found.yard.highest}"
    table = new_table(f"Layouts to choose from: what the best counterweights leave of {orders}", "", *columns)
    table.add_column("pins °", justify="left")
    table.add_column("fires", justify="left")
    for number, row in enumerate((found.drawn, *found.rows)):
        values = [plain_number(float(value), 3) for value in row.values]
        values += [plain_number(math.degrees(row.bank), 2), plain_number(1e3 * row.width, 0)] * bank
        values += [str(row.bearings)] * room
        table.add_row(_words(found, number, row), *values, pins_in_words(found, row), _order(found, row))
    console.print(table)
    for line in _meanings(found, room):
        console.print(Text(line))
    for path in written:
        console.print(Text(f"wrote {path}"))
    console.print(CAUTION, style="dim")


def tried_in_words(found: Search) -> str:
    """How many layouts there were, and how finely they were spaced."""
    words = f"{found.tried} layouts tried, pins in steps of {math.degrees(found.space.step):.4g}°"
    if found.space.bank_range is not None:
        words += f", {len(found.space.banks)} bank angles"
    if found.passed < found.tried:
        words += f"; {found.passed} within the limits"
    return f"{words}; {len(found.front.key)} unbeaten, that is with none as good in everything"


def _words(found: Search, number: int, row: Candidate) -> str:
    if number == 0:
        return "as drawn, outside the limits" if found.drawn_breaks_limits else "as drawn"
    words = f"{number}: {', '.join(row.words)}" if row.words else str(number)
    return f"{words} *" if row.refined else words


def pins_in_words(found: Search, row: Candidate) -> str:
    """Cylinders and pin angles, those of one pin together."""
    names = [cylinder.name for cylinder in found.layout.cylinders]
    together: dict[float, list[str]] = {}
    for pin in found.space.pins:
        angle = round(float(np.degrees(row.pins[pin.cylinders[0]])), 2) % 360.0
        together.setdefault(angle, []).extend(names[index] for index in pin.cylinders)
    return ", ".join(f"{'+'.join(group)} {angle:g}" for angle, group in together.items())


def _order(found: Search, row: Candidate) -> str:
    order, _ = intervals_of(row.fired, found.yard.cycle)
    return "-".join(found.layout.cylinders[index].name for index in order)


def _meanings(found: Search, room: bool) -> list[str]:
    lines = [
        "force, couple: root mean square over the revolution, after two crank counterweights that take away all they "
        "can; the couple about the middle of the throws; balance shafts as in the case",
        "uneven: longest firing interval over the even one, of the most even firing order, the one shown",
        f"added: those two counterweights in the planes of the outer throws, {1e3 * found.yard.radius:.4g} mm from the "
        "crank axis, on a crank without any",
    ]
    if room or found.limits.bearings < math.inf:
        lines.append(
            "mains, main bearings: one more than there are stations along the crank, and one for each whose pins are "
            f"more than {math.degrees(BRIDGED_SPLAY):.0f}° apart (common practice, no source)"
        )
    if found.space.bank_range is not None or found.limits.width < math.inf:
        lines.append(
            f"width: across the cylinders up to the piston crowns, taken {CROWN_OVER_BORE:g} bores above the wrist pin "
            "(common practice, no source); no heads"
        )
    if any(row.refined for row in found.rows):
        lines.append("*: moved off the grid, as that gains something")
    return lines
