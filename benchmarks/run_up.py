"""A long run-up streamed to disk: how much faster than real time, in how much memory, and what takes the time."""

from __future__ import annotations

import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

import h5py

from benchmarks.figure import Figure

SECONDS = 60.0
RUN = f"""[run]
kind = "run_up"
speed_rpm = 1000
speed_to_rpm = 6000
rate_rpm_per_s = {5000.0 / SECONDS!r}
sample_rate_Hz = 10000
"""
WORDS = (("integrate", "integrating"), ("observe", "observing"), ("write", "writing and summing up"))
# processor time (s) of the threads that integrate, observe, and write and sum up; wall time is theirs side by side
PARTS = """
import sys, time
from pathlib import Path
import vibsim.solver.hands as hands
import vibsim.solver.programme as programme
from vibsim.inputs.loader import load_case
from vibsim.studies.run import run_to_file

spent = {}

def clocked(module, name):
    inner = getattr(module, name)

    def outer(*arguments):
        begin = time.thread_time()
        try:
            return inner(*arguments)
        finally:
            spent[name] = spent.get(name, 0.0) + time.thread_time() - begin

    setattr(module, name, outer)

for module, name in ((programme, "_one_chunk"), (hands, "observe"), (programme, "_hand_on")):
    clocked(module, name)
run_to_file(load_case(Path(sys.argv[1])), Path(sys.argv[2]))
print(*spent.values())
"""


def _parts(case: Path) -> list[float]:
    """Processor seconds of integrating, observing and handing on."""
    command = [sys.executable, "-c", PARTS, str(case), str(case.with_suffix(".h5"))]
    done = subprocess.run(command, capture_output=True, text=True, check=True, stdin=subprocess.DEVNULL)
    return [float(word) for word in done.stdout.split()]


def run_up_figures(demo: Path, timed: Callable[..., tuple[float, float]], repeats: int) -> list[Figure]:
    """The demo's engine run up over a minute at 10 kHz; `timed` gives seconds and peak memory (bytes) of a command."""
    text = demo.read_text(encoding="utf-8")
    factors, peaks = [], []
    with tempfile.TemporaryDirectory() as folder:
        case = Path(folder) / "run-up.toml"
        case.write_text(text[: text.index("[run]")] + RUN, encoding="utf-8")
        for _ in range(repeats + 1):
            _, peak = timed("run", str(case), "--output", folder, "--no-figures", folder=folder)
            with h5py.File(case.with_suffix(".h5")) as file:
                factors.append(SECONDS / float(file.attrs["simulation_seconds"]))
            peaks.append(1e-6 * peak)
        parts = sorted((_parts(case) for _ in range(repeats)), key=sum)
    kept = sorted(factors[1:])  # the first may have had to compile
    memory = sorted(peaks[1:])
    return [
        Figure("run_up_real_time_factor", "a minute's run-up, streamed", "x", kept[-1], kept[0], 60.0, False),
        Figure("run_up_peak_memory_MB", "peak memory of that", "MB", memory[-1], memory[-1], 600.0),
        *(
            Figure(f"run_up_{key}_cpu_s", f"of that, {words}, on a core", "s", parts[0][n], parts[-1][n])
            for n, (key, words) in enumerate(WORDS)
        ),
    ]
