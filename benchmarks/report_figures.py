"""The report of a 200-point sweep among the measured figures: its size, and pictures per second at the slider."""

from __future__ import annotations

import tempfile
from pathlib import Path

from benchmarks.figure import Figure
from benchmarks.report import making, smoothness
from tests.report.browser import why_not
from vibsim.inputs.loader import load_case
from vibsim.studies.run import run_case

MOVES, QUICK_MOVES = 300, 60
SIZE, RATE = 5.0, 59.0  # MB; a screen of 60 pictures a second, a sixtieth lost to the measure's own ends


def report_figures(demo: Path, quick: bool) -> list[Figure]:
    """Size and making of the report, and where chromium is installed its pictures per second while the slider moves."""
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as name:
        folder = Path(name)
        page, made = making(run_case(load_case(demo)), folder)
        size, seconds = 1e-6 * made["bytes"], made["seconds"]
        figures = [
            Figure("report_MB", f"report of a sweep of {made['points']} points", "MB", size, size, SIZE),
            Figure("report_s", "making it", "s", seconds, seconds),
        ]
        if not why_not():
            found = smoothness(page, folder, QUICK_MOVES if quick else MOVES)
            for place, row in found.items():
                words = f"pictures while its slider moves, {place}"
                rate = row["frames_per_s"]
                figures.append(Figure(f"report_{place}_fps", words, "1/s", rate, rate, RATE, False))
                work = row["work_ms"]
                figures.append(Figure(f"report_{place}_work_ms", "its work on each", "ms", work, work))
        return figures
