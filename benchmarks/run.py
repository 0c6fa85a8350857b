"""How fast, how big: the figures of the demo case against their targets, on one core.

    python benchmarks/run.py [--json FILE] [--quick]

Timings are noisy, and noise only ever adds: each figure is the best of several repeats, shown with the worst; a ratio
is that of best times. SciPy writes the same output grid; with the NumPy right-hand side it covers a shorter time, and
times per simulated second are compared. Kernels are warm for everything but the cold compile.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
# read when the libraries load, here and in the commands started below
os.environ["NUMBA_NUM_THREADS"] = "1"
os.environ["OMP_NUM_THREADS"] = "1"
os.environ["OPENBLAS_NUM_THREADS"] = "1"
os.environ["MKL_NUM_THREADS"] = "1"
os.environ["PYTHONPATH"] = os.pathsep.join(filter(None, [sys.path[0], os.environ.get("PYTHONPATH")]))

import argparse
import json
import math
import subprocess
import tempfile
import time
from collections.abc import Callable
from typing import NamedTuple

import h5py
import numpy as np
from numba import njit
from rich.console import Console
from rich.table import Table
from scipy.integrate import solve_ivp

from benchmarks.exposure import exposure_figures
from benchmarks.figure import Figure, ratio
from benchmarks.gas import gas_figures
from benchmarks.gas_runs import gas_run_figures
from benchmarks.layouts import layout_figures
from benchmarks.modes import mode_figures
from benchmarks.mounts import mount_figures
from benchmarks.numpy_rhs import right_hand_side
from benchmarks.periodic import periodic_figures
from benchmarks.report_figures import report_figures
from benchmarks.run_up import run_up_figures
from benchmarks.sizing import sizing_figures
from benchmarks.sweeps import sweep_figures
from vibsim.inputs.loader import load_case
from vibsim.inputs.models import Case
from vibsim.solver.motion import derivatives, scratch
from vibsim.solver.packed import Packed, pack
from vibsim.solver.simulate import no_progress
from vibsim.solver.start import error_control
from vibsim.solver.steady import settle
from vibsim.solver.stepper import REACHED_TIME, advance, grid, no_grid, start_stepper

DEMO = Path(__file__).resolve().parent.parent / "configs" / "v3-80-trike.toml"
TOLERANCE = 1e-6
RATE = 10_000.0  # Hz, of the output grid
MOST_STEPS = 10_000_000
WIDTH = 110  # of the table, characters

# a small parent, whose own memory does not hide the command's: prints seconds and the peak of its children in bytes
TIMED = """
import resource, subprocess, sys, time
begin = time.perf_counter()
done = subprocess.run(sys.argv[1:], stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL)
seconds = time.perf_counter() - begin
unit = 1 if sys.platform == "darwin" else 1024
print(seconds, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss * unit)
sys.exit(done.returncode)
"""
TWO_RUNS = """
import sys, time
from vibsim.inputs.loader import load_case
from vibsim.solver.simulate import simulate
file = load_case(sys.argv[1])
seconds = []
for _ in range(2):
    begin = time.perf_counter()
    simulate(file.case, file.folder)
    seconds.append(time.perf_counter() - begin)
