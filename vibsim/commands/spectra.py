"""`vibsim spectra`."""

from __future__ import annotations

import argparse
from pathlib import Path

from vibsim.commands.common import DONE, print_json

HELP = "spectra of a results file: density with its interval, third-octave bands, short-time spectra, crest factors"


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("results", type=Path, metavar="RESULT.h5")
    parser.add_argument(
        "--segment-s",
        type=float,
        metavar="S",
        help="of the averaged density (default an eighth of the record, at most 4)",
    )
    parser.add_argument("--step", metavar="STEP", help="of a programme: one step by itself, by number or kind")
    parser.add_argument("--short-time-s", type=float, metavar="S", help="of the short-time spectra (default 0.2)")
    parser.add_argument(
        "-o", "--output", type=Path, metavar="FOLDER", help="write figures and RESULT-spectra.h5 into a folder"
    )


def act(options: argparse.Namespace) -> int:
    from vibsim.results.hdf5 import read_results, write_results
    from vibsim.studies.spectra import as_rows, spectra_of

    if options.step is None:
        results = read_results(options.results)
    else:
        from vibsim.studies.step_of import read_step

        results = read_step(options.results, options.step)
    found = spectra_of(results, str(options.results), options.segment_s, options.short_time_s)
    written = []
    if options.output is not None:
        from vibsim.show.spectra_figures import draw_spectra

        written = draw_spectra(found, options.output)
        target = options.output / f"{options.results.stem}-spectra.h5"
        write_results(found, target)
        written.append(target)
    rows = as_rows(found)
    if options.json:
        print_json(rows | {"files": [str(path) for path in written]})
        return DONE
    from vibsim.show.spectra_tables import print_spectra

    print_spectra(rows, written)
    return DONE
