"""What the figures of a run answer, on one screen."""

from __future__ import annotations

from pathlib import Path

from rich.text import Text

from vibsim.show.figure_sets import Drawn
from vibsim.show.tables import CAUTION, new_console, new_table


def print_drawn(paths: list[Path], drawn: Drawn) -> None:
    """Every picture with its answer, what was left out and why, where the index page is."""
    print_answers(drawn)
    console = new_console()
    for path in paths:
        if path.suffix != ".png":
            console.print(Text(f"wrote {path}"))
    console.print(CAUTION, style="dim")


def print_answers(drawn: Drawn) -> None:
    """What every picture says, and what was left out."""
    console = new_console()
    table = new_table("Figures", "figure", "what it says")
    table.columns[1].justify = "left"
    for path, words in drawn.captions.items():
        table.add_row(path.stem, Text(words))
    console.print(table)
    for which, why in drawn.left_out.items():
        console.print(Text(f"left out: {which}: {why}"), style="dim")
