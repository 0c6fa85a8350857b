"""`vibsim map`."""

from __future__ import annotations

import argparse
from pathlib import Path

from vibsim.commands.common import DONE, angle_range, check_speeds, print_json

HELP = "what no counterweight reaches, over bank angle and pin offset"


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("case", type=Path, metavar="CASE.toml")
    parser.add_argument(
        "--move",
        nargs="+",
        metavar="NAME",
        help="cylinders to turn together with their pins (default all outside the first cylinder's bank)",
    )
    span = ("FROM", "TO")
    parser.add_argument(
        "--bank-deg", type=float, nargs=2, metavar=span, default=(0.0, 180.0), help="between the banks (default 0 180)"
    )
    parser.add_argument(
        "--pin-deg",
        type=float,
        nargs=2,
        metavar=span,
        default=(-180.0, 180.0),
        help="moved pin from the other, positive in the direction of rotation (default -180 180)",
    )
    parser.add_argument("--points", type=int, default=200, metavar="N", help="along each axis (default 200)")
    parser.add_argument("--speed-rpm", type=float, metavar="RPM", help="speed at which to say F (default the run's)")
    parser.add_argument("-o", "--output", type=Path, metavar="FOLDER", help="draw the map into a folder")


def act(options: argparse.Namespace) -> int:
    import math

    from vibsim.inputs.errors import InputError
    from vibsim.inputs.loader import load_case
    from vibsim.studies.angle_map import FEWEST, MOST, as_dict, find_map

    banks = angle_range("--bank-deg", options.bank_deg, 0.0, 360.0)
    pins = angle_range("--pin-deg", options.pin_deg, -360.0, 360.0)
    check_speeds("--speed-rpm", [] if options.speed_rpm is None else [options.speed_rpm])
    if not FEWEST <= options.points <= MOST:
        raise InputError(f"--points: got {options.points}; must be {FEWEST} to {MOST}")
    case_file = load_case(options.case)
    speed = None if options.speed_rpm is None else options.speed_rpm * math.pi / 30.0
    found = find_map(case_file, options.move, banks, pins, options.points, speed)
    written = []
    if options.output is not None:
        from vibsim.show.map_figures import draw_map

        written = draw_map(found, case_file.case.case.title or case_file.name, options.output)
    if options.json:
        print_json(as_dict(found) | {"files": [str(path) for path in written]})
        return DONE
    from vibsim.show.map_tables import print_map

    print_map(found, written)
    return DONE
