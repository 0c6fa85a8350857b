"""`vibsim modes`."""

from __future__ import annotations

import argparse
from pathlib import Path

from vibsim.commands.common import DONE, check_number, check_speeds, print_json, tell, warn

HELP = "natural frequencies of engine and chassis on their mounts, their axes, and the orders that cross them"
GREATEST_TORQUE = 1e6  # N m


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("case", type=Path, metavar="CASE.toml")
    parser.add_argument(
        "--crank",
        choices=("locked", "free"),
        default="locked",
        help="locked: the engine as one rigid whole, as weighed (default); free: the crank stays behind in roll",
    )
    parser.add_argument(
        "--chassis",
        choices=("held", "carried"),
        default="carried",
        help="carried: on its suspension (default); held: bodies that stand on the ground do not move",
    )
    parser.add_argument(
        "--gear", metavar="GEAR", help="modes under what the driveline delivers in this gear: 1, 2, ... or reverse"
    )
    parser.add_argument(
        "--torque-N-m",
        type=float,
        metavar="N_M",
        help="engine torque they stand under (default none, or full load with --gear)",
    )
    parser.add_argument(
        "--speed-rpm",
        type=float,
        nargs=2,
        metavar=("LOW", "HIGH"),
        help="map of the engine orders that cross the modes between two crank speeds",
    )
    parser.add_argument(
        "-o", "--output", type=Path, metavar="FOLDER", help="draw the mounts in three views, and the map if asked for"
    )
    parser.add_argument(
        "--animate", type=int, nargs="+", metavar="MODE", help="modes to show in motion, as GIF in the output folder"
    )


def act(options: argparse.Namespace) -> int:
    import math

    from vibsim.inputs.loader import load_case
    from vibsim.studies.frequency_map import frequency_map
    from vibsim.studies.modes import axes_dict, find_modes, torsion_rows
    from vibsim.studies.steady_point import at_steady_step

    check_number("--torque-N-m", options.torque_N_m, -GREATEST_TORQUE, GREATEST_TORQUE)
    check_speeds("--speed-rpm", options.speed_rpm or [])
    case_file, note = at_steady_step(load_case(options.case))
    tell(note)
    result = find_modes(case_file, options.crank, _gear(options.gear), options.torque_N_m, options.chassis)
    _check_animation(options, len(result.modes.frequency))
    found = None
    if options.speed_rpm is not None:
        found = frequency_map(case_file, *(value * math.pi / 30.0 for value in options.speed_rpm))
    warn(result.warnings())
    written = _draw(options, case_file, result, found)
    if options.json:
        crossings = {} if found is None else {"crossings": found.rows()}
        given = {"crank": options.crank, "chassis": options.chassis, "preload": result.preload}
        given |= {"static_tangent_of": list(result.tangent)}
        axes = {"axes": axes_dict(result.axes)} | torsion_rows(result)
        print_json(given | {"modes": result.table()} | axes | crossings | {"files": [str(path) for path in written]})
        return DONE
    from vibsim.show.modes_tables import print_modes

    print_modes(result, options.crank, found, written)
    return DONE


def _gear(word: str | None) -> int | str | None:
    return int(word) if word is not None and word.isdecimal() else word


def _check_animation(options: argparse.Namespace, count: int) -> None:
    from vibsim.inputs.errors import InputError

    for number in options.animate or []:
        if not 1 <= number <= count:
            raise InputError(f"--animate: got {number}; must be a mode from 1 to {count}")
    if options.animate and options.output is None:
        raise InputError("--animate: needs --output FOLDER to write the GIF to")


def _draw(options: argparse.Namespace, case_file, result, found) -> list[Path]:
    if options.output is None:
        return []
    from vibsim.show.mode_animation import animate_modes
    from vibsim.show.mount_layout import draw_layout
    from vibsim.show.progress import ProgressLine

    title = case_file.case.case.title or case_file.name
    written = draw_layout(result, case_file, title, options.output)
    if found is not None:
        from vibsim.show.frequency_map_figure import draw_frequency_map

        written += draw_frequency_map(found, title, options.output)
    if options.animate:
        with ProgressLine() as progress:
            written += animate_modes(result, case_file, options.animate, options.output, progress)
    return written
