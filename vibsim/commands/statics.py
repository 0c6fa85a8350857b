"""`vibsim statics`."""

from __future__ import annotations

import argparse
from pathlib import Path

from vibsim.commands.common import DONE, print_json

HELP = "force on every mount at rest: weight, engine torque in each gear, strength load cases, clearances"


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("case", type=Path, metavar="CASE.toml")
    parser.add_argument(
        "--chassis",
        choices=("held", "carried"),
        default="held",
        help="held: bodies that stand on the ground stay as drawn (default); carried: on their suspension",
    )
    parser.add_argument(
        "--common-practice",
        action="store_true",
        help="print the load cases of common practice as case-file text, to be edited, and stop",
    )
    parser.add_argument(
        "-o", "--output", type=Path, metavar="FOLDER", help="draw the load cases and write all forces as CSV"
    )


def act(options: argparse.Namespace) -> int:
    from vibsim.inputs.loader import load_case
    from vibsim.studies.load_cases import load_cases_text
    from vibsim.studies.statics import find_statics
    from vibsim.studies.statics_rows import as_dict

    case_file = load_case(options.case)
    if options.common_practice:
        text = load_cases_text(case_file.case)
        if options.json:
            print_json({"text": text})
        else:
            print(text, end="")
        return DONE
    statics = find_statics(case_file, options.chassis)
    written = []
    if options.output is not None:
        from vibsim.show.load_deflection_figure import draw_load_deflection
        from vibsim.show.statics_figures import draw_statics
        from vibsim.show.statics_tables import write_forces

        title = case_file.case.case.title or case_file.name
        written = draw_statics(statics, title, options.output)
        written += draw_load_deflection(statics, case_file, title, options.output)
        written += write_forces(statics, options.output)
    if options.json:
        print_json(as_dict(statics) | {"files": [str(path) for path in written]})
        return DONE
    from vibsim.show.statics_tables import print_statics

    print_statics(statics, written)
    return DONE
