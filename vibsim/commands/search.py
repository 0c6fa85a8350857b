"""`vibsim search`."""

from __future__ import annotations

import argparse
from pathlib import Path

from vibsim.commands.common import DONE, angle_range, check_number, print_json

HELP = "crankpin and bank angles that shake least, under limits"


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("case", type=Path, metavar="CASE.toml")
    parser.add_argument(
        "--bank-deg", type=float, nargs=2, metavar=("FROM", "TO"), help="angle between two banks (default as drawn)"
    )
    parser.add_argument(
        "--step-deg", type=float, metavar="DEG", help="of the grid (default the finest with about two million layouts)"
    )
    parser.add_argument(
        "--most-splay-deg",
        type=float,
        metavar="DEG",
        help="let cylinders side by side have pins this far apart (default: who shares a crankpin keeps sharing it)",
    )
    parser.add_argument("--most-bearings", type=int, metavar="N", help="main bearings")
    parser.add_argument("--most-uneven", type=float, metavar="X", help="longest firing interval over the even one")
    parser.add_argument("--widest-mm", type=float, metavar="MM", help="across two banks of cylinders, without heads")
    parser.add_argument("--most-added-kg", type=float, metavar="KG", help="of the best two counterweights")
    parser.add_argument(
        "--weight-radius-mm", type=float, metavar="MM", help="from the crank axis to them (default the throw radius)"
    )
    parser.add_argument("--highest-order", type=int, default=4, metavar="N", help="counted (default 4)")
    parser.add_argument("-o", "--output", type=Path, metavar="FOLDER", help="draw the layouts into a folder")


def act(options: argparse.Namespace) -> int:
    import math

    from vibsim.inputs.loader import load_case
    from vibsim.show.progress import ProgressLine
    from vibsim.studies.search.find import as_dict, find_search
    from vibsim.studies.search.scan import Limits

    banks = None if options.bank_deg is None else angle_range("--bank-deg", options.bank_deg, 0.0, 180.0)
    check_number("--step-deg", options.step_deg, 0.5, 180.0)
    check_number("--most-splay-deg", options.most_splay_deg, 0.0, 180.0)
    check_number("--most-bearings", options.most_bearings, 2, 100)
    check_number("--most-uneven", options.most_uneven, 1.0, 100.0)
    check_number("--widest-mm", options.widest_mm, 1.0, 1e5)
    check_number("--most-added-kg", options.most_added_kg, 0.0, 1e5)
    check_number("--weight-radius-mm", options.weight_radius_mm, 0.1, 1e4)
    check_number("--highest-order", options.highest_order, 1, 8)
    case_file = load_case(options.case)

    def given(value: float | None, scale: float) -> float | None:
        return None if value is None else scale * value

    def limit(value: float | None, scale: float = 1.0) -> float:
        return math.inf if value is None else scale * value

    limits = Limits(
        limit(options.most_uneven),
        limit(options.most_bearings),
        limit(options.widest_mm, 1e-3),
        limit(options.most_added_kg),
    )
    step, splay = (given(value, math.pi / 180.0) for value in (options.step_deg, options.most_splay_deg))
    radius = given(options.weight_radius_mm, 1e-3)
    with ProgressLine() as progress:
        found = find_search(case_file, limits, banks, step, splay, options.highest_order, radius, progress)
    written = []
    if options.output is not None:
        from vibsim.show.search_figures import draw_search

        written = draw_search(found, case_file.case.case.title or case_file.name, options.output)
    if options.json:
        print_json(as_dict(found) | {"files": [str(path) for path in written]})
        return DONE
    from vibsim.show.search_tables import print_search

    print_search(found, written)
    return DONE
