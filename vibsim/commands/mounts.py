"""`vibsim mounts`."""

from __future__ import annotations

import argparse
from pathlib import Path

from vibsim.commands.common import DONE, print_json, tell

HELP = "list the mounts with their rates at rest, dynamic stiffness and loss angle"


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("case", type=Path, metavar="CASE.toml")
    parser.add_argument(
        "--frequency-hz", type=float, nargs="+", metavar="HZ", help="of the dynamic stiffness (default 10 30 100)"
    )
    parser.add_argument(
        "--amplitude-mm", type=float, default=0.1, help="at which friction is made linear (default 0.1)"
    )
    parser.add_argument("--output", type=Path, metavar="FOLDER", help="write a figure of each mount there")


def act(options: argparse.Namespace) -> int:
    from vibsim.inputs.errors import InputError
    from vibsim.inputs.loader import load_case
    from vibsim.studies.mounts import FREQUENCIES, find_mounts
    from vibsim.studies.steady_point import at_steady_step

    frequencies = tuple(options.frequency_hz or FREQUENCIES)
    for value in frequencies:
        if not 1e-3 <= value <= 1e4:
            raise InputError(f"--frequency-hz: got {value:g}; must be 0.001 to 10000")
    if not 1e-4 <= options.amplitude_mm <= 100.0:
        raise InputError(f"--amplitude-mm: got {options.amplitude_mm:g}; must be 0.0001 to 100")
    case_file, note = at_steady_step(load_case(options.case))
    tell(note)
    found = find_mounts(case_file, frequencies, 1e-3 * options.amplitude_mm)
    figures = []
    if options.output is not None:
        from vibsim.show.mount_figures import draw_mounts

        figures = draw_mounts(found, options.output)
    if options.json:
        print_json(
            {
                "amplitude_mm": 1e3 * found.amplitude,
                "mounts": [seen.as_dict(found.frequencies) for seen in found.mounts],
                "notes": list(found.notes),
                "figures": [str(path) for path in figures],
            }
        )
        return DONE
    from vibsim.show.mount_tables import print_mounts

    print_mounts(found, figures)
    return DONE
