"""Sweeps side by side as a table."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from rich.text import Text

from vibsim.show.compare_runs_tables import unit_scale, unit_words
from vibsim.show.tables import CAUTION, new_console, new_table
from vibsim.studies.compare_sweeps import SweepComparison, difference_rows

ROUNDING = 1e-9  # of a quantity: a change below that is none


def print_sweep_comparison(compared: SweepComparison, written: list[Path]) -> None:
    """How many points got better and worse, and the greatest changes."""
    console = new_console()
    console.print(Text(f"{' against '.join(compared.names)}: {len(compared.points)} points in common"))
    console.print(
        Text(
            f"A change counts above {compared.percent:g} % and above {compared.residuals:g} times what points still "
            "changed by from cycle to cycle; better and worse are said of what should be low."
        )
    )
    columns = (
        "sweep",
        "better",
        "worse",
        "alike",
        "mean before",
        "mean after",
        "greatest fall",
        "greatest rise",
        "unit",
    )
    table = new_table("Differences", "quantity", *columns)
    for row in difference_rows(compared):
        if "mean_before" not in row:
            continue
        counts = (row["fell"], row["rose"], row["points"] - row["fell"] - row["rose"])
        words = [f"{count}" if row["judged"] or n == 2 else "" for n, count in enumerate(counts)]
        scale = unit_scale(row["units"])
        means = (f"{scale * row[name]:.4g}" for name in ("mean_before", "mean_after"))
        extremes = change_and_place(row, scale)
        table.add_row(*map(Text, (row["quantity"], row["sweep"], *words, *means, *extremes, unit_words(row["units"]))))
    console.print(table)
    for path in written:
        console.print(Text(f"wrote {path}"))
    console.print(CAUTION, style="dim")


def change_and_place(row: dict[str, Any], scale: float) -> tuple[str, str]:
    """The greatest fall and rise of a row of differences, in words; nothing where there is none."""
    least = scale * ROUNDING * max(abs(row["mean_before"]), abs(row["mean_after"]))
    return _place(row["greatest_fall"], -scale, least), _place(row["greatest_rise"], scale, least)


def _place(extreme: dict[str, Any], signed_scale: float, least: float) -> str:
    """The change and where, if it is of the scale's sign."""
    if signed_scale * extreme["change"] <= least:
        return ""
    where = ", ".join(f"{value:.4g}" for value in extreme["at"].values())
    return f"{abs(signed_scale) * extreme['change']:+.3g} at {where}"
