"""`vibsim cycle`."""

from __future__ import annotations

import argparse
from pathlib import Path

from vibsim.commands.common import DONE, check_number, check_speeds, print_json, warn

HELP = "the working cycle in a cylinder: pressure, burning, knock, where the fuel's energy goes"


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("case", type=Path, metavar="CASE.toml")
    parser.add_argument(
        "--speed-rpm", type=float, nargs="+", metavar="RPM", help="one or more crank speeds (default that of the run)"
    )
    parser.add_argument(
        "--load", type=float, nargs="+", metavar="SHARE", help="one or more loads, 0 to 1 (default that of the run)"
    )
    parser.add_argument("--cylinder", metavar="NAME", help="this one alone (default all that run differently)")
    parser.add_argument("-o", "--output", type=Path, metavar="FOLDER", help="draw pictures into a folder")
    parser.add_argument("--csv", type=Path, metavar="FOLDER", help="write the curves over crank angle into a folder")


def act(options: argparse.Namespace) -> int:
    import math

    from vibsim.inputs.loader import load_case
    from vibsim.studies.cycle_view import as_dict, find_cycles

    check_speeds("--speed-rpm", options.speed_rpm or [])
    for load in options.load or []:
        check_number("--load", load, 0.0, 1.0)
    speeds = None if options.speed_rpm is None else [speed * math.pi / 30.0 for speed in options.speed_rpm]
    case_file = load_case(options.case)
    view = find_cycles(case_file, speeds, options.load, options.cylinder)
    title = case_file.case.case.title or case_file.name
    written = []
    if options.csv is not None:
        from vibsim.show.cycle_histories import write_curves

        written += write_curves(view, options.csv)
    if options.output is not None:
        from vibsim.show.cycle_figures import MOST_POINTS, draw_cycles

        written += draw_cycles(view, title, options.output)
        if len(view.points) > MOST_POINTS:
            warn([f"the pictures show the first {MOST_POINTS} of {len(view.points)} operating points"])
    if options.json:
        print_json(as_dict(view) | {"files": [str(path) for path in written]})
        return DONE
    from vibsim.show.cycle_tables import print_cycles

    print_cycles(view, title, written)
    return DONE
