"""`vibsim sweep`."""

from __future__ import annotations

import argparse
import os
from pathlib import Path

from vibsim.commands.common import DONE, FAILED, INTERRUPTED, check_number, complain, print_json

# matrices here are small: more threads would only take each other's cores
THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
# of the process that tidies up after workers, when they were stopped: it does, and that is nobody's concern
UNSAID = "ignore::UserWarning:multiprocessing.resource_tracker"
HELP = "many points over any numeric keys of a case, on all cores or a cluster, resumable, into one file"
DETAIL = """
an axis is KEY=VALUES; the key as error lines name it, with [name] or [1] for one of a list and [*] for all of them:
  --over run.speed_rpm=1000:6000:11               from, to, count
  --over run.load=0.2,0.5,1                       a list
  --over "mount[*].stiffness_N_per_mm[3]=log:50:500:7"
  --over "mount[rear left].damping_N_s_per_mm[*]*=0.5:2:5"   times what the case says
  --over points.csv                               a line of keys, then a line per point
  --sample latin_hypercube --points 200 --over run.speed_rpm=1000:6000 --over run.load=0.2:1
each point of a steady run is a periodic state, found from its neighbour's: its levels, orders, exposure, torque and
pressure are kept. Of a case with another run.kind (run_up, road, load_step, programme, ...) each point is that run by
itself: peaks, levels, exposure, times and what came of every step are kept. --histories keeps every variable too, over
a cycle or over time. The sweep may be stopped or killed at any moment: --resume computes what is missing.
"""


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.epilog = DETAIL
    parser.add_argument("case", type=Path, nargs="+", metavar="CASE.toml")
    parser.add_argument("--over", action="append", default=[], metavar="KEY=VALUES", help="an axis, or a CSV of points")
    parser.add_argument("--sample", choices=("latin_hypercube", "sobol"), help="draw points from ranges KEY=from:to")
    parser.add_argument("--points", type=int, metavar="N", help="how many to draw")
    parser.add_argument("--seed", type=int, default=1, metavar="N", help="of the drawing (default 1)")
    parser.add_argument("--histories", action="store_true", help="keep every variable too, over a cycle or time")
    parser.add_argument("-o", "--output", type=Path, metavar="SWEEP.h5", help="the file (default CASE-sweep.h5 here)")
    parser.add_argument("--resume", action="store_true", help="go on with a sweep that was stopped")
    parser.add_argument("--again", action="store_true", help="with --resume: try anew the points that failed")
    parser.add_argument(
        "--workers", type=int, metavar="N", help="processes (default one per core); 1 works in this one"
    )
    parser.add_argument(
        "--cluster", metavar="ADDRESS", help="tcp://host:port of a Dask scheduler, or local to start one"
    )
    parser.add_argument("--dry-run", action="store_true", help="print points, size and time, compute a few to tell")


def act(options: argparse.Namespace) -> int:
    for name in THREADS:  # read when the libraries load, here and in the workers
        os.environ.setdefault(name, "1")
    os.environ.setdefault("PYTHONWARNINGS", UNSAID)
    from vibsim.inputs.loader import load_case
    from vibsim.studies.sweep.axes import read_points
    from vibsim.studies.sweep.plan import Plan

    check_number("--workers", options.workers, 1, 4096)
    check_number("--seed", options.seed, 0, 2**32 - 1)
    _check_output(options.output)
    cases = tuple(load_case(path) for path in options.case)
    plan = Plan(cases, read_points(options.over, options.sample, options.points, options.seed), options.histories)
    plan.check()
    if options.dry_run:
        return _dry_run(plan, options)
    return _sweep(plan, options)


def _check_output(path: Path | None) -> None:
    """Raise InputError for what cannot be the sweep file."""
    from vibsim.inputs.errors import InputError

    if path is not None and (path.is_dir() or path.suffix != ".h5"):
        what = "is a folder" if path.is_dir() else "does not end in .h5"
        raise InputError(f"-o: got '{path}'; {what}; a sweep is one file, such as {path.with_suffix('') / 'sweep.h5'}")


def _dry_run(plan, options: argparse.Namespace) -> int:
    from vibsim.show.sweep_tables import print_estimate
    from vibsim.studies.sweep.engines import available_cores
    from vibsim.studies.sweep.estimate import estimate

    found = estimate(plan, options.workers or available_cores())
    if options.json:
        print_json(found)
        return DONE
    print_estimate(found, plan)
    return DONE


def _sweep(plan, options: argparse.Namespace) -> int:
    import contextlib

    from vibsim.show.progress import ProgressLine
    from vibsim.show.sweep_tables import print_sweep
    from vibsim.studies.sweep.engines import cluster, in_process, process_pool
    from vibsim.studies.sweep.sweep import run_sweep

    path = options.output or Path(f"{plan.cases[0].name}-sweep.h5")
    with contextlib.ExitStack() as stack:
        if options.cluster:
            address = None if options.cluster == "local" else options.cluster
            engine = stack.enter_context(cluster(address, options.workers))
        else:
            engine = in_process() if options.workers == 1 else process_pool(options.workers)
        progress = stack.enter_context(ProgressLine())
        try:
            state = run_sweep(plan, path, engine, options.resume, options.again, progress)
        except KeyboardInterrupt:
            complain([f"stopped; every finished point is in {path}; the same command with --resume goes on"])
            return INTERRUPTED
    if options.json:
        print_json(state.as_dict() | {"file": str(path)})
    else:
        print_sweep(state, path, engine.words)
    return FAILED if state.failed else DONE
