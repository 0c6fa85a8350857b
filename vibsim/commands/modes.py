"""`vibsim modes`."""

from __future__ import annotations

import argparse
from pathlib import Path

from vibsim.commands.common import DONE, print_json

HELP = "natural frequencies of engine and chassis on their mounts"


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("case", type=Path, metavar="CASE.toml")
    parser.add_argument(
        "--crank",
        choices=("locked", "free"),
        default="locked",
        help="locked: the engine as one rigid whole, as weighed (default); free: the crank stays behind in roll",
    )


def act(options: argparse.Namespace) -> int:
    from vibsim.inputs.loader import load_case
    from vibsim.studies.modes import find_modes

    result = find_modes(load_case(options.case), options.crank)
    if options.json:
        print_json({"crank": options.crank, "modes": result.table(), "static_tangent_of": list(result.tangent)})
        return DONE
    from vibsim.show.modes_tables import print_modes

    print_modes(result, options.crank)
    return DONE
