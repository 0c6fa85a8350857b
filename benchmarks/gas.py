"""How long the working cycle takes to close at operating points not met before, and against SciPy on the same rates."""

from __future__ import annotations

import math
import os
import subprocess
import sys
import time
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numba import njit
from scipy.integrate import solve_ivp

from benchmarks.figure import Figure, ratio
from vibsim.engine.cycle import _burn_rule, solve_at
from vibsim.engine.cycle_kernel import _burning_share
from vibsim.engine.cycle_rates import AIR_, FUEL_, STATES, SUMS, T_, fill_rates
from vibsim.engine.cycle_setup import conditions_of, cycle_model
from vibsim.engine.cycle_solver import RepeatedCycle
from vibsim.engine.flow import STEEPEST
from vibsim.engine.layout import resolve_layout
from vibsim.inputs.loader import CaseFile, load_case

POINTS = 60
SPEEDS = (1000.0, 7000.0)  # rpm
RATE_STEP = math.radians(0.05)  # over which the burn's rate is taken for SciPy
TOLERANCE = 1e-5  # of SciPy's steps; those of the project's own leave about as much
MOST_STEP = 0.1  # rad, so that no burn is stepped over
POINT = (4000.0, 0.7)  # rpm and load of the comparison


def points_per_second(case_file: CaseFile, rng: np.random.Generator) -> float:
    """Converged operating points a second, naturally aspirated, speeds and loads at random, none met before."""
    engine = case_file.case.engine
    assert engine is not None
    cylinder = resolve_layout(engine).cylinders[0]
    speeds, loads = rng.uniform(*SPEEDS, POINTS) * math.pi / 30.0, rng.uniform(0.0, 1.0, POINTS)
    begin = time.perf_counter()
    for speed, load in zip(speeds, loads, strict=True):
        solve_at(engine, cylinder, conditions_of(engine, speed, load))
    return POINTS / (time.perf_counter() - begin)


@njit(error_model="numpy", fastmath={"contract"})
def _rates(angle, y, shut, burn_mass, model, k, sums):
    """dy/dθ (9) of the working cycle at any angle."""
    inside = angle % model.cycle
    cell = min(int(inside / model.step), model.course.shape[0] - 1)
    burn = burn_mass * _burning_share(inside, RATE_STEP, model) / RATE_STEP
    hot = (inside - model.burn_start) % model.cycle < math.pi
    feed = (burn, 0.0, 1e9, STEEPEST, hot, False)
    fill_rates(cell, inside / model.step - cell, y, feed, shut, model, k, 0, sums, 0.0)
    return k[0].copy()


class Closed(NamedTuple):
    """A converged cycle: its start, and what the rates need besides."""

    cycles: int
    start: float
    y: np.ndarray
    args: tuple


def closed_cycle(case_file: CaseFile, rpm: float, load: float) -> tuple[Closed, float]:
    """A converged cycle, and the time it took, s."""
    engine = case_file.case.engine
    assert engine is not None
    cylinder = resolve_layout(engine).cylinders[0]
    at = conditions_of(engine, rpm * math.pi / 30.0, load)
    begin = time.perf_counter()
    repeated = RepeatedCycle(cycle_model(engine, cylinder, at), _burn_rule(engine, cylinder, at))
    repeated.converge()
    own = time.perf_counter() - begin
    model, y, state = repeated.model, repeated.y.copy(), repeated.trapped()
    shut = (state.pressure, float(model.course[model.first, 0]), state.temperature)
    burn_mass = model.burnable * min(y[FUEL_], y[AIR_] / model.gas.air_per_fuel)
    args = (shut, burn_mass, model, np.zeros((1, STATES)), np.zeros(SUMS))
    return Closed(repeated.cycles, model.first * model.step, y, args), own


def scipy_seconds(closed: Closed) -> float:
    """Time of SciPy over as many cycles, s, by the faster of two methods."""
    y, model = closed.y, closed.args[2]
    scale = np.abs(y) + 1e-3 * np.where(np.arange(STATES) == T_, 400.0, y[AIR_])
    span, seconds = (closed.start, closed.start + model.cycle), []
    _rates(closed.start, y, *closed.args)
    for method in ("RK45", "LSODA"):
        begin = time.perf_counter()
        done = solve_ivp(
            _rates, span, y, method, args=closed.args, rtol=TOLERANCE, atol=TOLERANCE * scale, max_step=MOST_STEP
        )
        seconds.append(time.perf_counter() - begin)
        if not done.success or abs(done.y[T_, -1] / y[T_] - 1.0) > 1e-3:
            raise RuntimeError(f"SciPy's {method} did not close the working cycle: {done.message}")
    return min(seconds) * closed.cycles


def python_seconds(case: Path) -> float:
    """The same in a process that compiles nothing, s."""
    words = [sys.executable, "-m", "benchmarks.gas", str(case)]
    environment = os.environ | {"NUMBA_DISABLE_JIT": "1"}
    return float(subprocess.run(words, capture_output=True, text=True, check=True, env=environment).stdout)


def gas_figures(case: Path, repeats: int) -> list[Figure]:
    """Operating points a second, and SciPy with the same rates over the same number of cycles."""
    case_file, rng = load_case(case), np.random.default_rng(7)
    points_per_second(case_file, rng)
    found = [points_per_second(case_file, rng) for _ in range(repeats)]
    closed_cycle(case_file, *POINT)
    rows = []
    for _ in range(repeats):
        tries = [closed_cycle(case_file, *POINT) for _ in range(5)]
        rows.append((scipy_seconds(tries[0][0]), python_seconds(case), min(own for _, own in tries)))
    compiled, plain, own = np.array(rows).T
    return [
        Figure(
            "cycles_per_second", "converged cycles, points not met before", "1/s", max(found), min(found), 300, False
        ),
        ratio("cycle_ratio_to_scipy_jitted", "SciPy, same compiled rates and cycles", compiled, own, 7.0),
        ratio("cycle_ratio_to_scipy_python", "SciPy, same rates in Python and cycles", plain, own, 50.0),
    ]


if __name__ == "__main__":
    print(scipy_seconds(closed_cycle(load_case(Path(sys.argv[1])), *POINT)[0]))
