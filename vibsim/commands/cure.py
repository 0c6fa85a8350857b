"""`vibsim cure`."""

from __future__ import annotations

import argparse
import math
from pathlib import Path
from typing import TYPE_CHECKING

from vibsim.commands.common import DONE, check_new_case, check_speeds, print_json, write_new

if TYPE_CHECKING:
    from vibsim.inputs.loader import CaseFile
    from vibsim.post.weighting import Contact
    from vibsim.studies.cures.cure import Aim, Cure
    from vibsim.studies.cures.shafts import Box

HELP = "counterweights, balance shafts or piston masses that take a free force, a couple or a level away"
HIGHEST_ORDER = 8.0  # of a balance shaft, as in the case file
# which options belong to which means
OWN = {
    "counterweights": ("planes_mm", "most_unbalance_kg_mm"),
    "shafts": ("order", "most_shafts", "along_mm", "across_mm", "up_mm", "most_unbalance_kg_mm"),
    "mass": ("cylinders", "most_added_g"),
}
OF_A_SENSOR = ("sensor", "contact")


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("case", type=Path, metavar="CASE.toml")
    parser.add_argument(
        "--by", choices=tuple(OWN), default="counterweights", help="what may be added (default %(default)s)"
    )
    parser.add_argument(
        "--goal",
        choices=("force", "couple", "sensor"),
        default="force",
        help="what shall be least; force and couple each leave the other what freedom there is (default %(default)s)",
    )
    parser.add_argument("--speeds-rpm", type=float, nargs="+", metavar="RPM", help="default that of the run")
    parser.add_argument("--sensor", metavar="NAME", help="goal sensor: which one (default the first)")
    parser.add_argument(
        "--contact",
        choices=("plain", "seat", "grip"),
        help="goal sensor: weighted as a seat (ISO 2631-1), a grip (ISO 5349-1), or not (default)",
    )
    parser.add_argument(
        "--planes-mm", type=float, nargs="+", metavar="X", help="counterweights: places along the crank"
    )
    parser.add_argument("--order", type=float, metavar="N", help="shafts: engine order (default 1)")
    parser.add_argument("--most-shafts", type=int, choices=(1, 2), help="shafts: how many at most (default 1)")
    for name, words in (
        ("--along-mm", "along the crank (default that of the cylinders)"),
        ("--across-mm", "along engine y (default 0 0)"),
        ("--up-mm", "along engine z (default 0 0)"),
    ):
        parser.add_argument(name, type=float, nargs=2, metavar=("FROM", "TO"), help=f"shafts: space {words}")
    parser.add_argument("--most-unbalance-kg-mm", type=float, metavar="U", help="shafts, and the goal sensor: of each")
    parser.add_argument(
        "--cylinders", nargs="+", metavar="NAME", help="mass: whose pistons may be heavier (default all)"
    )
    parser.add_argument(
        "--most-added-g", type=float, metavar="G", help="mass: on each at most (default 3 × what there is)"
    )
    parser.add_argument("--write", type=Path, metavar="NEW.toml", help="write the case with the cure in it")
    parser.add_argument("-o", "--output", type=Path, metavar="FOLDER", help="draw before and after into a folder")


def act(options: argparse.Namespace) -> int:
    from vibsim.inputs.loader import load_case
    from vibsim.studies.cures.cure import Aim, cured
    from vibsim.studies.cures.outcome import outcome

    _check(options)
    case_file = load_case(options.case)
    check_new_case(options.write, case_file)
    contact: Contact = options.contact or "plain"
    aim = Aim(options.goal, _speeds(options, case_file), options.sensor, contact)
    cure = _find(options, case_file, aim)
    found = outcome(case_file, cure, aim, options.order or 1.0)
    empty = not (cure.counterweights or cure.shafts or cure.masses)
    written = [] if options.write is None or empty else [write_new(cured(case_file, cure).text, options.write)]
    if options.output is not None:
        from vibsim.show.cure_figures import draw_cure

        written += draw_cure(case_file, cure, aim.speeds[0], found, options.output)
    if options.json:
        print_json(found | {"files": [str(path) for path in written]})
        return DONE
    from vibsim.show.cure_tables import print_cure

    print_cure(found, written)
    return DONE


