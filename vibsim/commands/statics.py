"""`vibsim statics`."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from vibsim.commands.common import DONE, print_json, warn

if TYPE_CHECKING:
    from vibsim.inputs.loader import CaseFile
    from vibsim.studies.statics import Statics

HELP = "force on every mount at rest: weight, engine torque in each gear, strength load cases, clearances"


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("case", type=Path, metavar="CASE.toml")
    parser.add_argument(
        "--chassis",
        choices=("held", "carried"),
        default="held",
        help="held: bodies that stand on the ground stay as drawn (default; what wheels carry under weight and torque "
        "is told besides); carried: all of it on the suspension",
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
    standing = _on_wheels(case_file) if statics.held and case_file.case.wheel else None
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
        wheels = {} if standing is None else {"on_its_wheels": as_dict(standing)["gears"]}
        print_json(as_dict(statics) | wheels | {"files": [str(path) for path in written]})
        return DONE
    from vibsim.show.statics_tables import print_statics

    print_statics(statics, written, standing)
    return DONE


def _on_wheels(case_file: CaseFile) -> Statics | None:
    """What the wheels carry under weight and torque, where the strength cases hold the chassis; None, with a warning,
    where it does not stand."""
    from vibsim.inputs.errors import RunFailure
    from vibsim.studies.statics import find_statics

    try:
        return find_statics(case_file, "carried", strength=False)
    except RunFailure as failure:
        warn([f"on its wheels: {failure}"])
        return None
