"""`vibsim misfire`."""

from __future__ import annotations

import argparse
from pathlib import Path

from vibsim.commands.common import DONE, check_number, check_speeds, print_json

HELP = "whether a misfire shows in the crank's speed, over speed and load"


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("case", type=Path, metavar="CASE.toml")
    parser.add_argument("--cylinder", metavar="NAME", help="that misfires (default the first to fire)")
    parser.add_argument(
        "--speeds-rpm", type=float, nargs="+", metavar="RPM", help="crank speeds (default 0.5 to 1.25 times the run's)"
    )
    parser.add_argument(
        "--load", type=float, nargs="+", metavar="SHARE", help="loads, 0 to 1 (default 0.2, the run's and 1)"
    )
    parser.add_argument("--cycles", type=int, default=100, help="working cycles of each run (default 100)")
    parser.add_argument("-o", "--output", type=Path, metavar="FOLDER", help="draw misfire.png into a folder")


def act(options: argparse.Namespace) -> int:
    import math

    from vibsim.inputs.errors import InputError
    from vibsim.inputs.loader import load_case
    from vibsim.show.progress import ProgressLine
    from vibsim.studies.misfire import USUAL_LOADS, USUAL_SPEEDS, as_dict, misfire_visibility

    check_speeds("--speeds-rpm", options.speeds_rpm or [])
    check_number("--cycles", options.cycles, 20, 5000)
    for load in options.load or []:
        check_number("--load", load, 0.0, 1.0)
    case_file = load_case(options.case)
    run = case_file.case.run
    if run is None or run.speed <= 0.0:
        raise InputError("run.speed: is missing or not above 0; misfire takes speed, load and tolerances from [run]")
    speeds = [rpm * math.pi / 30.0 for rpm in options.speeds_rpm or []] or [share * run.speed for share in USUAL_SPEEDS]
    loads = options.load or list(USUAL_LOADS)
    with ProgressLine(quiet=options.json) as progress:
        study = misfire_visibility(case_file, speeds, loads, options.cylinder, options.cycles, progress)
    title, written = case_file.case.case.title or case_file.name, []
    if options.output is not None:
        from vibsim.show.misfire_figures import draw_misfire

        written = draw_misfire(study, title, options.output)
    if options.json:
        print_json(as_dict(study) | {"files": [str(path) for path in written]})
        return DONE
    from vibsim.show.misfire_tables import print_misfire

    print_misfire(study, title, written)
    return DONE
