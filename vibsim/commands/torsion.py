"""`vibsim torsion`."""

from __future__ import annotations

import argparse
from pathlib import Path

from vibsim.commands.common import DONE, check_number, check_speeds, print_json

HELP = "torsional vibration of crank and driveline: modes, critical speeds, shaft torques, and a damper pulley sized"


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("case", type=Path, metavar="CASE.toml")
    parser.add_argument(
        "--speed-rpm",
        type=float,
        nargs=2,
        metavar=("LOW", "HIGH"),
        help="crank speeds to look at (default about the run's, 0.25 to 1.3 times)",
    )
    parser.add_argument("--load", type=float, metavar="SHARE", help="0 to 1 (default that of the run)")
    parser.add_argument(
        "--holzer", type=int, nargs="+", metavar="MODE", help="modes to show rotor by rotor as Holzer's table"
    )
    parser.add_argument("--size-damper", action="store_true", help="size the damper at the crank's nose")
    parser.add_argument(
        "--inertia-kg-m2",
        type=float,
        nargs="+",
        metavar="KG_M2",
        help="ring inertias of the damper to try (default that of the rotor at the nose)",
    )
    parser.add_argument(
        "--greatest-loss-factor", type=float, metavar="ETA", help="of the damper's rubber (default 0.25)"
    )
    parser.add_argument("--no-runs", action="store_true", help="do not verify the damper in the time domain")
    parser.add_argument("-o", "--output", type=Path, metavar="FOLDER", help="draw figures into a folder")


def act(options: argparse.Namespace) -> int:
    import math

    from vibsim.inputs.loader import load_case
    from vibsim.show.progress import ProgressLine
    from vibsim.studies.torsion import as_dict, at_load, check_modes, torsion_of

    _check(options)
    case_file = at_load(load_case(options.case), options.load)
    speeds = None
    if options.speed_rpm is not None:
        speeds = (options.speed_rpm[0] * math.pi / 30.0, options.speed_rpm[1] * math.pi / 30.0)
    sizing = runs = None
    with ProgressLine(quiet=options.json) as progress:
        result = torsion_of(case_file, speeds, progress)
        check_modes("--holzer", options.holzer or [], result)
        if options.size_damper:
            from vibsim.studies.torsion_damper import LOSS_LIMIT, size_damper

            limit = LOSS_LIMIT if options.greatest_loss_factor is None else options.greatest_loss_factor
            sizing = size_damper(case_file, speeds, options.inertia_kg_m2, loss_limit=limit, progress=progress)
            if not options.no_runs:
                from vibsim.studies.damper_runs import damper_runs

                runs = damper_runs(case_file, sizing, progress)
    title, written = case_file.case.case.title or case_file.name, []
    if options.output is not None:
        from vibsim.show.torsion_figures import draw_torsion

        written = draw_torsion(result, sizing, runs, title, options.output)
    if options.json:
        from vibsim.studies.damper_modes import mode_rows
        from vibsim.studies.damper_runs import runs_dict
        from vibsim.studies.torsion_damper import sizing_dict

        sized = {} if sizing is None else {"damper": sizing_dict(sizing) | {"modes": mode_rows(result, sizing)}}
        if runs is not None:
            sized["damper"]["runs"] = runs_dict(runs)
        print_json(as_dict(result) | sized | {"files": [str(path) for path in written]})
        return DONE
    from vibsim.show.torsion_tables import print_torsion

    print_torsion(result, sizing, runs, title, options.holzer or [], written)
    return DONE


def _check(options: argparse.Namespace) -> None:
    from vibsim.inputs.errors import InputError

    check_speeds("--speed-rpm", options.speed_rpm or [])
    check_number("--load", options.load, 0.0, 1.0)
    check_number("--greatest-loss-factor", options.greatest_loss_factor, 0.01, 3.0)
    for inertia in options.inertia_kg_m2 or []:
        check_number("--inertia-kg-m2", inertia, 1e-9, 1e6)
    given = {"--inertia-kg-m2": options.inertia_kg_m2, "--greatest-loss-factor": options.greatest_loss_factor}
    given["--no-runs"] = options.no_runs or None
    for option, value in given.items():
        if value is not None and not options.size_damper:
            raise InputError(f"{option}: needs --size-damper")
