"""`vibsim size`."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from vibsim.commands.common import DONE, check_new_case, check_number, print_json, write_new

if TYPE_CHECKING:
    pass

HELP = "mount rates, places, angles and damping for goals within limits, verified by runs, with manufacturing scatter"
DETAIL = """
what may change and what for stands in a [size] table, in the case or in a file of its own (--spec):
  [size]             speeds_rpm = [from, to], points, orders: where goals over speeds are read
  [[size.variable]]  mounts, key (as in the case: stiffness_N_per_mm, at_mm, axes_deg, ...), axis, range, step or
                     catalogue, mirror
  [[size.ratio]]     mounts, over, under, range: of one axis' stiffness over another's
  [[size.goal]]      kind and its keys, target; several goals give a front to choose from
  [[size.limit]]     kind and its keys, most or least
  [size.scatter]     rate, damping, position_mm, ageing, temperature, samples, seed
kinds: sensor, mount_force (over orders and speeds); deflection, rest_force, movement, clearance (at rest under weight,
torque_N_m, acceleration_g or a load_case); decoupling, mode_frequency, order_gap, separation (modes)
examples: configs/sizing
"""


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.epilog = DETAIL
    parser.add_argument("case", type=Path, metavar="CASE.toml")
    parser.add_argument("--spec", type=Path, metavar="FILE", help="file with the [size] table (default the case's own)")
    parser.add_argument("--evaluations", type=int, metavar="N", help="sets of mounts to ask (default 12000)")
    parser.add_argument("--seed", type=int, default=1, metavar="N", help="of the search (default 1)")
    parser.add_argument("--choose", type=int, metavar="N", help="row of the choices to take (default best all round)")
    parser.add_argument("--no-runs", action="store_true", help="do not verify in the time domain")
    parser.add_argument("--no-scatter", action="store_true", help="leave manufacturing scatter out")
    parser.add_argument("--write", type=Path, metavar="NEW.toml", help="write the case with the new mounts in it")
    parser.add_argument("-o", "--output", type=Path, metavar="FOLDER", help="figures into a folder")


def act(options: argparse.Namespace) -> int:
    from vibsim.inputs.loader import load_case
    from vibsim.show.progress import ProgressLine
    from vibsim.studies.sizing.rows import as_dict
    from vibsim.studies.sizing.size import size, with_spec

    check_number("--evaluations", options.evaluations, 100, 10_000_000)
    check_number("--seed", options.seed, 0, 2**32 - 1)
    case_file = load_case(options.case)
    if options.spec is not None:
        case_file = with_spec(case_file, _text(options.spec), str(options.spec))
    check_new_case(options.write, case_file)
    with ProgressLine() as progress:
        sized = size(
            case_file,
            options.evaluations or 12_000,
            options.seed,
            options.choose,
            not options.no_runs,
            not options.no_scatter,
            progress,
        )
    written = [] if options.write is None else [write_new(sized.case_file.text, options.write)]
    if options.output is not None:
        from vibsim.show.sizing_figures import draw_sizing

        written += draw_sizing(sized, case_file.case.case.title or case_file.name, options.output)
    if options.json:
        print_json(as_dict(sized) | {"files": [str(path) for path in written]})
        return DONE
    from vibsim.show.sizing_tables import print_sizing

    print_sizing(sized, written)
    return DONE


def _text(path: Path) -> str:
    from vibsim.inputs.errors import InputError

    try:
        return path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        why = error.strerror if isinstance(error, OSError) else "not text in UTF-8"
        raise InputError(f"--spec: got '{path}'; cannot be read ({why})") from None
