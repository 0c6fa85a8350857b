"""How many sets of mounts a second are answered: the demo's seat over 3 orders at 40 speeds, on one core."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np

from benchmarks.figure import Figure
from vibsim.inputs.loader import load_case
from vibsim.studies.sizing.problem import Problem
from vibsim.studies.sizing.size import with_spec

CANDIDATES = 512
TARGET = 1000.0  # a second
MOUNTS = ("front left", "front right", "rear left", "rear right")
HEAD = """
[size]
speeds_rpm = [2000, 6000]
points = 40
orders = [0.5, 1, 2]
[[size.goal]]
kind = "sensor"
sensor = "seat"
"""
VARIABLE = """
[[size.variable]]
mounts = ["{mount}"]
key = "stiffness_N_per_mm"
axis = "{axis}"
range = [40, 220]
"""


def sizing_figures(demo: Path, repeats: int) -> list[Figure]:
    """Twelve rates change in every set: its mounts packed, its rest and matrices under two torques, 120 responses."""
    spec = HEAD + "".join(VARIABLE.format(mount=mount, axis=axis) for mount in MOUNTS for axis in "xyz")
    problem = Problem(with_spec(load_case(demo), spec, "sizing"))
    low, high = problem.space.low, problem.space.high
    sets = low + np.random.default_rng(1).random((CANDIDATES, len(low))) * (high - low)
    problem.values(sets[:8])
    rates = sorted((CANDIDATES / _seconds(problem, sets) for _ in range(repeats)), reverse=True)
    meaning = "sets of mounts, 3 orders at 40 speeds"
    return [Figure("mount_sets_per_s", meaning, "1/s", rates[0], rates[-1], TARGET, False)]


def _seconds(problem: Problem, sets: np.ndarray) -> float:
    begin = time.perf_counter()
    problem.values(sets)
    return time.perf_counter() - begin
