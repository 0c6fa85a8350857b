"""`vibsim fit`."""

from __future__ import annotations

import argparse
from pathlib import Path

from vibsim.commands.common import DONE, print_json

HELP = "fit a mount law to measured dynamic stiffness and print its keys"


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("data", type=Path, metavar="FILE.csv")
    parser.add_argument(
        "--law",
        choices=("relaxation", "friction", "hydraulic", "loss_factor"),
        required=True,
        help="friction takes amplitude_mm, stiffness_N_per_mm (and loss_angle_deg); the others frequency_Hz, "
        "stiffness_N_per_mm, loss_angle_deg",
    )
    parser.add_argument("--elements", type=int, default=3, help="of a relaxation chain (default 3)")
    parser.add_argument(
        "--piston-area-mm2",
        type=float,
        default=2500.0,
        help="of a hydraulic mount; sets the scale of its volumes, the stiffness does not show it (default 2500)",
    )
    parser.add_argument(
        "--frequency-hz", type=float, help="at which loss angles over amplitude were measured (law friction)"
    )
    parser.add_argument("--output", type=Path, metavar="FOLDER", help="write a figure of data, fit and error there")


def act(options: argparse.Namespace) -> int:
    from vibsim.inputs.errors import InputError
    from vibsim.inputs.mount_models import MOST_ELEMENTS
    from vibsim.studies.mount_fit import as_dict, fit_file

    if not 1 <= options.elements <= MOST_ELEMENTS:
        raise InputError(f"--elements: got {options.elements}; must be 1 to {MOST_ELEMENTS}")
    if not 1.0 <= options.piston_area_mm2 <= 1e6:
        raise InputError(f"--piston-area-mm2: got {options.piston_area_mm2:g}; must be 1 to 1000000")
    if options.frequency_hz is not None and not 1e-3 <= options.frequency_hz <= 1e4:
        raise InputError(f"--frequency-hz: got {options.frequency_hz:g}; must be 0.001 to 10000")
    if options.frequency_hz is not None and options.law != "friction":
        raise InputError(f"--frequency-hz: got {options.frequency_hz:g}; only for --law friction")
    area = 1e-6 * options.piston_area_mm2
    fit = fit_file(options.data, options.law, options.elements, area, options.frequency_hz)
    figures = []
    if options.output is not None:
        from vibsim.show.mount_figures import draw_fit

        figures = draw_fit(fit, options.output)
    if options.json:
        print_json(as_dict(fit) | {"figures": [str(path) for path in figures]})
        return DONE
    from vibsim.show.mount_tables import print_fit

    print_fit(fit, figures)
    return DONE
