"""Results side by side as tables: levels, then the orders that got better and worse."""

from __future__ import annotations

from pathlib import Path

from rich.markup import escape
from rich.text import Text

from vibsim.show.tables import CAUTION, new_console, new_table
from vibsim.studies.compare_runs import BETTER, MINOR, RESULTANT, WORSE, Row, RunComparison, judged

MOST_ROWS = 12
SHOWN = {"m s-2": (1.0, "m/s²"), "m": (1e3, "mm"), "Pa": (1e-5, "bar"), "1": (1.0, "")}


def print_run_comparison(compared: RunComparison, written: list[Path]) -> None:
    """Levels of all runs, what got better and worse, and what a change must exceed to count."""
    console = new_console()
    for line in heading(compared):
        console.print(Text(line))
    console.print(_level_table(compared))
    for number, name in enumerate(compared.names[1:], start=1):
        for verdict in (BETTER, WORSE):
            found = judged(compared.orders, number, verdict)
            if not found:
                console.print(Text(f"no order got {verdict} in {name}\n"))
                continue
            more = f", the {MOST_ROWS} that changed most of {len(found)}" if len(found) > MOST_ROWS else ""
            title = escape(f"Orders that got {verdict} in {name}{more}")
            table = new_table(title, "place", "order", escape(compared.names[0]), escape(name), "change", "unit")
            for row in found[:MOST_ROWS]:
                table.add_row(*map(Text, order_words(row, number)))
            console.print(table)
    for path in written:
        console.print(Text(f"wrote {path}"))
    console.print(CAUTION, style="dim")


def heading(compared: RunComparison) -> list[str]:
    """What stands beside what, the threshold in words, and what makes the runs hard to compare."""
    points = [
        f"{name}: {point['title']}, {point['mean_speed_rpm']:.0f} rpm, {point['mean_load_torque_N_m']:.1f} N m"
        for name, point in zip(compared.names, compared.points, strict=True)
    ]
    rule = (
        f"A change counts above {compared.percent:g} % and above {compared.residuals:g} times what the runs still "
        f"change by from cycle to cycle; orders below {100 * MINOR:g} % of a place's strongest are not judged. Orders "
        "are the root sum of squares of X, Y and Z."
    )
    return [*points, *(f"note: {note}" for note in compared.notes), rule]


def _level_table(compared: RunComparison):
    names = [escape(name) for name in compared.names]
    columns = [column for name in names[1:] for column in (name, "change", "is")]
    table = new_table("Levels", "quantity", "place", names[0], *columns, "unit")
    table.columns[1].justify = "left"
    for row in compared.levels:
        cells = []
        for number in range(1, len(names)):
            cells += [value_words(row, number), change_words(row, number), row.verdicts[number - 1] or ""]
        first = value_words(row, 0)
        table.add_row(*map(Text, (row.quantity, row.place, first, *cells, unit_words(row.units))))
    return table


def order_words(row: Row, run: int) -> list[str]:
    """Place, order, before, after, change, unit."""
    place = f"{row.quantity}, {row.place}" + ("" if row.axis in (RESULTANT, "") else f" {row.axis}")
    order = "" if row.order is None else f"{row.order:g}×"
    return [place, order, value_words(row, 0), value_words(row, run), change_words(row, run), unit_words(row.units)]


def change_words(row: Row, run: int) -> str:
    """Change as a share of what it was."""
    change, before = row.change(run), row.values[0]
    if change is None or not before:
        return ""
    return f"{100.0 * change / abs(before):+.0f} %"


def value_words(row: Row, run: int) -> str:
    """Three digits in the unit that the trade reads it in; nothing where the run has it not."""
    value = row.values[run]
    return "" if value is None else f"{unit_scale(row.units) * value:.3g}"


def unit_scale(units: str) -> float:
    """From SI to the unit that the trade reads it in."""
    return SHOWN.get(units, (1.0, units))[0]


def unit_words(units: str) -> str:
    return SHOWN.get(units, (1.0, units))[1]