def _find(options: argparse.Namespace, case_file: CaseFile, aim: Aim) -> Cure:
    import numpy as np

    from vibsim.studies.cures.cure import by_counterweights, by_mass, by_shafts

    most = None if options.most_unbalance_kg_mm is None else 1e-3 * options.most_unbalance_kg_mm
    if options.by == "shafts":
        box = _box(options, case_file, aim.speeds[0])
        return by_shafts(case_file, aim, options.order or 1.0, options.most_shafts or 1, box, most)
    if options.by == "mass":
        engine = case_file.case.engine
        names = options.cylinders or [cylinder.name for cylinder in (engine.cylinder if engine else ())]
        return by_mass(case_file, aim, names, None if options.most_added_g is None else 1e-3 * options.most_added_g)
    planes = None if options.planes_mm is None else 1e-3 * np.array(options.planes_mm)
    return by_counterweights(case_file, aim, planes, most)


def _box(options: argparse.Namespace, case_file: CaseFile, speed: float) -> Box:
    from vibsim.studies.balance import find_balance
    from vibsim.studies.cures.shafts import Box, block_length

    def span(given: list[float] | None, usual: tuple[float, float]) -> tuple[float, float]:
        return usual if given is None else (1e-3 * given[0], 1e-3 * given[1])

    along = span(options.along_mm, block_length(find_balance(case_file, speed)))
    return Box(along, span(options.across_mm, (0.0, 0.0)), span(options.up_mm, (0.0, 0.0)))


def _speeds(options: argparse.Namespace, case_file: CaseFile) -> tuple[float, ...]:
    from vibsim.inputs.errors import InputError

    if options.speeds_rpm is not None:
        return tuple(speed * math.pi / 30.0 for speed in options.speeds_rpm)
    run = case_file.case.run
    if run is None or run.speed == 0.0:
        raise InputError("--speeds-rpm: is missing, and the case has no [run] to take a speed from")
    return (abs(run.speed),)


def _check(options: argparse.Namespace) -> None:
    from vibsim.inputs.errors import InputError

    check_speeds("--speeds-rpm", options.speeds_rpm or [])
    for means, names in OWN.items():
        for name in names:
            if getattr(options, name) is not None and name not in OWN[options.by]:
                raise InputError(f"{_option(name)}: goes with --by {means}; got --by {options.by}")
    for name in OF_A_SENSOR:
        if getattr(options, name) is not None and options.goal != "sensor":
            raise InputError(f"{_option(name)}: goes with --goal sensor; got --goal {options.goal}")
    if options.most_unbalance_kg_mm is not None and options.by == "counterweights" and options.goal != "sensor":
        raise InputError(f"--most-unbalance-kg-mm: goes with --by shafts or --goal sensor; got --goal {options.goal}")
    for place in options.planes_mm or []:
        if not -1e5 < place < 1e5:
            raise InputError(f"--planes-mm: got {place:g}; must be finite, and near the crank")
    for name in ("most_unbalance_kg_mm", "most_added_g"):
        value = getattr(options, name)
        if value is not None and not 0.0 < value < math.inf:
            raise InputError(f"{_option(name)}: got {value:g}; must be more than 0")
    if options.order is not None and not 0.0 < options.order <= HIGHEST_ORDER:
        raise InputError(f"--order: got {options.order:g}; must be more than 0 and at most {HIGHEST_ORDER:g}")
    for name in ("along_mm", "across_mm", "up_mm"):
        span = getattr(options, name)
        if span is not None and not -1e5 < span[0] <= span[1] < 1e5:
            raise InputError(
                f"{_option(name)}: got {span[0]:g} {span[1]:g}; must be two finite numbers, the smaller first"
            )


def _option(name: str) -> str:
    return "--" + name.replace("_", "-")
