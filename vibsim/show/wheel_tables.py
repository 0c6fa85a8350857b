"""Tables of what wheels and seats carry."""

from __future__ import annotations

import numpy as np
from rich.table import Table
from rich.text import Text

from vibsim.show.tables import new_table, plain_number
from vibsim.studies.statics import Standing, Statics
from vibsim.studies.wheels import SeatLoad, WheelLoad

ESTIMATES = (
    "wheel bounce: what the wheel carries on spring and tyre; hop: the wheel between them; either mass alone, see "
    "vibsim modes"
)


def wheels_table(wheels: list[WheelLoad]) -> Table:
    columns = ("wheel", "under", "load N", "share %", "spring rises mm", "tyre gives mm", "bounce Hz", "hop Hz")
    table = new_table("Wheels at rest", *columns)
    for wheel in wheels:
        table.add_row(
            Text(wheel.name),
            Text(wheel.body),
            plain_number(wheel.force[2], 0),
            plain_number(100.0 * wheel.share, 1),
            plain_number(1e3 * wheel.travel, 1),
            plain_number(1e3 * wheel.compression, 1),
            plain_number(wheel.bounce, 2),
            plain_number(wheel.hop, 1),
        )
    return table


def seats_table(seats: list[SeatLoad]) -> Table:
    table = new_table("Occupants at rest", "occupant", "on", "model", "kg", "on the seat N", "cushion gives mm")
    for seat in seats:
        numbers = plain_number(seat.mass, 1), plain_number(seat.force, 0), plain_number(1e3 * seat.compression, 1)
        table.add_row(Text(seat.name), Text(seat.body), seat.model, *numbers)
    return table


def load_case_wheels(statics: Statics, cases: list[Standing]) -> Table:
    """Vertical tyre forces per load case, and the largest one along the road."""
    table = new_table("Wheels: force of the road, N", "case", *statics.wheels, "most sideways", "off the road")
    for standing in cases:
        off = [name for name, force in zip(statics.wheels, standing.tyre, strict=True) if force[2] <= 0.0]
        sideways = float(np.linalg.norm(standing.tyre[:, :2], axis=1).max())
        table.add_row(
            Text(standing.case.name),
            *(plain_number(force[2], 0) for force in standing.tyre),
            plain_number(sideways, 0),
            Text(", ".join(off)),
        )
    return table
