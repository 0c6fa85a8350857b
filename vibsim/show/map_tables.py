"""The map of bank angle and pin offset in a table: the case as drawn and the best points."""

from __future__ import annotations

import math
from pathlib import Path

from rich.text import Text

from vibsim.show.tables import CAUTION, new_console, new_table, plain_number
from vibsim.studies.angle_map import AngleMap


def print_map(found: AngleMap, written: list[Path]) -> None:
    """What no crank counterweight reaches as drawn and at the best angles of the map."""
    console = new_console()
    turned, word = found.turned, found.couple_word
    if found.unit is not None and found.speed is not None:
        speed = found.speed * 30.0 / math.pi
        console.print(f"F = {found.unit:.1f} N at {speed:.0f} rpm is one cylinder's primary force")
    if found.arm:
        console.print(f"a = {1e3 * found.arm:.1f} mm is the throw spacing")
    leader, reference = (found.names((index,)) for index in (turned.leader, turned.reference))
    side = "in" if turned.side > 0.0 else "against"
    console.print(
        Text(
            f"turned: {found.names(turned.moved)}, their bank {side} the direction of rotation from that of cylinder "
            f"{reference}; pin offset: pin of cylinder {leader} less that of {reference}, positive in the direction of "
            "rotation"
        )
    )
    bank, pin = (f"{axis[0]:.0f} to {axis[-1]:.0f}" for axis in (found.bank * 180 / math.pi, found.pin * 180 / math.pi))
    table = new_table(
        f"What no crank counterweight reaches; bank angles {bank}°, pin offsets {pin}°",
        "point", "bank °", "pin offset °", "1st force F", f"1st couple {word}", "2nd force F", f"2nd couple {word}",
    )  # fmt: skip
    for number, point in enumerate(found.points):
        angles = [plain_number(math.degrees(angle), 2) for angle in (point.bank, point.pin)]
        values = [plain_number(float(value), 3) for value in point.values]
        table.add_row(point.words if number == 0 else f"{number}: {point.words}", *angles, *values)
    console.print(table)
    console.print(
        "1st: the part that turns against the crank, as two counterweights take away the rest; 2nd: largest of the "
        "order; balance shafts stay as the case has them"
    )
    for path in written:
        console.print(Text(f"wrote {path}"))
    console.print(CAUTION, style="dim")
