"""`vibsim plot`."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from vibsim.commands.common import DONE

HELP = "draw the figures of a results file again, or of a sweep"
DETAIL = """
of a sweep: --of names what is drawn (repeat it), e.g. --of "sensor_resultant_rms[seat]" --of "torque_swing[net]"
--of "mount_force_order_amplitude[1.5,rear left,Z]"; what brackets leave out is the greatest over all there is.
--limit "sensor_resultant_rms[seat]<0.5" hatches what breaks it, and the least of the first --of within is marked and
printed (--most: the greatest).
"""


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("results", type=Path, metavar="RESULT.h5")
    parser.add_argument(
        "-o", "--output", type=Path, metavar="FOLDER", help="folder of figures (default RESULT-figures)"
    )
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.epilog = DETAIL
    parser.add_argument("--of", action="append", metavar="QUANTITY", help="of a sweep: what to draw")
    parser.add_argument("--limit", action="append", default=[], metavar="LIMIT", help="of a sweep: what to keep")
    parser.add_argument("--most", action="store_true", help="of a sweep: the best point is the greatest")
    parser.add_argument("--case", metavar="NAME", help="of a sweep over several cases: which (default the first)")


def act(options: argparse.Namespace) -> int:
    from vibsim.results.hdf5 import read_results
    from vibsim.show.figures import draw_with_index

    results = read_results(options.results, record=False)
    if results.attributes.get("run_kind") == "sweep":
        return _sweep(results, options)
    _refuse_sweep_options(options)
    folder = options.output or options.results.with_name(f"{options.results.stem}-figures")
    paths = [str(path) for path in draw_with_index(results, folder)]
    print(json.dumps({"files": paths}, indent=2) if options.json else "\n".join(paths))
    return DONE


def _refuse_sweep_options(options: argparse.Namespace) -> None:
    """Raise InputError for what goes with a sweep alone."""
    from vibsim.inputs.errors import InputError

    for name in ("of", "limit", "most", "case"):
        if getattr(options, name):
            raise InputError(f"--{name}: goes with a sweep; {options.results} holds one run, leave it out")


def _sweep(results, options: argparse.Namespace) -> int:
    from vibsim.show.sweep_figures import draw_sweep
    from vibsim.show.sweep_tables import print_points
    from vibsim.studies.sweep.read import describe, read_sweep, usual

    read = read_sweep(results, options.case)
    words = options.of or usual(read)
    folder = options.output or options.results.with_name(f"{options.results.stem}-figures")
    found = describe(read, words, options.limit, options.most)
    paths = [str(path) for path in draw_sweep(read, words, options.limit, folder, options.most)]
    if options.json:
        print(json.dumps(found | {"files": paths}, indent=2))
        return DONE
    print_points(found)
    print("\n".join(paths))
    return DONE
