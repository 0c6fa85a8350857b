"""`vibsim check`."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from vibsim.commands.common import BAD_INPUT, DONE, FAILED, complain, print_json

HELP = "check a case file and print what was understood"


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("case", type=Path, nargs="?", metavar="CASE.toml")
    parser.add_argument(
        "--schema",
        nargs="?",
        type=Path,
        const=Path("-"),
        metavar="FILE",
        help="write a JSON Schema of case files for editors (default to standard output)",
    )


def act(options: argparse.Namespace) -> int:
    if options.schema is None and options.case is None:
        complain(["check: give a CASE.toml to check, or --schema"])
        return BAD_INPUT
    if options.schema is not None:
        _write_schema(options.schema, options)
    if options.case is None:
        return DONE
    from vibsim.inputs.loader import load_case
    from vibsim.studies.overview import overview

    understood = overview(load_case(options.case))
    if options.json:
        print_json(understood.as_dict())
    else:
        from vibsim.show.overview_tables import print_overview

        print_overview(understood)
    return FAILED if understood.statics_problem else DONE


def _write_schema(path: Path, options: argparse.Namespace) -> None:
    from vibsim.inputs.errors import InputError, VibsimError
    from vibsim.inputs.schema import case_schema

    text = json.dumps(case_schema(), indent=2) + "\n"
    if path == Path("-"):
        if options.json and options.case is not None:
            raise InputError("--schema: name a FILE where a case is checked and --json asked for")
        sys.stdout.write(text)
        return
    if path.suffix != ".json":
        raise InputError(f"--schema: got '{path}'; the schema's file must end in .json")
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise VibsimError(f"{path}: cannot be written ({error.strerror})") from None
    if not options.json:
        print(f"wrote {path}")
    elif options.case is None:
        print_json({"files": [str(path)]})
