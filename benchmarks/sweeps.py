"""How fast a sweep goes: a map on one core and on two, what its machinery costs, and how it grows with the points."""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from benchmarks.figure import Figure
from vibsim.inputs.loader import load_case
from vibsim.results.labelled import Group
from vibsim.results.sweep_file import packed_values, shape_of
from vibsim.studies.sweep.axes import read_points
from vibsim.studies.sweep.engines import Engine, in_process, process_pool
from vibsim.studies.sweep.plan import Chain, Plan
from vibsim.studies.sweep.point import Outcome, work
from vibsim.studies.sweep.sweep import Task, journal_path, make_file, read_journal, run_sweep

MAP, QUICK_MAP = ["run.speed_rpm=2500:6000:20", "run.load=0.1:1:10"], ["run.speed_rpm=2500:6000:8", "run.load=0.1:1:8"]
MANY, FEW = 100_000, 1_000  # points of the stub
KEPT = 500  # numbers of a stub's point


def stub(text: str, chain: Chain) -> list[Outcome]:
    """Points that cost next to nothing."""
    group = Group()
    group.add("order", ("order",), np.arange(KEPT), "1", "order")
    group.add("level", ("order",), np.full(KEPT, 1.0), "N", "level")
    shape = shape_of(group)
    words, values = shape.as_text(), packed_values(group, shape)
    return [Outcome(point, values, words) for point in chain.points]


def _seconds(plan: Plan, path: Path, engine: Engine, task: Task = work) -> float:
    begin = time.perf_counter()
    state = run_sweep(plan, path, engine, task=task)
    if state.failed:
        raise RuntimeError(f"{state.failed} points failed: {next(iter(state.reasons.values()))}")
    return time.perf_counter() - begin


def sweep_figures(demo: Path, repeats: int) -> list[Figure]:
    """The map of the demo, and a stub's points."""
    with tempfile.TemporaryDirectory() as folder:
        return _map_figures(demo, Path(folder), repeats) + _stub_figures(demo, Path(folder), repeats)


def _map_figures(demo: Path, folder: Path, repeats: int) -> list[Figure]:
    """Points per second once the workers are there: what a sweep of few points takes is taken off one of many."""
    case = load_case(demo)
    whole = Plan((case,), read_points(QUICK_MAP if repeats < 3 else MAP))
    little = Plan((case,), read_points(["run.speed_rpm=2500,2600", "run.load=0.1:1:8"]))
    _seconds(little, folder / "first.h5", process_pool(1))  # compiles what is not compiled yet
    rates = []
    for workers in (1, 2):
        start = _seconds(little, folder / f"l{workers}.h5", process_pool(workers))
        took = _seconds(whole, folder / f"w{workers}.h5", process_pool(workers))
        rates.append((whole.total - little.total) / (took - start))
    efficiency = 0.5 * rates[1] / rates[0]
    return [
        Figure("sweep_points_per_s_1", "points of the map, one process", "1/s", rates[0], rates[0]),
        Figure("sweep_points_per_s_2", "points of the map, two processes", "1/s", rates[1], rates[1]),
        Figure("sweep_efficiency", "scaling efficiency of two processes", "", efficiency, efficiency, 0.9, False),
    ]


def _stub_figures(demo: Path, folder: Path, repeats: int) -> list[Figure]:
    count = FEW if repeats < 3 else MANY
    case = load_case(demo)
    plans = [Plan((case,), read_points([f"run.speed_rpm=2500:6000:{n}"])) for n in (FEW, count)]
    few = _seconds(plans[0], folder / "few.h5", in_process(), stub)
    before = _peak()
    path = folder / "many.h5"
    many = _seconds(plans[1], path, in_process(), stub)
    grown = (_peak() - before) / 1e6
    size = path.stat().st_size / count
    _stopped(plans[1], folder / "again.h5")
    begin = time.perf_counter()
    state = read_journal(journal_path(folder / "again.h5"))
    resumed = time.perf_counter() - begin
    begin = time.perf_counter()
    make_file(folder / "again.h5", state)
    made = time.perf_counter() - begin
    each = 1e3 * many / count
    return [
        Figure("sweep_overhead_ms", f"machinery per point, of {count}", "ms", each, max(each, 1e3 * few / FEW), 1.0),
        Figure("sweep_file_bytes", f"of the file per point, {8 * KEPT} of them values", "B", size, size),
        Figure("sweep_memory_mb", f"peak memory more for {count} points than for {FEW}", "MB", grown, grown, 100.0),
        Figure("sweep_resume_s", f"reading a journal of {count - 1} points", "s", resumed, resumed),
        Figure("sweep_file_s", f"making the file of {count - 1} points", "s", made, made),
    ]


def _stopped(plan: Plan, path: Path) -> None:
    """A sweep whose last point failed, so that its journal stays."""

    def all_but_last(text: str, chain: Chain) -> list[Outcome]:
        return [
            outcome if outcome.point < plan.total - 1 else Outcome(outcome.point, None, reason="left out")
            for outcome in stub(text, chain)
        ]

    run_sweep(plan, path, in_process(), task=all_but_last)


def _peak() -> float:
    """Peak memory of this process, bytes."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * (1 if sys.platform == "darwin" else 1024)
