"""Spectra of a run in a table: level, crest factor and strongest bands of every sensor."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from rich.text import Text

from vibsim.show.tables import CAUTION, new_console, new_table
from vibsim.studies.spectra import STRONGEST


def print_spectra(rows: dict[str, Any], written: list[Path]) -> None:
    """The table, and what the spectra are made with."""
    console = new_console()
    console.print(Text(str(rows["title"]), style="bold"))
    columns = ("rms X Y Z m/s²", "total", "crest X Y Z", "strongest third-octave bands")
    table = new_table("Sensors, unweighted", "sensor", *columns)
    for row in rows["sensors"]:
        bands = sorted(row.get("third_octave", {}).items(), key=lambda item: -item[1])[:STRONGEST]
        table.add_row(
            Text(row["name"]),
            "  ".join(f"{value:.3f}" for value in row["rms_m_per_s2"]),
            f"{row['total_rms_m_per_s2']:.3f}",
            "  ".join(f"{value:.1f}" for value in row["crest_factor"]),
            ", ".join(f"{band} Hz {level:.3g}" for band, level in bands if level > 0.0),
        )
    console.print(table)
    density = rows["density"]
    console.print(
        f"density: mean of {density['segments']} Hann segments of {density['segment_s']:.3g} s, "
        f"{density['degrees_of_freedom']:.1f} degrees of freedom: a random signal's lies within "
        f"{density['lower_factor']:.2f} to {density['upper_factor']:.2f} times it ({density['confidence']:.0%})",
        style="dim",
    )
    if rows["bands_from"]:
        console.print(f"third-octave bands: {rows['bands_from']}", style="dim")
    for path in written:
        console.print(Text(f"wrote {path}"))
    console.print(CAUTION, style="dim")
