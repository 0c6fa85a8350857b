"""`vibsim torque`."""

from __future__ import annotations

import argparse
from pathlib import Path

from vibsim.commands.common import DONE, check_number, check_speeds, print_json

HELP = "brake torque and power over speed and load, and how unevenly the crank pulls"


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("case", type=Path, metavar="CASE.toml")
    parser.add_argument(
        "--speeds-rpm", type=float, nargs="+", metavar="RPM", help="crank speeds (default a usual range)"
    )
    parser.add_argument(
        "--load", type=float, nargs="+", metavar="SHARE", help="loads, 0 to 1 (default 0.25 0.5 0.75 1, or as measured)"
    )
    parser.add_argument("--charging", action="store_true", help="every way of charging too, at full load")
    parser.add_argument(
        "--knock-margin",
        type=float,
        metavar="OCTANE",
        help="octane numbers to keep by a later burn (default that of the case)",
    )
    parser.add_argument(
        "-o", "--output", type=Path, metavar="FOLDER", help="draw torque.png and write torque.csv into a folder"
    )


def act(options: argparse.Namespace) -> int:
    import math

    import numpy as np

    from vibsim.inputs.loader import load_case
    from vibsim.show.progress import ProgressLine
    from vibsim.studies.torque_curve import torque_curves
    from vibsim.studies.torque_rows import as_dict

    check_speeds("--speeds-rpm", options.speeds_rpm or [])
    check_number("--knock-margin", options.knock_margin, -50.0, 50.0)
    for load in options.load or []:
        check_number("--load", load, 0.0, 1.0)
    case_file = load_case(options.case)
    with ProgressLine(quiet=options.json) as progress:
        curves = torque_curves(
            case_file,
            speeds=None if options.speeds_rpm is None else math.pi / 30.0 * np.unique(options.speeds_rpm),
            loads=options.load,
            charging=options.charging,
            margin=options.knock_margin,
            progress=progress,
        )
    title, written = case_file.case.case.title or case_file.name, []
    if options.output is not None:
        from vibsim.show.torque_figures import draw_torque
        from vibsim.show.torque_histories import write_torque

        written = draw_torque(curves, title, options.output) + write_torque(curves, options.output)
    if options.json:
        print_json(as_dict(curves) | {"files": [str(path) for path in written]})
        return DONE
    from vibsim.show.torque_tables import print_torque

    print_torque(curves, title, written)
    return DONE
