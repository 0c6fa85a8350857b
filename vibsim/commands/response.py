"""`vibsim response`."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from vibsim.commands.common import DONE, check_number, check_speeds, print_json, tell

if TYPE_CHECKING:
    from vibsim.studies.response import Shake

HELP = "levels of engine orders over speed, or of a force over frequency, by the linear model in the frequency domain"


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("case", type=Path, metavar="CASE.toml")
    parser.add_argument(
        "--speeds-rpm",
        type=float,
        nargs=2,
        metavar=("FROM", "TO"),
        help="engine orders over these (default half to one and a half times that of the run)",
    )
    parser.add_argument("--orders", type=float, nargs="+", metavar="N", help="which (default all up to the third)")
    parser.add_argument(
        "--shake", metavar="BODY", help="instead of orders: a unit force on this body, or 'ground' for its acceleration"
    )
    parser.add_argument("--along", choices=("X", "Y", "Z"), help="shake: along which vehicle axis (default Z)")
    parser.add_argument(
        "--at-mm",
        type=float,
        nargs=3,
        metavar=("X", "Y", "Z"),
        help="shake: where, vehicle axes (default the body's centre of mass)",
    )
    parser.add_argument("--frequency-Hz", type=float, nargs=2, metavar=("FROM", "TO"), help="shake: default 1 200")
    parser.add_argument("--points", type=int, metavar="N", help="speeds or frequencies (default 41, shaken 400)")
    parser.add_argument("-o", "--output", type=Path, metavar="FOLDER", help="figure and table (CSV) into a folder")


def act(options: argparse.Namespace) -> int:
    from vibsim.inputs.loader import load_case
    from vibsim.studies.steady_point import at_steady_step

    _check(options)
    case_file, note = at_steady_step(load_case(options.case))
    tell(note)
    return _shaken(options, case_file) if options.shake is not None else _orders(options, case_file)


def _orders(options: argparse.Namespace, case_file) -> int:
    import math

    import numpy as np

    from vibsim.inputs.errors import InputError
    from vibsim.show.progress import ProgressLine
    from vibsim.studies.response import LEFT_OUT, order_levels, write_csv

    run = case_file.case.run
    if options.speeds_rpm is None and (run is None or run.speed == 0.0):
        raise InputError("--speeds-rpm: is missing, and the case has no [run] to take a speed from")
    low, high = options.speeds_rpm or [share * abs(run.speed) * 30.0 / math.pi for share in (0.5, 1.5)]
    speeds = np.linspace(low, high, options.points or 41) * math.pi / 30.0
    with ProgressLine() as progress:
        found = order_levels(case_file, speeds, None if options.orders is None else tuple(options.orders), progress)
    written = []
    if options.output is not None:
        from vibsim.show.response_figures import draw_orders

        written = [*draw_orders(found, options.output), write_csv(found.rows(), options.output / "orders.csv")]
    if options.json:
        print_json({"orders": found.rows(), "left_out": LEFT_OUT, "files": [str(path) for path in written]})
        return DONE
    from vibsim.show.response_tables import print_orders

    print_orders(found, written)
    return DONE


def _shaken(options: argparse.Namespace, case_file) -> int:
    import numpy as np

    from vibsim.studies.response import LEFT_OUT, force_response, write_csv

    low, high = options.frequency_Hz or (1.0, 200.0)
    frequencies = np.geomspace(low, high, options.points or 400)
    found = force_response(case_file, frequencies, _shake(options))
    written = []
    if options.output is not None:
        from vibsim.show.response_figures import draw_shaken

        written = [*draw_shaken(found, options.output), write_csv(found.rows(), options.output / "response.csv")]
    if options.json:
        print_json({"response": found.rows(), "left_out": LEFT_OUT, "files": [str(path) for path in written]})
        return DONE
    from vibsim.show.response_tables import print_shaken

    print_shaken(found, written)
    return DONE


def _shake(options: argparse.Namespace) -> Shake:
    from vibsim.studies.response import Shake

    place = None if options.at_mm is None else tuple(1e-3 * value for value in options.at_mm)
    return Shake(options.shake, options.along or "Z", place)


def _check(options: argparse.Namespace) -> None:
    from vibsim.inputs.errors import InputError

    check_speeds("--speeds-rpm", options.speeds_rpm or [])
    for name in ("speeds_rpm", "frequency_Hz"):
        span = getattr(options, name)
        if span is not None and not 0.0 < span[0] < span[1] < 1e6:
            raise InputError(f"--{name.replace('_', '-')}: got {span[0]:g} {span[1]:g}; must rise, more than 0")
    check_number("--points", options.points, 2, 5000)
    for name, only in (
        ("along", True),
        ("at_mm", True),
        ("frequency_Hz", True),
        ("speeds_rpm", False),
        ("orders", False),
    ):
        if getattr(options, name) is not None and (options.shake is None) == only:
            raise InputError(f"--{name.replace('_', '-')}: goes {'with' if only else 'without'} --shake")
    if options.shake == "ground" and options.at_mm is not None:
        raise InputError("--at-mm: goes with a body; got --shake ground, which moves as a whole")
    if any(not abs(value) < 1e6 for value in options.at_mm or []):
        raise InputError("--at-mm: must be finite, and near the vehicle")
