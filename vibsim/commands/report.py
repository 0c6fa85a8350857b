"""`vibsim report`."""

from __future__ import annotations

import argparse
from pathlib import Path

from vibsim.commands.common import DONE, check_number, print_json

HELP = "one HTML file of runs and sweeps, to hand over"
DETAIL = """
one file that opens in any browser, without a network: the verdict, drawings, charts, the mechanism and the modes in
motion, tables, cautions, and where it all is from. Several results stand side by side; runs of one case at several
speeds, or a sweep over run.speed_rpm, move along a speed slider.
"""


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("results", type=Path, nargs="+", metavar="RESULT.h5")
    parser.add_argument(
        "-o", "--output", type=Path, metavar="REPORT.html", help="default RESULT-report.html, written over"
    )
    parser.add_argument(
        "--hours", type=float, nargs="+", metavar="H", help="of each run in a day: exposure of the whole day too"
    )
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.epilog = DETAIL


def act(options: argparse.Namespace) -> int:
    from vibsim.inputs.errors import InputError
    from vibsim.show.report.render import write_report
    from vibsim.studies.report import gather

    path = options.output or options.results[0].with_name(f"{options.results[0].stem}-report.html")
    if path.is_dir():
        raise InputError(f"--output: got '{path}'; is a folder, give the name of a file such as report.html")
    if path.resolve() in [one.resolve() for one in options.results]:
        raise InputError(f"--output: got '{path}'; is one of the results, choose another name")
    for hours in options.hours or []:
        check_number("--hours", hours, 1e-3, 24.0)
    written = write_report(gather(options.results, options.hours), path)
    size = written.stat().st_size
    if options.json:
        print_json({"files": [str(written)], "bytes": size})
        return DONE
    print(f"wrote {written} ({1e-6 * size:.2f} MB)")
    return DONE
