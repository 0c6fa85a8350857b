"""`vibsim new`."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from vibsim.commands.common import DONE

HELP = "write a commented case file of a usual layout, masses estimated"


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "layout", metavar="LAYOUT", nargs="?", help="name of the layout; without one the names are listed"
    )
    parser.add_argument("--displacement-cc", type=float, metavar="CM3", help="in all (default 350 per cylinder)")
    parser.add_argument("--strokes", type=int, choices=(2, 4), default=4)
    parser.add_argument("-o", "--output", type=Path, metavar="CASE.toml", help="default LAYOUT.toml; never overwrites")


def act(options: argparse.Namespace) -> int:
    from vibsim.engine.layout_table import LAYOUTS
    from vibsim.inputs.errors import InputError, VibsimError
    from vibsim.studies.new_case import new_case

    if options.layout is None:
        names = {name: plan.words for name, plan in LAYOUTS.items()}
        print(json.dumps(names, indent=2) if options.json else "\n".join(f"{n:20} {w}" for n, w in names.items()))
        return DONE
    text = new_case(options.layout, options.displacement_cc, options.strokes)
    path = options.output or Path(f"{options.layout}.toml")
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        raise InputError(f"--output: got '{path}'; is there already, choose another name") from None
    except OSError as error:
        raise VibsimError(f"{path}: cannot be written ({error.strerror})") from None
    print(json.dumps({"files": [str(path)]}) if options.json else f"wrote {path}; its masses are estimates")
    return DONE
