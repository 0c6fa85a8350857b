"""`vibsim plot`."""

from __future__ import annotations

import argparse
from pathlib import Path

from vibsim.commands.common import DONE, print_json

RECORD = ("time", "step", "crank_angle", "crank_speed", "sensor_acceleration")  # what figures read over time

HELP = "draw every figure that a results file supports, with the answer of each in a line and an index page; or a sweep"
SETS = ("run", "contributions", "orders", "colourmap", "spectra", "exposure")
DETAIL = """
of a run: all sets, or those named by --only: run (the figures that vibsim run draws), contributions (who is to blame
at every sensor), orders, colourmap (of changing speed), spectra (density, third-octave bands, short-time), exposure
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
    parser.add_argument("--only", nargs="+", choices=SETS, metavar="SET", help=f"of a run: {', '.join(SETS)}")
    parser.add_argument("--of", action="append", metavar="QUANTITY", help="of a sweep: what to draw")
    parser.add_argument("--limit", action="append", default=[], metavar="LIMIT", help="of a sweep: what to keep")
    parser.add_argument("--most", action="store_true", help="of a sweep: the best point is the greatest")
    parser.add_argument("--step", metavar="STEP", help="of a programme: one step by itself, by number or kind")
    parser.add_argument("--case", metavar="NAME", help="of a sweep over several cases: which (default the first)")


def act(options: argparse.Namespace) -> int:
    from vibsim.results.hdf5 import read_results

    results = read_results(options.results, record=RECORD)
    sweep = results.attributes.get("run_kind") == "sweep"
    _check(options, sweep)
    if sweep:
        return _sweep(results, options)
    from vibsim.show.figure_sets import draw_sets
    from vibsim.show.progress import ProgressLine

    folder = options.output or options.results.with_name(f"{options.results.stem}-figures")
    if options.step is not None:
        from vibsim.studies.step_of import read_step

        results, folder = read_step(options.results, options.step), folder / f"step-{options.step}"
    with ProgressLine():
        paths, drawn = draw_sets(results, folder, options.results.stem, options.only or ())
    if options.json:
        says = {str(path): words for path, words in drawn.captions.items()}
        print_json({"files": [str(path) for path in paths], "says": says, "left_out": drawn.left_out})
        return DONE
    from vibsim.show.figure_sets_words import print_drawn

    print_drawn(paths, drawn)
    return DONE


def _check(options: argparse.Namespace, sweep: bool) -> None:
    from vibsim.inputs.errors import InputError

    of_sweep = {"--of": options.of, "--limit": options.limit, "--most": options.most, "--case": options.case}
    given = [name for name, value in ({"--only": options.only} if sweep else of_sweep).items() if value]
    if given:
        of, this = ("a run", "a sweep") if sweep else ("a sweep", "a run")
        raise InputError(f"{given[0]}: goes with {of}; {options.results} is the results of {this}")


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
        print_json(found | {"files": paths})
        return DONE
    print_points(found)
    print("\n".join(paths))
    return DONE