print(seconds[0] - seconds[1])
"""


class Demo(NamedTuple):
    """The demo case settled at its speed, with the load torque that holds it as a constant load; state y (n)."""

    case: Case
    packed: Packed
    y: np.ndarray


class Effort(NamedTuple):
    """How long each part is measured: simulated seconds, and repeats."""

    simulated: float
    simulated_numpy: float
    repeats: int
    compiles: int


FULL, QUICK = Effort(2.0, 0.12, 5, 2), Effort(0.5, 0.03, 2, 1)


def settled_demo() -> Demo:
    file = load_case(DEMO)
    assert file.case.run is not None
    stepper, packed, _ = settle(file.case, file.case.run, pack(file.case, file.folder), no_progress)
    return Demo(file.case, packed, stepper.y.copy())


def repeat(measure: Callable[[], float], times: int) -> list[float]:
    """Sorted results of calling `measure`."""
    return sorted(measure() for _ in range(times))


@njit
def _loop(y, model, w, e, out, calls, turn):
    """Call the right-hand side while the crank turns, so that nothing can be taken out of the loop."""
    total = 0.0
    for _ in range(calls):
        y[y.size - 2] += turn
        derivatives(y, model, w, e, out)
        total += out[y.size - 1]
    return total


def rhs_seconds(demo: Demo, calls: int = 200_000) -> float:
    """Time of one right-hand side, s."""
    y, (w, e) = demo.y.copy(), scratch(len(demo.packed.names))
    out, cycle = np.empty_like(y), demo.packed.cycle
    _loop(y, demo.packed.model, w, e, out, 1, 0.0)
    begin = time.perf_counter()
    total = _loop(y, demo.packed.model, w, e, out, calls, 10.0 * cycle / calls)
    seconds = (time.perf_counter() - begin) / calls
    assert math.isfinite(total)
    return seconds


def own_seconds(demo: Demo, simulated: float) -> float:
    """Wall time of a free integration with its output grid, per simulated second."""
    control = error_control(demo.packed, TOLERANCE, MOST_STEPS)
    begin = time.perf_counter()
    stepper = start_stepper(demo.y, demo.packed.model, 1e-5)
    points = grid(0.0, 1.0 / RATE, round(simulated * RATE) + 1, demo.y.size)
    status = advance(stepper, demo.packed.model, control, simulated, math.inf, points, no_grid())
    seconds = time.perf_counter() - begin
    if status != REACHED_TIME or not np.isfinite(points.states).all():
        raise RuntimeError(f"the integration of the demo stopped with status {status}")
    return seconds / simulated


def scipy_seconds(demo: Demo, function: Callable, simulated: float) -> float:
    """Wall time of SciPy's RK45 over the same time and output grid, per simulated second."""
    floor = error_control(demo.packed, TOLERANCE, MOST_STEPS).floor
    times = np.arange(round(simulated * RATE) + 1) / RATE
    span, begin = (0.0, times[-1]), time.perf_counter()
    done = solve_ivp(function, span, demo.y, "RK45", t_eval=times, rtol=TOLERANCE, atol=TOLERANCE * floor)
    seconds = time.perf_counter() - begin
    if not done.success:
        raise RuntimeError(f"SciPy's integration of the demo failed: {done.message}")
    return seconds / simulated


def jitted(demo: Demo) -> Callable:
    """The solver's own right-hand side as SciPy calls it."""
    model, (w, e) = demo.packed.model, scratch(len(demo.packed.names))

    def function(t: float, y: np.ndarray) -> np.ndarray:
        out = np.empty(y.size)
        derivatives(y, model, w, e, out)
        return out

    return function


def solver_figures(demo: Demo, effort: Effort) -> list[Figure]:
    """Each repeat measures all in turn, so that a busy spell of the machine touches both sides of a ratio."""
    compiled, plain = jitted(demo), right_hand_side(demo.packed, demo.case)
    own_seconds(demo, 0.01)
    rows = [
        (
            rhs_seconds(demo),
            own_seconds(demo, effort.simulated),
            scipy_seconds(demo, compiled, effort.simulated),
            scipy_seconds(demo, plain, effort.simulated_numpy),
        )
        for _ in range(effort.repeats)
    ]
    rhs, own, scipy_compiled, scipy_plain = np.array(rows).T
    scaled = f"SciPy RK45, NumPy right-hand side, {effort.simulated_numpy:g} s"
    return [
        Figure("rhs_us", "one right-hand side", "µs", 1e6 * rhs.min(), 1e6 * rhs.max()),
        Figure("real_time_factor", "faster than real time", "x", 1.0 / own.min(), 1.0 / own.max(), 100.0, False),
        ratio("ratio_to_scipy_jitted", "SciPy RK45, same right-hand side", scipy_compiled, own, 7.0),
        ratio("ratio_to_scipy_numpy", scaled, scipy_plain, own, 200.0),
    ]


def checked(command: list[str], **options) -> str:
    """Output of a command; raises RuntimeError with what it said when it fails."""
    done = subprocess.run(command, capture_output=True, text=True, stdin=subprocess.DEVNULL, **options)
    if done.returncode:
        words = " ".join(word for word in command if "\n" not in word)
        raise RuntimeError(f"`{words}` failed with exit code {done.returncode}:\n{done.stderr.strip()[-2000:]}")
    return done.stdout


def cold_compile_seconds() -> float:
    """First less second steady run in a process whose kernel cache starts empty."""
    with tempfile.TemporaryDirectory() as cache:
        environment = os.environ | {"NUMBA_CACHE_DIR": cache}
        return float(checked([sys.executable, "-c", TWO_RUNS, str(DEMO)], env=environment))


