"""Units of a sweep's quantities as people read them: in tables, figures and limits; files and JSON keep SI."""

from __future__ import annotations

import math

SHOWN = {
    "Pa": (1e-5, "bar"),
    "m s-2": (1.0, "m/s²"),
    "rad s-1": (30.0 / math.pi, "rpm"),
    "m": (1e3, "mm"),
    "1": (1.0, ""),
}


def shown_unit(units: str) -> tuple[float, str]:
    """What to multiply an SI value with, and the unit that the product is in."""
    return SHOWN.get(units, (1.0, units))
