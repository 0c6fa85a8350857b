"""`vibsim contributions`."""

from __future__ import annotations

import argparse
from pathlib import Path

from vibsim.commands.common import DONE, check_speeds, print_json, tell

HELP = "what each mount, cylinder, source and engine order contributes to what a sensor feels, ranked"


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("case", type=Path, metavar="CASE.toml")
    parser.add_argument("--sensor", metavar="NAME", help="which sensor (default the first)")
    parser.add_argument("--speed-rpm", type=float, metavar="RPM", help="crank speed (default that of the run)")
    parser.add_argument("--along", choices=("X", "Y", "Z"), help="one vehicle axis (default all three together)")
    parser.add_argument("--orders", type=float, nargs="+", metavar="N", help="these alone (default all up to the 12th)")
    parser.add_argument(
        "--mounts-of", metavar="BODY", help="paths through the mounts of this body (default the engine's)"
    )
    parser.add_argument(
        "--result", type=Path, metavar="RESULT.h5", help="a steady run of the case, to say how far the model is off it"
    )
    parser.add_argument("-o", "--output", type=Path, metavar="FOLDER", help="figure and table (CSV) into a folder")


def act(options: argparse.Namespace) -> int:
    import math

    from vibsim.inputs.errors import InputError
    from vibsim.inputs.loader import load_case
    from vibsim.studies.contributions import contributions
    from vibsim.studies.steady_point import at_steady_step

    check_speeds("--speed-rpm", [] if options.speed_rpm is None else [options.speed_rpm])
    case_file, note = at_steady_step(load_case(options.case))
    tell(note)
    run, sensors = case_file.case.run, [item.name for item in case_file.case.sensor]
    speed = abs(run.speed) if run is not None else 0.0
    if options.speed_rpm is not None:
        speed = options.speed_rpm * math.pi / 30.0
    if speed == 0.0:
        raise InputError("--speed-rpm: is missing, and the case has no [run] to take a speed from")
    if options.sensor is None and not sensors:
        raise InputError("sensor: is missing; contributions are to what a [[sensor]] feels")
    results = None
    if options.result is not None:
        from vibsim.results.hdf5 import read_results

        results = read_results(options.result)
    sensor = sensors[0] if options.sensor is None else options.sensor
    found = contributions(case_file, sensor, speed, options.along, options.mounts_of, results)
    if options.orders is not None:
        found = found.at(tuple(options.orders))
    written = []
    if options.output is not None:
        from vibsim.show.contributions_figure import draw_contributions
        from vibsim.studies.response import write_csv

        table = [{key: row[key] for key in ("by", "name", "rms_m_per_s2", "share")} for row in found.rows()]
        written = [*draw_contributions(found, options.output)]
        written.append(write_csv(table, options.output / "contributions.csv"))
    if options.json:
        return _print_json(found, written)
    from vibsim.show.contributions_tables import print_contributions

    print_contributions(found, written)
    return DONE


def _print_json(found, written: list[Path]) -> int:
    import math
    from dataclasses import asdict

    from vibsim.studies.blame import blame
    from vibsim.studies.response import LEFT_OUT

    verdict = blame(found)
    print_json(
        {
            "sensor": found.sensor,
            "speed_rpm": found.speed * 30.0 / math.pi,
            "axes": list(found.axes),
            "rms_m_per_s2": found.rms,
            "verdict": verdict.words,
            "blame": asdict(verdict),
            "contributions": found.rows(),
            "sum_less_total": found.gap,
            "run_less_total": found.run_gap,
            "phase_convention": "amplitude*cos(order*crank angle + phase)",
            "left_out": LEFT_OUT,
            "files": [str(path) for path in written],
        }
    )
    return DONE
