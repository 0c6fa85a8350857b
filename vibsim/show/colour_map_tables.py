"""The colour map in a table: where the strongest orders peak, and the modes nearby."""

from __future__ import annotations

from pathlib import Path

from rich.text import Text

from vibsim.show.tables import CAUTION, new_console, new_table
from vibsim.studies.colour_map import RPM, ColourMap

MOST_ROWS = 8
NEAR = 0.1  # of a mode's frequency


def print_colour_map(found: ColourMap, notes: list[str], written: list[Path]) -> None:
    """Peaks of the order cuts with the mode nearest in frequency, then the overall level."""
    console = new_console()
    low, high = found.cut_speed[0] * RPM, found.cut_speed[-1] * RPM
    console.print(Text(f"{found.of}, {low:.0f} to {high:.0f} rpm: {found.how}", style="bold"))
    table = new_table(f"Order cuts: where they are highest, {found.unit} rms", "order", "highest", "at rpm", "at Hz")
    table.add_column(f"mode within {NEAR:.0%} of it")
    for peak in found.peaks(MOST_ROWS):
        near = ""
        if found.modes:
            n, mode = min(enumerate(found.modes), key=lambda item: abs(item[1].frequency - peak["frequency_Hz"]))
            if abs(mode.frequency - peak["frequency_Hz"]) < NEAR * mode.frequency:
                near = f"{n + 1}: {mode.frequency:.1f} Hz, {mode.name}"
        cells = f"{peak['rms']:.4g}", f"{peak['speed_rpm']:.0f}", f"{peak['frequency_Hz']:.1f}"
        table.add_row(f"{peak['order']:g}", *cells, Text(near))
    console.print(table)
    top = int(found.overall.argmax())
    console.print(f"overall at most {found.overall[top]:.4g} {found.unit} rms, at {found.cut_speed[top] * RPM:.0f} rpm")
    for note in [found.no_modes, *notes]:
        if note:
            console.print(Text(note), style="dim")
    for path in written:
        console.print(Text(f"wrote {path}"))
    console.print(CAUTION, style="dim")
