"""Report of a 200-point sweep: how long it takes to make, how large it is, how smoothly it follows the slider.

Points are put together from one run, so that making the sweep costs next to nothing; what a report holds of a point
does not hang on how it was computed. Frame times need chromium and chromedriver.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent))

from tests.report.browser import DESK, PHONE, RATE, browser, open_page, why_not, worked
from tests.report.conftest import write_sweep_of
from vibsim.inputs.loader import load_case
from vibsim.results.labelled import Group
from vibsim.show.report.render import write_report
from vibsim.studies.report import gather
from vibsim.studies.run import run_case

DEMO = Path(__file__).parent.parent / "configs" / "v3-80-trike.toml"
MOVES = 300
AIM = 1000.0 / 60.0  # ms from picture to picture


def making(results: Group, folder: Path) -> tuple[Path, dict[str, Any]]:
    """The report and how it was made; the second of two, with everything loaded."""
    sweep, page = write_sweep_of(results, folder / "map.h5"), folder / "report.html"
    for _ in range(2):
        begin = time.perf_counter()
        write_report(gather([sweep]), page)
        seconds = time.perf_counter() - begin
    return page, {"points": 200, "seconds": seconds, "bytes": page.stat().st_size}


def smoothness(page: Path, folder: Path, moves: int = MOVES) -> dict[str, Any]:
    """Time from picture to picture while the slider moves at every one, and the main thread's work on each; ms."""
    found = {}
    with browser(folder / "profile") as driver:
        driver.set_script_timeout(120)
        for name, size in (("desk", DESK), ("phone", PHONE)):
            open_page(driver, page, size)
            begin = worked(driver)
            steps = driver.execute_async_script(RATE, moves)
            work = 1e3 * (worked(driver) - begin) / len(steps)
            found[name] = {
                "median_ms": float(np.median(steps)),
                "frames_per_s": 1000.0 * len(steps) / float(np.sum(steps)),
                "late": int(np.count_nonzero(np.array(steps) > 1.5 * AIM)),
                "of": len(steps),
                "work_ms": work,
            }
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--json", type=Path)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as name:
        folder = Path(name)
        page, made = making(run_case(load_case(DEMO)), folder)
        print(f"report of {made['points']} points: {made['seconds']:.2f} s, {1e-6 * made['bytes']:.2f} MB (aim: 5 MB)")
        found: dict[str, Any] = {"made": made}
        if why_not():
            print(f"frame times: not measured, {why_not()}")
        else:
            found["smoothness"] = smoothness(page, folder)
        for place, row in found.get("smoothness", {}).items():
            print(
                f"{place}: {row['frames_per_s']:.1f} frames/s while the slider moves at every frame (aim: 60), "
                f"{row['late']} of {row['of']} late; main thread {row['work_ms']:.1f} ms a frame, "
                f"load of the machine {os.getloadavg()[0]:.1f}"
            )
    if options.json:
        options.json.write_text(json.dumps(found, indent=2))


if __name__ == "__main__":
    main()
