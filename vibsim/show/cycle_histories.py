"""The working cycle over crank angle as CSV: pressure traces that a case can name in turn."""

from __future__ import annotations

from pathlib import Path

from vibsim.show.histories import write_columns
from vibsim.studies.cycle_view import RPM, CycleView, Point, curve_columns


def write_curves(view: CycleView, folder: Path) -> list[Path]:
    """Write one CSV file for each operating point into a folder, made if absent."""
    written: list[Path] = []
    for point in view.points:
        path = folder / f"{_name(view, point)}.csv"
        if path in written:  # cylinders whose names differ in signs alone
            path = folder / f"{_name(view, point)}-{len(written) + 1}.csv"
        written += write_columns(curve_columns(point), path)
    return written


def _name(view: CycleView, point: Point) -> str:
    """`cycle-4000rpm-load0.35`, with the first of its cylinders where they differ."""
    words = [f"cycle-{point.speed * RPM:g}rpm-load{point.load:g}"]
    if view.which(point):
        words.append("".join(c if c.isalnum() else "_" for c in point.gas.cylinders[0]))
    return "-".join(words)
