"""`vibsim balance`."""

from __future__ import annotations

import argparse
from pathlib import Path

from vibsim.commands.common import DONE, check_speeds, print_json

HELP = "free forces and couples of a layout, and what cures them"


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("case", type=Path, metavar="CASE.toml")
    parser.add_argument("--speed-rpm", type=float, metavar="RPM", help="crank speed (default that of the run)")
    parser.add_argument(
        "--explain",
        type=float,
        metavar="DEG",
        help="hold the free force at this crank angle against the whole revolution",
    )
    parser.add_argument("-o", "--output", type=Path, metavar="FOLDER", help="draw hodographs and orders into a folder")


def act(options: argparse.Namespace) -> int:
    import math

    from vibsim.inputs.loader import load_case
    from vibsim.studies.balance import as_dict, explain_position, find_balance

    check_speeds("--speed-rpm", [] if options.speed_rpm is None else [options.speed_rpm])
    case_file = load_case(options.case)
    speed = None if options.speed_rpm is None else options.speed_rpm * math.pi / 30.0
    balance = find_balance(case_file, speed)
    position = None if options.explain is None else explain_position(balance, math.radians(options.explain))
    written = []
    if options.output is not None:
        from vibsim.show.balance_figures import draw_balance

        written = draw_balance(balance, case_file.case.case.title or case_file.name, options.output)
    if options.json:
        found = as_dict(balance) | {"files": [str(path) for path in written]}
        print_json(found | ({"position": vars(position)} if position else {}))
        return DONE
    from vibsim.show.balance_tables import print_balance

    print_balance(balance, position, written)
    return DONE
