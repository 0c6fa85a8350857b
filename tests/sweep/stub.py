"""A point that costs next to nothing, for tests of the machinery; run as a program it sweeps until it is stopped."""

from __future__ import annotations

import os
import signal
import sys
import time
from pathlib import Path

import numpy as np

from tests.cases import CONFIGS
from vibsim.inputs.loader import load_case
from vibsim.results.labelled import Group
from vibsim.results.sweep_file import packed_values, shape_of
from vibsim.studies.sweep.axes import read_points
from vibsim.studies.sweep.engines import Engine, in_process, process_pool
from vibsim.studies.sweep.plan import Chain, Plan
from vibsim.studies.sweep.point import Outcome
from vibsim.studies.sweep.sweep import run_sweep

AXES = ["run.speed_rpm=1000:6000:24", "run.load=0.1:1:25"]
DEMO = CONFIGS / "v3-80-trike.toml"


def stub_plan(axes: list[str] = AXES, **changes) -> Plan:
    return Plan((load_case(DEMO),), read_points(axes), **changes)


def kept(values: np.ndarray) -> Group:
    """Quantities that follow from a point's values alone."""
    group = Group()
    group.add("order", ("order",), np.arange(4) / 2.0, "1", "order")
    group.add("level", ("order",), np.sin(values.sum() * np.arange(1, 5)), "N", "level")
    group.add("product", (), float(np.prod(values)), "1", "product")
    return group


def stub_work(text: str, chain: Chain) -> list[Outcome]:
    found = [kept(values) for values in chain.values]
    return [
        Outcome(point, packed_values(one, shape_of(one)), shape_of(one).as_text())
        for point, one in zip(chain.points, found, strict=True)
    ]


def slow_work(text: str, chain: Chain) -> list[Outcome]:
    time.sleep(0.004)
    return stub_work(text, chain)


def deadly_work(text: str, chain: Chain) -> list[Outcome]:
    """Takes its worker with it at the point whose number is 300."""
    if 300 in chain.points:
        os.kill(os.getpid(), signal.SIGKILL)
    return stub_work(text, chain)


def sweep(path: Path, resume: bool, engine: Engine | None = None) -> None:
    run_sweep(stub_plan(), path, engine or in_process(), resume, task=slow_work)


if __name__ == "__main__":
    sweep(Path(sys.argv[1]), "--resume" in sys.argv, process_pool(2) if "--pool" in sys.argv else None)
