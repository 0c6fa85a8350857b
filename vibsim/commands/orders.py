"""`vibsim orders`."""

from __future__ import annotations

import argparse
from pathlib import Path

from vibsim.commands.common import DONE, print_json

HELP = "amplitude and phase per engine order of any variable of a run, tracked over crank angle where its speed changes"


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("results", type=Path, metavar="RESULT.h5")
    parser.add_argument(
        "--of",
        metavar="WHAT",
        help="a sensor, mount, body or variable: seat, mount_force, 'mount_deflection:rear left' (default all sensors)",
    )
    parser.add_argument("--along", choices=("X", "Y", "Z"), help="one vehicle axis (default all three)")
    parser.add_argument("--orders", type=float, nargs="+", metavar="N", help="which (default the strongest)")
    parser.add_argument(
        "--window-turns",
        type=float,
        metavar="N",
        help="crank turns in a window, whole working cycles (default four cycles); longer tells close orders apart, "
        "shorter follows a faster run-up",
    )
    parser.add_argument(
        "--method",
        choices=("transform", "gabor"),
        default="transform",
        help="how orders are tracked: by the transform of windows (default), or cut out by the Gabor transform",
    )
    parser.add_argument("--step", metavar="STEP", help="of a programme: one step by itself, by number or kind")
    parser.add_argument("-o", "--output", type=Path, metavar="FOLDER", help="figure and table (CSV) into a folder")


def act(options: argparse.Namespace) -> int:
    from vibsim.results.hdf5 import read_results
    from vibsim.studies.order_tracking import PHASE, find_orders

    orders = None if options.orders is None else tuple(options.orders)
    if options.step is None:
        results = read_results(options.results)
    else:
        from vibsim.studies.step_of import read_step

        results = read_step(options.results, options.step)
    found = find_orders(results, options.of, options.along, options.window_turns, options.method, orders)
    found.picked(orders)
    written = []
    if options.output is not None:
        from vibsim.show.order_figures import draw_found
        from vibsim.studies.response import write_csv

        written = draw_found(found, orders, options.output)
        written.append(write_csv(found.rows(orders), options.output / "orders.csv"))
    if options.json:
        print_json(
            {
                "of": found.channel.title,
                "exact": found.exact,
                "method": found.method,
                "window_turns": found.tracked.window_turns,
                "unit": found.channel.unit,
                "resampling_error_rms": found.tracked.resampling.tolist(),
                "phase_convention": PHASE,
                "orders": found.rows(orders),
                "files": [str(path) for path in written],
            }
        )
        return DONE
    from vibsim.show.order_tables import print_found

    print_found(found, orders, written)
    return DONE
