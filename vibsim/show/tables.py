"""What all tables on a terminal share."""

from __future__ import annotations

from rich.box import SIMPLE
from rich.console import Console, ConsoleOptions, RenderResult
from rich.table import Table
from rich.text import Text

CAUTION = (
    "Computed from the case as given, not a certificate: for vibration exposure and for the strength of crankshaft, "
    "mounts and chassis follow local codes and licensed practice."
)
PIPE_WIDTH = 160  # columns when the output is no terminal
WORDS = ("share of kinetic energy", "body", "between", "law", "note", "what came of it")  # columns of text


def new_console() -> Console:
    console = Console(highlight=False)
    if not console.is_terminal:
        console.width = PIPE_WIDTH
    return console


class HeadedTable(Table):
    """A table under a heading as wide as it needs; the library's own titles wrap at the width of the table."""

    def __init__(self, heading: str):
        super().__init__(box=SIMPLE, pad_edge=False)
        self.heading = Text(heading, style="bold")

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        yield self.heading
        yield from super().__rich_console__(console, options)


def new_table(title: str, *columns: str) -> Table:
    """An empty table under a title, text to the left, numbers to the right."""
    table = HeadedTable(title)
    for index, column in enumerate(columns):
        table.add_column(
            column, justify="left" if index == 0 or column in WORDS or column.startswith("strongest") else "right"
        )
    return table


def plain_number(value: float, digits: int) -> str:
    """A number without a minus sign before zeros."""
    return f"{round(value, digits) + 0.0:.{digits}f}"
