"""`vibsim run`."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from vibsim.commands.common import DONE, FAILED, complain, print_json, warn

if TYPE_CHECKING:
    from vibsim.results.labelled import Group

HELP = "simulate a case, write results and figures, print the answer"


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("case", type=Path, metavar="CASE.toml")
    parser.add_argument(
        "-o", "--output", type=Path, default=Path(), metavar="FOLDER", help="where to write (default here)"
    )
    parser.add_argument("--no-figures", action="store_true", help="write the results file alone")


def act(options: argparse.Namespace) -> int:
    from vibsim.inputs.loader import load_case
    from vibsim.show.progress import ProgressLine

    case_file = load_case(options.case)
    target = options.output / f"{case_file.name}.h5"
    figures = None if options.no_figures else options.output / f"{case_file.name}-figures"
    with ProgressLine() as progress:
        from vibsim.post.summary import summarise
        from vibsim.studies.run import run_to_file

        results = run_to_file(case_file, target, progress)
        written = [target]
        if figures is not None:
            from vibsim.show.figures import draw_with_index

            written += draw_with_index(results, figures)
    from vibsim.show.speed_tables import speed_summary

    summary = summarise(results) | speed_summary(results)
    warnings = str(results.attributes["warnings"]).splitlines()
    warn(warnings)
    if options.json:
        print_json(summary | {"warnings": warnings, "files": [str(path) for path in written]})
    else:
        from vibsim.show.run_tables import print_summary

        print_summary(summary, written)
    return _settled(results)


def _settled(results: Group) -> int:
    attributes = results.attributes
    if attributes.get("settled", 1):
        return DONE
    complain(
        [
            f"the run did not settle: after {attributes['settling_cycles']} cycles {attributes['settling_slowest']} "
            f"still changes by {attributes['settling_residual']:.2g} a cycle (run.settle_tolerance "
            f"{attributes['settling_tolerance']:g}); the files show the last cycles; add damping or raise "
            "run.settle_cycles"
        ]
    )
    return FAILED
