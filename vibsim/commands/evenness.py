"""`vibsim evenness`."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from vibsim.commands.common import DONE, FAILED, check_number, check_speeds, print_json

if TYPE_CHECKING:
    from vibsim.post.weighting import Contact
    from vibsim.studies.evenness import FiringCase

HELP = "even and uneven firing side by side: torque, orders, speed, what is felt, sound"


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("cases", type=Path, nargs="+", metavar="CASE.toml")
    parser.add_argument("--speed-rpm", type=float, metavar="RPM", help="crank speed (default the first case's run)")
    parser.add_argument("--load", type=float, metavar="SHARE", help="0 to 1 (default each case's own)")
    parser.add_argument("--seat", action="append", default=[], metavar="SENSOR", help="a sensor that is a seat")
    parser.add_argument("--grip", action="append", default=[], metavar="SENSOR", help="a sensor that is a hand's grip")
    parser.add_argument("--seconds", type=float, default=4.0, help="length of the sounds (default 4)")
    parser.add_argument(
        "-o",
        "--output",
        type=Path,
        metavar="FOLDER",
        help="draw evenness.png and write sounds of one gain into a folder",
    )


def act(options: argparse.Namespace) -> int:
    import math

    from vibsim.inputs.errors import InputError
    from vibsim.inputs.loader import load_case
    from vibsim.show.progress import ProgressLine
    from vibsim.studies.evenness import compare_firing, rows

    check_speeds("--speed-rpm", [] if options.speed_rpm is None else [options.speed_rpm])
    check_number("--load", options.load, 0.0, 1.0)
    check_number("--seconds", options.seconds, 0.1, 120.0)
    case_files = [load_case(path) for path in options.cases]
    speed = options.speed_rpm
    if speed is None:
        run = case_files[0].case.run
        if run is None:
            raise InputError("--speed-rpm: is missing, and the first case has no [run] to take a speed from")
        speed = abs(run.speed) * 30.0 / math.pi
    contacts: dict[str, Contact] = {}
    contacts |= dict.fromkeys(options.seat, "seat")
    contacts |= dict.fromkeys(options.grip, "grip")
    with ProgressLine(quiet=options.json) as progress:
        found = compare_firing(case_files, speed * math.pi / 30.0, options.load, contacts, options.seconds, progress)
    written = _write(found, options.output) if options.output is not None else []
    if options.json:
        print_json({"speed_rpm": speed, "cases": rows(found), "files": [str(path) for path in written]})
    else:
        from vibsim.show.evenness_tables import print_evenness

        print_evenness(found, speed, written)
    return DONE if all(case.settled for case in found) else FAILED


def _write(found: list[FiringCase], folder: Path) -> list[Path]:
    """The picture, and the sounds: those in one unit with one gain."""
    from vibsim.results.wav import full_scale_of, write_wav
    from vibsim.show.evenness_figures import draw_evenness

    written = draw_evenness(found, folder)
    sounds = [sound for case in found for sound in case.sounds]
    for unit in dict.fromkeys(sound.unit for sound in sounds):
        alike = [sound for sound in sounds if sound.unit == unit]
        scale = full_scale_of(alike)
        written += [write_wav(sound, folder / f"{sound.name.replace('/', '-')}.wav", scale) for sound in alike]
    return written
