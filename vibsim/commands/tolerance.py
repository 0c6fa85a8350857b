"""`vibsim tolerance`."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from vibsim.commands.common import DONE, check_speeds, print_json
from vibsim.engine.tolerances import SOURCES

if TYPE_CHECKING:
    from vibsim.studies.tolerance import Rotor

HELP = "free forces of engines as built: mass scatter, angle errors, balance grade"


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("case", type=Path, metavar="CASE.toml")
    for source in SOURCES:
        parser.add_argument(
            source.option,
            type=float,
            dest=source.key,
            metavar="±" + source.unit.replace(" ", "-").replace("°", "deg").upper(),
            help=f"{source.words}, half-width of its tolerance (usual {source.usual:g})",
        )
    parser.add_argument("--samples", type=int, default=10_000, metavar="N", help="engines built (default 10000)")
    parser.add_argument("--seed", type=int, default=1, metavar="N", help="of the random draw (default 1)")
    parser.add_argument(
        "--distribution",
        choices=("uniform", "normal"),
        default="uniform",
        help="evenly within the tolerance, or normal with the tolerance at three standard deviations",
    )
    parser.add_argument("--speed-rpm", type=float, metavar="RPM", help="crank speed (default that of the run)")
    parser.add_argument("--grade", metavar="G", help="balance quality grade of ISO 21940-11, as 40 or G40")
    parser.add_argument("--rotor-mass-kg", type=float, metavar="KG", help="mass of the balanced rotor, for the grade")
    parser.add_argument(
        "--rotor-centre-mm",
        type=float,
        metavar="MM",
        help="place of the rotor's centre of mass along the crank (default the middle of the throws)",
    )
    parser.add_argument("-o", "--output", type=Path, metavar="FOLDER", help="draw spread and shares into a folder")


def act(options: argparse.Namespace) -> int:
    import math

    from vibsim.inputs.loader import load_case
    from vibsim.show.progress import ProgressLine
    from vibsim.studies.tolerance import Plan, find_scatter
    from vibsim.studies.tolerance_rows import as_dict

    check_speeds("--speed-rpm", [] if options.speed_rpm is None else [options.speed_rpm])
    rotor = _rotor(options)
    case_file = load_case(options.case)
    given = {source.key: getattr(options, source.key) for source in SOURCES}
    half_widths = {s.key: given[s.key] * s.factor for s in SOURCES if given[s.key] is not None}
    plan = Plan(half_widths, options.distribution, options.samples, options.seed)
    speed = None if options.speed_rpm is None else options.speed_rpm * math.pi / 30.0
    with ProgressLine() as progress:
        scatter = find_scatter(case_file, plan, speed, rotor, progress)
    written = []
    if options.output is not None:
        from vibsim.show.tolerance_figures import draw_scatter

        written = draw_scatter(scatter, case_file.case.case.title or case_file.name, options.output)
    if options.json:
        print_json(as_dict(scatter) | {"files": [str(path) for path in written]})
        return DONE
    from vibsim.show.tolerance_tables import print_scatter

    print_scatter(scatter, written)
    return DONE


def _rotor(options: argparse.Namespace) -> Rotor | None:
    """Grade and mass of the rotor, both or neither."""
    import math

    from vibsim.engine.balance_grade import parse_grade
    from vibsim.inputs.errors import InputError
    from vibsim.studies.tolerance import Rotor

    grade, mass, centre = options.grade, options.rotor_mass_kg, options.rotor_centre_mm
    if grade is None and mass is None:
        if centre is not None:
            raise InputError("--rotor-centre-mm: needs --grade and --rotor-mass-kg too")
        return None
    if mass is None:
        raise InputError("--rotor-mass-kg: is missing; --grade needs the mass of the balanced rotor, the case has none")
    if grade is None:
        raise InputError("--grade: is missing; --rotor-mass-kg is for the balance grade alone, give for instance G40")
    if not (math.isfinite(mass) and mass > 0.0):
        raise InputError(f"--rotor-mass-kg: got {mass:g}; must be more than 0")
    return Rotor(parse_grade(grade), mass, None if centre is None else 1e-3 * centre)
