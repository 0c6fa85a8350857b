"""Measured traces on a terminal."""

from __future__ import annotations

from pathlib import Path

from rich.text import Text

from vibsim.show.tables import new_console, new_table
from vibsim.studies.traces import Traces, trace_rows


def print_traces(found: Traces, title: str, written: list[Path]) -> None:
    """What was done to each trace and how it fits the engine."""
    console = new_console()
    console.print(Text(title, style="bold"))
    for words in found.remarks.notes:
        console.print(Text(words))
    where = ["rpm", "load"] if found.is_map else []
    fits = ["compression n", "expansion n", "apparent ratio"]
    table = new_table("Traces", "file", *where, "peak bar", "at °", "level moved bar", "smoothed away bar rms", *fits)
    for row in trace_rows(found):
        place = [f"{row['speed_rpm']:.0f}", f"{row['load']:g}"] if found.is_map else []
        name = row["file"] + (f" ({row['cylinder']})" if row["cylinder"] else "")
        numbers = [f"{row['peak_bar']:.1f}", f"{row['peak_at_deg']:.1f}", f"{row['level_moved_bar']:+.3f}"]
        exponents = [_number(row["compression_exponent"]), _number(row["expansion_exponent"])]
        table.add_row(Text(name), *place, *numbers, f"{row['smoothing_removed_bar_rms']:.3f}", *exponents, _ratio(row))
    console.print(table)
    given = {kind.cylinder.compression_ratio for kind in found.kinds} - {None}
    if given and any(row["apparent_ratio"] is not None for row in trace_rows(found)):
        shown = ", ".join(f"{ratio:g}" for ratio in sorted(ratio for ratio in given if ratio))
        words = f"the case's compression ratio: {shown}; one read from compression is some per cent low by wall heat"
        console.print(words, style="dim")
    for words in found.remarks.warnings:
        console.print(Text(f"warning: {words}", style="bold"))
    for path in written:
        console.print(Text(f"wrote {path}"))


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.3f}"


def _ratio(row: dict) -> str:
    return "" if row["apparent_ratio"] is None else f"{row['apparent_ratio']:.1f} ± {row['apparent_ratio_error']:.1f}"
