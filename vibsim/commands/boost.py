"""`vibsim boost`."""

from __future__ import annotations

import argparse
from pathlib import Path

from vibsim.commands.common import DONE, check_number, check_speeds, print_json

HELP = "ways of charging side by side: boost, net power at one knock margin, what each costs and shakes"


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("case", type=Path, metavar="CASE.toml")
    parser.add_argument("--speed-rpm", type=float, metavar="RPM", help="speed of the tables (default that of the run)")
    parser.add_argument("--speeds-rpm", type=float, nargs="+", metavar="RPM", help="speeds of the curves")
    parser.add_argument("--boost-kPa", type=float, metavar="KPA", help="target above ambient of every source")
    parser.add_argument(
        "--knock-margin", type=float, metavar="OCTANE", help="octane numbers every source keeps (default 0)"
    )
    parser.add_argument(
        "--source", nargs="+", metavar="SOURCE", help="electric, exhaust_turbine, engine_driven (default all)"
    )
    parser.add_argument(
        "--step-rpm", type=float, default=2500.0, metavar="RPM", help="speed of the load step (default 2500)"
    )
    parser.add_argument(
        "--no-runs", action="store_true", help="leave out the runs: load step, torque ripple, mounts and sensors"
    )
    parser.add_argument("-o", "--output", type=Path, metavar="FOLDER", help="draw the curves into a folder")


def act(options: argparse.Namespace) -> int:
    import math

    import numpy as np

    from vibsim.inputs.loader import load_case
    from vibsim.show.progress import ProgressLine
    from vibsim.studies.boost import as_dict, compare_charging
    from vibsim.studies.boost_runs import shaking_rows
    from vibsim.studies.boost_steps import load_steps, step_rows

    rpm = math.pi / 30.0
    check_speeds("--speed-rpm", [] if options.speed_rpm is None else [options.speed_rpm])
    check_speeds("--speeds-rpm", options.speeds_rpm or [])
    check_speeds("--step-rpm", [options.step_rpm])
    check_number("--boost-kPa", options.boost_kPa, 1.0, 400.0)
    check_number("--knock-margin", options.knock_margin, -50.0, 50.0)
    case_file = load_case(options.case)
    with ProgressLine(quiet=options.json) as progress:
        comparison = compare_charging(
            case_file,
            speeds=None if options.speeds_rpm is None else rpm * np.unique(options.speeds_rpm),
            main=None if options.speed_rpm is None else rpm * options.speed_rpm,
            boost=None if options.boost_kPa is None else 1e3 * options.boost_kPa,
            margin=options.knock_margin,
            sources=options.source,
            progress=progress,
        )
        shaken = [] if options.no_runs else shaking_rows(comparison, progress)
        steps = [] if options.no_runs else load_steps(comparison, rpm * options.step_rpm, progress)
    stepped = step_rows(steps, rpm * options.step_rpm)
    written = []
    if options.output is not None:
        from vibsim.show.boost_figures import draw_comparison

        title = case_file.case.case.title or case_file.name
        written = draw_comparison(comparison, steps, rpm * options.step_rpm, title, options.output)
    if options.json:
        files = [str(path) for path in written]
        print_json(as_dict(comparison) | {"runs": shaken, "load_steps": stepped, "files": files})
        return DONE
    from vibsim.show.boost_tables import print_comparison

    print_comparison(comparison, shaken, stepped, written)
    return DONE