def timed(*words: str, folder: str = ".") -> tuple[float, float]:
    """Wall time (s) and peak memory (bytes) of `python -m vibsim ...` started in a folder, no terminal in sight."""
    command = [sys.executable, "-c", TIMED, sys.executable, "-m", "vibsim", *words]
    seconds, peak = checked(command, cwd=folder).split()
    return float(seconds), float(peak)


def run_once() -> tuple[float, float]:
    """Wall time (s) of `vibsim run` less the simulation in it, and its peak memory (bytes)."""
    with tempfile.TemporaryDirectory() as folder:
        seconds, peak = timed("run", str(DEMO), "--output", folder, folder=folder)
        with h5py.File(Path(folder) / f"{DEMO.stem}.h5") as file:
            return seconds - float(file.attrs["simulation_seconds"]), peak


def command_figures(effort: Effort) -> list[Figure]:
    run_once()
    runs = [run_once() for _ in range(effort.repeats)]
    around, peaks = sorted(seconds for seconds, _ in runs), sorted(peak / 1e6 for _, peak in runs)
    help_seconds = repeat(lambda: timed("--help")[0], 5)
    compile_seconds = repeat(cold_compile_seconds, effort.compiles)
    return [
        Figure("cold_compile_s", "compiling everything", "s", compile_seconds[0], compile_seconds[-1], 15.0),
        Figure("warm_run_s", "`vibsim run` around its simulation", "s", around[0], around[-1], 1.0),
        Figure("help_s", "`vibsim --help`", "s", help_seconds[0], help_seconds[-1], 0.3),
        # the greatest, as memory has no noise that only adds
        Figure("peak_memory_MB", "peak memory of `vibsim run`", "MB", peaks[-1], peaks[-1], 400.0),
    ]


def table(figures: list[Figure], effort: Effort, load: float) -> Table:
    title = f"{DEMO.stem}, relative tolerance {TOLERANCE:g}, one core, best of {effort.repeats}"
    caption = f"cold compile: best of {effort.compiles}; help: best of 5; load average before: {load:.1f}"
    result = Table(title=title, caption=caption)
    for name in ("figure", "", "unit", "best", "worst", "target", "met"):
        result.add_column(name, justify="right" if name in ("best", "worst", "target") else "left")
    for figure in figures:
        target = "" if figure.target is None else f"{'<' if figure.most else '≥'} {figure.target:g}"
        met = {None: "", True: "yes", False: "[bold red]no[/]"}[figure.met]
        numbers = (f"{figure.best:.3g}", f"{figure.worst:.3g}")
        result.add_row(figure.key, figure.meaning, figure.unit, *numbers, target, met)
    return result


def as_json(figures: list[Figure]) -> str:
    values: dict = {figure.key: figure.best for figure in figures}
    values["worst"] = {figure.key: figure.worst for figure in figures}
    values["target"] = {figure.key: figure.target for figure in figures if figure.target is not None}
    return json.dumps(values, indent=2) + "\n"


def main() -> None:
    parser = argparse.ArgumentParser(description="Measure the demo case against the targets of speed and memory.")
    parser.add_argument("--json", type=Path, metavar="FILE", help="write the figures to FILE too")
    parser.add_argument("--quick", action="store_true", help="shorter runs, fewer repeats")
    options = parser.parse_args()
    effort, load = QUICK if options.quick else FULL, os.getloadavg()[0]
    demo = settled_demo()
    figures = solver_figures(demo, effort) + gas_figures(DEMO, effort.repeats)
    figures += gas_run_figures(DEMO, demo, own_seconds, effort.repeats)
    figures += layout_figures(effort.repeats) + mode_figures(DEMO, effort.repeats)
    figures += periodic_figures(DEMO, effort.repeats)
    figures += mount_figures(DEMO, effort.repeats) + sizing_figures(DEMO, effort.repeats) + command_figures(effort)
    figures += sweep_figures(DEMO, effort.repeats)
    figures += exposure_figures(effort.repeats)
    figures += run_up_figures(DEMO, timed, effort.compiles)
    figures += report_figures(DEMO, options.quick)
    Console(width=WIDTH).print(table(figures, effort, load))
    if options.json:
        options.json.write_text(as_json(figures), encoding="utf-8")


if __name__ == "__main__":
    main()
