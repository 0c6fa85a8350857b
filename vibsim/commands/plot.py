"""`vibsim plot`."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from vibsim.commands.common import DONE

HELP = "draw the figures of a results file again"


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("results", type=Path, metavar="RESULT.h5")
    parser.add_argument(
        "-o", "--output", type=Path, metavar="FOLDER", help="folder of figures (default RESULT-figures)"
    )


def act(options: argparse.Namespace) -> int:
    from vibsim.results.hdf5 import read_results
    from vibsim.show.figures import draw_figures

    results = read_results(options.results, record=False)
    folder = options.output or options.results.with_name(f"{options.results.stem}-figures")
    paths = [str(path) for path in draw_figures(results, folder)]
    print(json.dumps({"files": paths}, indent=2) if options.json else "\n".join(paths))
    return DONE
