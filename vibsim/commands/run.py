"""`vibsim run`."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from vibsim.commands.common import DONE, FAILED, complain, print_json, warn

if TYPE_CHECKING:
    from vibsim.results.labelled import Group
    from vibsim.show.figure_sets import Drawn

HELP = "simulate a case, write results and figures, print the answer"


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("case", type=Path, metavar="CASE.toml")
    parser.add_argument(
        "-o", "--output", type=Path, default=Path(), metavar="FOLDER", help="where to write (default here)"
    )
    figures = parser.add_mutually_exclusive_group()
    figures.add_argument("--no-figures", action="store_true", help="write the results file alone")
    figures.add_argument(
        "--all-figures", action="store_true", help="draw all that vibsim plot does, with the answer of each in a line"
    )


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
        drawn = None
        if options.all_figures and figures is not None:
            written, drawn = _all_figures(results, target, figures)
        elif figures is not None:
            from vibsim.show.figures import draw_with_index

            written += draw_with_index(results, figures)
    from vibsim.show.speed_tables import speed_summary

    summary = summarise(results) | speed_summary(results)
    warnings = str(results.attributes["warnings"]).splitlines()
    warn(warnings)
    if options.json:
        says = {} if drawn is None else {"says": {str(path): words for path, words in drawn.captions.items()}}
        print_json(summary | says | {"warnings": warnings, "files": [str(path) for path in written]})
    else:
        from vibsim.show.run_tables import print_summary

        print_summary(summary, written)
        if drawn is not None:
            from vibsim.show.figure_sets_words import print_answers

            print_answers(drawn)
    return _settled(results)


def _all_figures(results: Group, target: Path, folder: Path) -> tuple[list[Path], Drawn]:
    """Every figure that the results support; of a run of steps what they need of the record comes from the file."""
    from vibsim.commands.plot import RECORD
    from vibsim.results.hdf5 import read_results
    from vibsim.show.figure_sets import draw_sets

    whole = results if "sensor_acceleration" in results else read_results(target, record=RECORD)
    paths, drawn = draw_sets(whole, folder, target.stem)
    return [target, *paths], drawn


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
