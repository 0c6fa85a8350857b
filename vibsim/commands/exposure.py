"""`vibsim exposure`."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from vibsim.commands.common import DONE, check_number, print_json, warn

if TYPE_CHECKING:
    from vibsim.studies.exposure import Exposure

HELP = "what people at grips, seats and footrests feel over a day of operating points, by ISO 5349-1 and ISO 2631-1"
RESULTS = ".h5"


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("given", type=Path, nargs="+", metavar="CASE.toml|RESULT.h5", help="a case, or results of runs")
    parser.add_argument(
        "--hours",
        type=float,
        nargs="+",
        metavar="H",
        help="of a day at the run, or one number per results file (default 8 for one; a case has its own in [[duty]])",
    )
    parser.add_argument("-o", "--output", type=Path, metavar="FOLDER", help="draw the figures into a folder")


def act(options: argparse.Namespace) -> int:
    from vibsim.show.progress import ProgressLine

    _check(options)
    with ProgressLine() as progress:
        found = _from_results(options) if options.given[0].suffix == RESULTS else _from_case(options, progress)
    written = []
    if options.output is not None:
        from vibsim.show.exposure_figures import draw_exposure

        written = draw_exposure(found, options.output)
    if options.json:
        from vibsim.post.exposure_rules import CAUTION
        from vibsim.studies.exposure import as_rows

        print_json(as_rows(found) | {"caution": CAUTION, "files": [str(path) for path in written]})
        return DONE
    from vibsim.show.exposure_tables import print_exposure

    print_exposure(found, written)
    return DONE


def _from_case(options: argparse.Namespace, progress) -> Exposure:
    from vibsim.inputs.loader import load_case
    from vibsim.studies.exposure import duty_exposure

    return duty_exposure(load_case(options.given[0]), options.hours[0] if options.hours else None, progress)


def _from_results(options: argparse.Namespace) -> Exposure:
    from vibsim.results.hdf5 import read_results
    from vibsim.studies.exposure import HOURS, results_exposure

    results = [read_results(path) for path in options.given]
    for result in results:
        warn(str(result.attributes["warnings"]).splitlines())
    return results_exposure(results, [path.stem for path in options.given], options.hours or [HOURS])


def _check(options: argparse.Namespace) -> None:
    from vibsim.inputs.errors import InputError

    for hours in options.hours or []:
        check_number("--hours", hours, 1e-3, 24.0)
    files = [path for path in options.given if path.suffix == RESULTS]
    if files and len(files) < len(options.given):
        raise InputError(f"got {', '.join(map(str, options.given))}; give one case, or results files alone")
    if not files and len(options.given) > 1:
        raise InputError(f"got {len(options.given)} cases; one at a time, its operating points in [[duty]]")
    wanted = len(options.given)
    if len(options.hours or []) not in ((wanted,) if wanted > 1 else (0, 1)):
        raise InputError(f"--hours: got {len(options.hours or [])} numbers; must be {wanted}, one per results file")
    if sum(options.hours or []) > 24.0:
        raise InputError(f"--hours: got {sum(options.hours):g} h in all; a day has 24")
