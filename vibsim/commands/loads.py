"""`vibsim loads`."""

from __future__ import annotations

import argparse
from pathlib import Path

from vibsim.commands.common import DONE, check_speeds, print_json

HELP = "forces of wrist pins, crankpins and main bearings, and what counterweights do to them"


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("case", type=Path, metavar="CASE.toml")
    parser.add_argument("--speed-rpm", type=float, metavar="RPM", help="crank speed (default that of the run)")
    parser.add_argument(
        "-o", "--output", type=Path, metavar="FOLDER", help="draw polar plots and write the histories into a folder"
    )


def act(options: argparse.Namespace) -> int:
    import math

    from vibsim.inputs.loader import load_case
    from vibsim.studies.loads import as_dict, find_loads

    check_speeds("--speed-rpm", [] if options.speed_rpm is None else [options.speed_rpm])
    case_file = load_case(options.case)
    loads = find_loads(case_file, None if options.speed_rpm is None else options.speed_rpm * math.pi / 30.0)
    written = []
    if options.output is not None:
        from vibsim.show.load_figures import draw_loads
        from vibsim.show.load_histories import write_histories

        written = draw_loads(loads, case_file.case.case.title or case_file.name, options.output)
        written += write_histories(loads, options.output)
    if options.json:
        print_json(as_dict(loads) | {"files": [str(path) for path in written]})
        return DONE
    from vibsim.show.load_tables import print_loads

    print_loads(loads, written)
    return DONE
