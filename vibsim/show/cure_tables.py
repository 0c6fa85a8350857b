"""A cure in tables: what to add, what it does."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from rich.text import Text

from vibsim.show.tables import CAUTION, new_console, new_table, plain_number


def print_cure(found: dict[str, Any], written: list[Path]) -> None:
    """What to add, then every figure before and after."""
    console = new_console()
    console.print(f"at {found['speed_rpm']:.0f} rpm")
    _print_added(console, found)
    table = new_table("Free forces and couples, from the exact mechanism", "what", "unit", "before", "after")
    for row in found["free"]:
        table.add_row(Text(row["what"]), row["unit"], plain_number(row["before"], 2), plain_number(row["after"], 2))
    for row in found["sums"]:
        table.add_row(Text(row["what"]), "", plain_number(row["before"], 4), plain_number(row["after"], 4))
    console.print(table)
    if found["felt"]:
        title = "What mounts and sensors feel, forecast by the linear model over orders up to 6; vibsim run verifies"
        table = new_table(title, "what", "unit", "before", "after")
        for row in found["felt"]:
            table.add_row(Text(row["what"]), row["unit"], f"{row['before']:.4g}", f"{row['after']:.4g}")
        console.print(table)
    for line in found["remarks"]:
        console.print(Text(line))
    for path in written:
        console.print(Text(f"wrote {path}"))
    console.print(CAUTION, style="dim")


def _print_added(console: Any, found: dict[str, Any]) -> None:
    added = found["counterweights"] + found["shafts"]
    if not added and not found["masses"]:
        console.print("nothing to add: none of what is allowed would make it smaller")
        return
    for row in found["masses"]:
        console.print(Text(f"reciprocating mass: {row['added_g']:.1f} g more on cylinder {row['cylinder']}"))
    if not added:
        return
    table = new_table("To add", "what", "kg mm", "angle °", "along mm", "y mm", "z mm")
    for row in added:
        name = "counterweight on the crank" if row["ratio"] == 1.0 else f"balance shaft at {row['ratio']:+g} ×"
        numbers = [
            plain_number(row["unbalance_kg_mm"], 4),
            plain_number(row["angle_deg"], 2),
            plain_number(row["at_mm"], 2),
        ]
        across = [plain_number(value, 2) for value in row["position_mm"]] if row in found["shafts"] else ["", ""]
        table.add_row(name, *numbers, *across)
    console.print(table)
