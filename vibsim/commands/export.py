"""`vibsim export`."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from vibsim.commands.common import DONE, print_json

if TYPE_CHECKING:
    from vibsim.results.labelled import Group

HELP = "results or a sweep for other programs: CSV with units, universal file (UFF 58), JSON"
DETAIL = """
csv: a file per group and shape in a folder, of a sweep one file with a row per point. Comma, decimal point, UTF-8, one
     header line with units: mount_force[front left,X] (N)
uff: time, spectrum and order functions (datasets 58, with units and places of mounts, sensors and bodies); needs pyuff
json: every table with its units; curves over time or crank angle only where --variable names them
--variable is a variable (mount_force, orders/mount_force_amplitude) or all of a group (orders); repeat it for more
"""


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.epilog = DETAIL
    parser.add_argument("results", type=Path, metavar="RESULT.h5")
    parser.add_argument("--to", choices=("csv", "uff", "json"), default="csv", help="default csv")
    parser.add_argument(
        "-o",
        "--output",
        type=Path,
        metavar="PATH",
        help="the file, of a run's CSV the folder (default beside the results, named after them)",
    )
    parser.add_argument("--variable", action="append", metavar="NAME", help="what goes out (default all)")


def act(options: argparse.Namespace) -> int:
    from vibsim.results.exchange.write import export
    from vibsim.results.hdf5 import read_results

    results = read_results(options.results)
    target = options.output or _beside(options.results, options.to, results)
    written = export(results, options.to, target, options.variable)
    if options.json:
        print_json({"files": [str(path) for path in written]})
    else:
        print("\n".join(f"wrote {path}" for path in written))
    return DONE


def _beside(path: Path, kind: str, results: Group) -> Path:
    if kind == "csv" and results.attributes.get("run_kind") != "sweep":
        return path.with_name(f"{path.stem}-csv")
    return path.with_suffix(f".{kind}")
