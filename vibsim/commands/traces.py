"""`vibsim traces`."""

from __future__ import annotations

import argparse
from pathlib import Path

from vibsim.commands.common import DONE, print_json

HELP = "what was done to measured cylinder pressures and how they fit the engine"


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("case", type=Path, metavar="CASE.toml")
    parser.add_argument(
        "-o", "--output", type=Path, metavar="FOLDER", help="draw the trace nearest to the run's point into a folder"
    )


def act(options: argparse.Namespace) -> int:
    from vibsim.inputs.loader import load_case
    from vibsim.studies.traces import as_dict, find_traces

    case_file = load_case(options.case)
    found, title = find_traces(case_file), case_file.case.case.title or case_file.name
    written = []
    if options.output is not None:
        from vibsim.show.trace_figures import draw_traces

        written = draw_traces(found, title, options.output)
    if options.json:
        print_json(as_dict(found) | {"files": [str(path) for path in written]})
        return DONE
    from vibsim.show.trace_tables import print_traces

    print_traces(found, title, written)
    return DONE
