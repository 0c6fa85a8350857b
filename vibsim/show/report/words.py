"""Tables, cards and numbers of the report as plain data and text."""

from __future__ import annotations

import math
from typing import Any

from vibsim.show.tables import plain_number

Card = dict[str, Any]
Table = dict[str, Any]


def table(caption: str, columns: list[str], rows: list[list[str]], note: str = "", text: int = 1) -> Table:
    """A table whose first `text` columns are words, the others numbers."""
    return {"caption": caption, "columns": columns, "rows": rows, "note": note, "text": text}


def three_digits(value: float) -> str:
    """Three digits that count, without an exponent; what is less than a millionth is none."""
    if abs(value) < 1e-6:
        return "0"
    return plain_number(value, max(0, 2 - math.floor(math.log10(abs(value)))))
