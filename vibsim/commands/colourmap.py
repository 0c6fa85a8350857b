"""`vibsim colourmap`."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from vibsim.commands.common import DONE, check_number, check_speeds, print_json, tell

if TYPE_CHECKING:
    from vibsim.studies.colour_map import ColourMap

HELP = "level over frequency and crank speed as a colour map with order and mode lines, and order cuts"
POINTS = 81
REACH = "the highest order that comes to a fifth of the strongest one, and the modes that it meets"


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "what",
        type=Path,
        nargs="+",
        metavar="CASE.toml|RESULT.h5",
        help="a case: steady speeds by the linear model, in seconds; a run-up: its short-time spectra; several steady "
        "runs: their exact orders",
    )
    parser.add_argument(
        "--of", metavar="WHAT", help="a sensor or mount, of results any variable (default the first sensor, or worst)"
    )
    parser.add_argument("--along", choices=("X", "Y", "Z"), help="one vehicle axis (default all three together)")
    parser.add_argument(
        "--speeds-rpm",
        type=float,
        nargs=2,
        metavar=("FROM", "TO"),
        help="of a case (default half to one and a half times that of the run)",
    )
    parser.add_argument("--points", type=int, metavar="N", help=f"of a case: speeds (default {POINTS})")
    parser.add_argument("--up-to-Hz", type=float, metavar="HZ", help=f"of the map (default {REACH})")
    parser.add_argument(
        "--resolution-Hz", type=float, metavar="HZ", help="between lines (default by how fast the speed changes)"
    )
    parser.add_argument("-o", "--output", type=Path, metavar="FOLDER", help="figure and cuts (CSV) into a folder")


def act(options: argparse.Namespace) -> int:
    _check(options)
    found = _of_results(options) if options.what[0].suffix == ".h5" else _of_case(options)
    from vibsim.studies.response import LEFT_OUT, write_csv

    notes = [LEFT_OUT] if options.what[0].suffix != ".h5" else []
    written = []
    if options.output is not None:
        from vibsim.show.colour_map_figure import draw_colour_map

        written = [*draw_colour_map(found, options.output)]
        written.append(write_csv(found.rows(), options.output / "order-cuts.csv"))
    if options.json:
        modes = [{"frequency_Hz": mode.frequency, "mode": mode.name} for mode in found.modes]
        answer = {"of": found.of, "how": found.how, "peaks": found.peaks(8), "modes": modes, "notes": notes}
        print_json(answer | {"cuts": found.rows(), "files": [str(path) for path in written]})
        return DONE
    from vibsim.show.colour_map_tables import print_colour_map

    print_colour_map(found, notes, written)
    return DONE


def _of_case(options: argparse.Namespace) -> ColourMap:
    import math

    import numpy as np

    from vibsim.inputs.errors import InputError
    from vibsim.inputs.loader import load_case
    from vibsim.show.progress import ProgressLine
    from vibsim.studies.colour_map import map_of_case
    from vibsim.studies.steady_point import at_steady_step

    case_file, note = at_steady_step(load_case(options.what[0]))
    tell(note)
    run = case_file.case.run
    if options.speeds_rpm is None and (run is None or run.speed == 0.0):
        raise InputError("--speeds-rpm: is missing, and the case has no [run] to take a speed from")
    speed = abs(run.speed) * 30.0 / math.pi if run is not None else 0.0
    low, high = options.speeds_rpm or (0.5 * speed, 1.5 * speed)
    speeds = np.linspace(low, high, options.points or POINTS) * math.pi / 30.0
    with ProgressLine() as progress:
        return map_of_case(
            case_file, speeds, options.of, options.along, options.up_to_Hz, options.resolution_Hz, progress
        )


def _of_results(options: argparse.Namespace) -> ColourMap:
    from vibsim.results.hdf5 import read_results
    from vibsim.studies.colour_map import map_of_record, map_of_runs

    asked = options.of, options.along, options.up_to_Hz, options.resolution_Hz
    runs = [read_results(path) for path in options.what]
    return map_of_record(runs[0], *asked) if len(runs) == 1 else map_of_runs(runs, *asked)


def _check(options: argparse.Namespace) -> None:
    from vibsim.inputs.errors import InputError

    results = options.what[0].suffix == ".h5"
    if any((path.suffix == ".h5") != results for path in options.what) or (not results and len(options.what) > 1):
        allowed = "must be one case, one run-up, or results of several steady runs"
        raise InputError(f"CASE.toml|RESULT.h5: got {', '.join(map(str, options.what))}; {allowed}")
    for name in ("speeds_rpm", "points"):
        if results and getattr(options, name) is not None:
            raise InputError(f"--{name.replace('_', '-')}: goes with a case; results have their own speeds")
    check_speeds("--speeds-rpm", options.speeds_rpm or [])
    if options.speeds_rpm is not None and not options.speeds_rpm[0] < options.speeds_rpm[1]:
        low, high = options.speeds_rpm
        raise InputError(f"--speeds-rpm: got {low:g} {high:g}; must rise")
    check_number("--points", options.points, 3, 2000)
    check_number("--up-to-Hz", options.up_to_Hz, 1.0, 1e5)
    check_number("--resolution-Hz", options.resolution_Hz, 1e-3, 1e4)
