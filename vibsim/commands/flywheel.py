"""`vibsim flywheel`."""

from __future__ import annotations

import argparse
from pathlib import Path

from vibsim.commands.common import DONE, FAILED, check_number, check_speeds, print_json

HELP = "the crank inertia that keeps the speed within a wanted fluctuation"


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("case", type=Path, metavar="CASE.toml")
    parser.add_argument(
        "--fluctuation",
        type=float,
        required=True,
        metavar="SHARE",
        help="wanted (greatest less least) over mean crank speed, 0.02 for 2 %%",
    )
    parser.add_argument("--speeds-rpm", type=float, nargs="+", metavar="RPM", help="crank speeds (default the run's)")
    parser.add_argument("--load", type=float, nargs="+", metavar="SHARE", help="loads, 0 to 1 (default the run's)")
    parser.add_argument(
        "--load-line",
        choices=("constant", "case"),
        default="constant",
        help="a load that does not change with speed within a cycle (default), or by the case's engine.load",
    )
    parser.add_argument("--no-run", action="store_true", help="the energy method alone, no run to prove it")
    parser.add_argument("-o", "--output", type=Path, metavar="FOLDER", help="draw flywheel.png into a folder")


def act(options: argparse.Namespace) -> int:
    import math

    from vibsim.inputs.errors import InputError
    from vibsim.inputs.loader import load_case
    from vibsim.show.progress import ProgressLine
    from vibsim.studies.flywheel import size_flywheel
    from vibsim.studies.flywheel_rows import as_dict

    check_number("--fluctuation", options.fluctuation, 1e-4, 1.0)
    check_speeds("--speeds-rpm", options.speeds_rpm or [])
    for load in options.load or []:
        check_number("--load", load, 0.0, 1.0)
    case_file = load_case(options.case)
    run = case_file.case.run
    if run is None or run.speed <= 0.0:
        raise InputError("run.speed: is missing or not above 0; flywheel takes speed, load and tolerances from [run]")
    speeds = [run.speed] if options.speeds_rpm is None else [rpm * math.pi / 30.0 for rpm in options.speeds_rpm]
    with ProgressLine(quiet=options.json) as progress:
        found = size_flywheel(
            case_file,
            options.fluctuation,
            speeds,
            options.load or [None],
            options.load_line,
            not options.no_run,
            progress,
        )
    title, written = case_file.case.case.title or case_file.name, []
    if options.output is not None:
        from vibsim.show.flywheel_figures import draw_flywheel

        written = draw_flywheel(found, title, options.output)
    if options.json:
        print_json(as_dict(found) | {"files": [str(path) for path in written]})
    else:
        from vibsim.show.flywheel_tables import print_flywheel

        print_flywheel(found, title, written)
    return DONE if all(proof.settled for proof in found.proofs[-1:]) else FAILED
