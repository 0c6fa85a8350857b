"""`vibsim compare` of results files and sweeps."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from vibsim.commands.common import DONE, check_number, print_json, warn

if TYPE_CHECKING:
    from vibsim.results.labelled import Group


def act_on_results(options: argparse.Namespace) -> int:
    """Compare runs with runs or sweeps with sweeps."""
    from vibsim.inputs.errors import InputError
    from vibsim.results.hdf5 import read_results
    from vibsim.studies.compare_runs import PERCENT, RESIDUALS
    from vibsim.studies.sweep.read import is_sweep

    for word, given in (("--speeds-rpm", options.speeds_rpm), ("--same", options.same)):
        if given is not None:
            raise InputError(f"{word}: is for case files; results were run at their own speed and load")
    check_number("--significant-percent", options.significant_percent, 0.0, 1000.0)
    check_number("--significant-residuals", options.significant_residuals, 0.0, 1e6)
    percent = PERCENT if options.significant_percent is None else options.significant_percent
    residuals = RESIDUALS if options.significant_residuals is None else options.significant_residuals
    names = _names(options.cases)
    found = {name: read_results(path) for name, path in names.items()}
    sweeps = [name for name, results in found.items() if is_sweep(results)]
    if sweeps and len(sweeps) < len(found):
        raise InputError(f"compare: got runs and sweeps; {sweeps[0]} is a sweep, give one kind")
    if sweeps:
        return _sweeps(found, percent, residuals, options)
    if options.of:
        raise InputError("--of: is for sweeps; of runs all levels and orders are compared")
    return _runs(found, percent, residuals, options)


def _names(paths: list[Path]) -> dict[str, Path]:
    """File names, with their folders where they would be the same."""
    from vibsim.inputs.errors import InputError

    stems = [path.stem for path in paths]
    names = stems if len(set(stems)) == len(stems) else [str(path.with_suffix("")) for path in paths]
    if len(set(names)) < len(names):
        raise InputError(f"compare: got {[str(path) for path in paths]}; a file stands twice")
    return dict(zip(names, paths, strict=True))


def _runs(found: dict[str, Group], percent: float, residuals: float, options: argparse.Namespace) -> int:
    from vibsim.studies.compare_runs import as_dict, compare_runs

    compared = compare_runs(found, percent, residuals)
    written = []
    if options.output is not None:
        from vibsim.show.compare_runs_figure import draw_run_comparison

        written = draw_run_comparison(compared, options.output)
    if options.json:
        print_json(as_dict(compared) | {"files": [str(path) for path in written]})
        return DONE
    from vibsim.show.compare_runs_tables import print_run_comparison

    print_run_comparison(compared, written)
    return DONE


def _sweeps(found: dict[str, Group], percent: float, residuals: float, options: argparse.Namespace) -> int:
    from vibsim.studies.compare_sweeps import as_dict, compare_sweeps

    compared = compare_sweeps(found, options.of, percent, residuals)
    warn(list(compared.notes))
    written = []
    if options.output is not None:
        from vibsim.show.compare_sweeps_figure import draw_sweep_comparison

        written = draw_sweep_comparison(compared, options.output)
    if options.json:
        print_json(as_dict(compared) | {"files": [str(path) for path in written]})
        return DONE
    from vibsim.show.compare_sweeps_tables import print_sweep_comparison

    print_sweep_comparison(compared, written)
    return DONE
