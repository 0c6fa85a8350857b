"""`vibsim compare`."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from vibsim.commands.common import DONE, check_speeds, print_json
from vibsim.commands.compare_results import act_on_results

if TYPE_CHECKING:
    from vibsim.inputs.loader import CaseFile

HELP = "several engines side by side over speed, or results and sweeps before and after"
DETAIL = """
CASE.toml ...    every engine is run at every speed: free forces, mounts, sensors, ripple side by side
RESULT.h5 ...    results of vibsim run: levels and orders of each against the first, what got better and what worse
SWEEP.h5 ...     sweeps: differences over the points they have in common, as maps where they lie on a grid
A change counts above --significant-percent of the larger value and above --significant-residuals times what the runs
still change by from one working cycle to the next.
"""


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.epilog = DETAIL
    parser.add_argument("cases", type=Path, nargs="+", metavar="CASE.toml|RESULT.h5")
    parser.add_argument("--speeds-rpm", type=float, nargs="+", metavar="RPM", help="default 0.5 to 1.25 of the run")
    parser.add_argument(
        "--same",
        choices=("displacement", "power"),
        help="scale every engine to the first one's displacement, or set every load to the first one's power",
    )
    parser.add_argument("-o", "--output", type=Path, metavar="FOLDER", help="draw the comparison into a folder")
    parser.add_argument("--significant-percent", type=float, metavar="X", help="of results: default 5")
    parser.add_argument("--significant-residuals", type=float, metavar="N", help="of results: default 10")
    parser.add_argument("--of", action="append", metavar="QUANTITY", help="of sweeps: what to compare, as vibsim plot")


def act(options: argparse.Namespace) -> int:
    if any(path.suffix == ".h5" for path in options.cases):
        return act_on_results(options)
    return _act_on_cases(options)


def _act_on_cases(options: argparse.Namespace) -> int:
    import math

    import numpy as np

    from vibsim.inputs.errors import InputError
    from vibsim.inputs.loader import load_case
    from vibsim.show.progress import ProgressLine
    from vibsim.studies.compare import basis, compare, layout_rows, speed_rows

    for word in ("significant_percent", "significant_residuals", "of"):
        if getattr(options, word) is not None:
            raise InputError(f"--{word.replace('_', '-')}: is for results and sweeps (.h5)")
    case_files = [load_case(path) for path in options.cases]
    speeds = options.speeds_rpm
    if speeds is None:
        run = case_files[0].case.run
        if run is None:
            raise InputError("--speeds-rpm: is missing, and the first case has no [run] to take a speed from")
        speeds = [abs(run.speed) * share * 30.0 / math.pi for share in (0.5, 0.75, 1.0, 1.25)]
    check_speeds("--speeds-rpm", speeds)
    for case_file in case_files:
        _check_case(case_file)
    with ProgressLine() as progress:
        compared = compare(case_files, np.array(speeds) * math.pi / 30.0, options.same, progress)
    written = []
    if options.output is not None:
        from vibsim.show.compare_figures import draw_comparison

        written = draw_comparison(compared, options.output, options.same)
    if options.json:
        found = {
            "basis": basis(compared, options.same),
            "layouts": layout_rows(compared),
            "speeds": speed_rows(compared),
        }
        print_json(found | {"files": [str(path) for path in written]})
        return DONE
    from vibsim.show.compare_tables import print_comparison

    print_comparison(compared, options.same, written)
    return DONE


def _check_case(case_file: CaseFile) -> None:
    """Raise InputError naming the case, of several, whose engine cannot be resolved or whose mounts cannot hold it."""
    from vibsim.inputs.errors import InputError, RunFailure
    from vibsim.solver.packed import pack
    from vibsim.solver.start import equilibrium

    try:
        equilibrium(pack(case_file.case, case_file.folder))
    except InputError as error:
        raise InputError([f"{case_file.name}: {problem}" for problem in error.problems]) from None
    except RunFailure as error:
        raise RunFailure(f"{case_file.name}: {error}") from None
