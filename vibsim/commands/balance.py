"""`vibsim balance`."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from vibsim.commands.common import DONE, check_speeds, print_json

if TYPE_CHECKING:
    from vibsim.inputs.loader import CaseFile
    from vibsim.studies.balance import Balance, Weight
    from vibsim.studies.position import OnePosition

HELP = "free forces and couples of a layout, and what cures them"
FRAMES = (12, 72, 360)  # fewest, usual, most


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("case", type=Path, metavar="CASE.toml")
    parser.add_argument("--speed-rpm", type=float, metavar="RPM", help="crank speed (default that of the run)")
    parser.add_argument(
        "--explain",
        type=float,
        metavar="DEG",
        help="hold the free force at this crank angle against the whole revolution",
    )
    parser.add_argument(
        "--with-counterweights", action="store_true", help="first add the crank counterweights that would cure most"
    )
    parser.add_argument(
        "-o",
        "--output",
        type=Path,
        metavar="FOLDER",
        help="draw hodographs, orders and firing; write the courses as balance.csv",
    )
    parser.add_argument(
        "--animation", action="store_true", help="with -o, draw the mechanism turning (mechanism.gif and its frames)"
    )
    parser.add_argument(
        "--frames",
        type=int,
        metavar="N",
        help=f"pictures of the animation, {FRAMES[0]} to {FRAMES[2]} (default {FRAMES[1]})",
    )
    parser.add_argument(
        "--view",
        choices=("side", "above"),
        help="where the animation's second view is from (default above if the cylinders lie flat)",
    )


def act(options: argparse.Namespace) -> int:
    import math

    from vibsim.inputs.loader import load_case
    from vibsim.studies.balance import as_dict, find_balance, weight_row
    from vibsim.studies.position import explain_position, position_row, with_counterweights

    _check(options)
    case_file = load_case(options.case)
    speed = None if options.speed_rpm is None else options.speed_rpm * math.pi / 30.0
    balance = find_balance(case_file, speed)
    added: tuple[Weight, ...] = ()
    if options.with_counterweights:
        added = balance.counterweights
        case_file = with_counterweights(case_file, added)
        balance = find_balance(case_file, speed)
    position = None if options.explain is None else explain_position(balance, math.radians(options.explain))
    written = [] if options.output is None else _draw(options, case_file, balance, position)
    if options.json:
        found = as_dict(balance) | {"counterweights_added": [weight_row(weight) for weight in added]}
        found |= {"files": [str(path) for path in written]}
        print_json(found | ({"position": position_row(balance, position)} if position else {}))
        return DONE
    from vibsim.show.balance_tables import print_balance

    print_balance(balance, added, position, written)
    return DONE


def _check(options: argparse.Namespace) -> None:
    """Raise InputError for options that do not go together or are out of range."""
    from vibsim.inputs.errors import InputError

    check_speeds("--speed-rpm", [] if options.speed_rpm is None else [options.speed_rpm])
    if options.animation and options.output is None:
        raise InputError("--animation: has nowhere to write to; give a folder with -o FOLDER")
    for option, value in (("--frames", options.frames), ("--view", options.view)):
        if value is not None and not options.animation:
            raise InputError(f"{option}: got {value}; is for --animation, which is not given")
    if options.frames is not None and not FRAMES[0] <= options.frames <= FRAMES[2]:
        raise InputError(f"--frames: got {options.frames}; must be {FRAMES[0]} to {FRAMES[2]}")


def _draw(
    options: argparse.Namespace, case_file: CaseFile, balance: Balance, position: OnePosition | None
) -> list[Path]:
    from vibsim.show.balance_figures import draw_balance
    from vibsim.show.explain_figure import draw_explanation
    from vibsim.show.histories import write_balance
    from vibsim.show.timing_wheel import draw_timing

    engine = case_file.case.engine
    assert engine is not None  # there is a balance
    title = case_file.case.case.title or case_file.name
    timing = draw_timing(balance.layout, title, options.output)
    if options.with_counterweights:
        title = f"counterweights added · {title}"
    written = draw_balance(balance, title, options.output) + timing + write_balance(balance, options.output)
    if position is not None:
        written += draw_explanation(engine, balance, position, title, options.output)
    if options.animation:
        from vibsim.show.animation import animate
        from vibsim.show.progress import ProgressLine

        with ProgressLine() as progress:
            written += animate(
                engine,
                balance,
                position,
                title,
                options.output,
                options.frames or FRAMES[1],
                progress,
                options.view,
            )
    return written
