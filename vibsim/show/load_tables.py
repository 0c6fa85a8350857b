"""Pin and bearing loads in tables."""

from __future__ import annotations

from pathlib import Path

from rich.table import Table
from rich.text import Text

from vibsim.show.tables import CAUTION, new_console, new_table, plain_number
from vibsim.studies.loads import Loads, Row, as_dict, percent_change

SIZES = ("greatest", "at °", "mean")
PARTS = ("gas alone", "pistons and rods")
PIN_KEYS = ("greatest_N", "at_deg", "mean_N", "gas_greatest_N", "inertia_greatest_N")
ASSUMPTIONS = (
    "Constant speed on a still block, friction and gravity left out; webs and pins balanced but for the unbalance that "
    "the case gives. Each span of the crank is simply supported by its two bearings: stiffness of crank and block and "
    "clearances shift loads between bearings."
)


def print_loads(loads: Loads, written: list[Path]) -> None:
    """Greatest and mean forces of wrist pins, crankpins and main bearings, and what the counterweights do."""
    console = new_console()
    found = as_dict(loads)
    gas = "no gas pressure" if loads.source == "none" else f"gas source {loads.source} at load {loads.load:g}"
    console.print(
        f"loads inside the engine at {found['speed_rpm']:.0f} rpm, {gas}; sizes of forces over one cycle, in N"
    )
    console.print(Text(ASSUMPTIONS), style="dim")
    title = "Wrist pins, and thrust on the cylinder wall in and against the direction of rotation"
    table = new_table(title, "cylinder", *SIZES, *PARTS, "thrust ahead", "thrust behind")
    for row in found["wrist_pins"]:
        table.add_row(Text(row["cylinder"]), *_whole(row, *PIN_KEYS, "thrust_ahead_N", "thrust_behind_N"))
    console.print(table)
    title = "Crankpins; points: the greatest, from outward, in rotation"
    table = new_table(title, "crankpin", *SIZES, *PARTS, "points °")
    shared = len(loads.layout.throws) < len(loads.layout.cylinders)
    for what, rows in (("pin", found["crankpins"]), ("rod", found["rods"] if shared else [])):
        for row in rows:
            table.add_row(Text(f"{what} {row['name']}"), *_whole(row, *PIN_KEYS, "direction_on_crank_deg"))
    console.print(table)
    title = f"Main bearings, places {found['main_bearings']}"
    table = new_table(title, "bearing", "at mm", *SIZES, *PARTS, "counterweights")
    for row in found["bearings"]:
        shown = _whole(row, *PIN_KEYS, "crank_greatest_N")
        table.add_row(str(row["bearing"]), plain_number(row["at_mm"], 1), *shown)
    console.print(table)
    if loads.weights:
        console.print(_with_and_without(found["bearings"]))
    console.print(found["counterweights"])
    for path in written:
        console.print(Text(f"wrote {path}"))
    console.print(CAUTION, style="dim")


def _whole(row: Row, *keys: str) -> list[str]:
    return [plain_number(row[key], 1 if key == "at_deg" else 0) for key in keys]


def _with_and_without(rows: list[Row]) -> Table:
    columns = ("bearing", "greatest", "without", "change %", "mean", "without", "change %")
    table = new_table("Main bearings: what the crank's counterweights save or cost", *columns)
    for row in rows:
        shown = []
        for key in ("greatest_N", "mean_N"):
            value, bare = row[key], row["without_counterweights"][key]
            change = f"{percent_change(value, bare):+.1f}"
            shown += [plain_number(value, 0), plain_number(bare, 0), change]
        table.add_row(str(row["bearing"]), *shown)
    return table
