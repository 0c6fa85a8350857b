"""Whether a misfire shows, in a table over speed and load."""

from __future__ import annotations

from pathlib import Path

from rich.text import Text

from vibsim.post.detection import CLEAR, DOUBTFUL
from vibsim.show.tables import CAUTION, new_console, new_table, plain_number
from vibsim.studies.misfire import EVERY, MisfireStudy, as_dict, verdict

COLUMNS = ("load", "dip rpm", "scatter rpm", "index", "± std", "a misfire is")


def print_misfire(study: MisfireStudy, title: str, written: list[Path]) -> None:
    """One row per operating point, and how the index is made."""
    console = new_console()
    console.print(Text(verdict(study), style="bold"))
    table = new_table(f"Misfire of cylinder {study.cylinder} in the crank's speed · {title}", "rpm", *COLUMNS)
    for row in as_dict(study)["points"]:
        table.add_row(
            plain_number(row["speed_rpm"], 0),
            f"{row['load']:.3g}",
            plain_number(row["dip_rpm"], 2),
            plain_number(row["scatter_rpm"], 2),
            plain_number(row["index"], 1),
            plain_number(row["index_standard_deviation"], 1),
            row["visible"],
        )
    console.print(table)
    console.print(
        Text(
            "index: change of speed from 60° before firing to 120–180° past it, mean of burning less misfiring "
            f"cycles over its standard deviation burning; {study.wheel.teeth} − {study.wheel.missing} teeth, "
            f"{study.wheel.clock * 1e-6:g} MHz; one cycle in {EVERY} misfires; from {CLEAR:g} clear, below "
            f"{DOUBTFUL:g} hidden (no source)"
        ),
        style="dim",
    )
    for note in study.notes:
        console.print(Text(note), style="dim")
    for path in written:
        console.print(Text(f"wrote {path}"))
    console.print(CAUTION, style="dim")
