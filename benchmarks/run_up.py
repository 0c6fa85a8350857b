"""A long run-up streamed to disk: how much faster than real time, and in how much memory."""

from __future__ import annotations

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
    kept = sorted(factors[1:])  # the first may have had to compile
    memory = sorted(peaks[1:])
    return [
        Figure("run_up_real_time_factor", "a minute's run-up, streamed", "x", kept[-1], kept[0], 60.0, False),
        Figure("run_up_peak_memory_MB", "peak memory of that", "MB", memory[-1], memory[-1], 600.0),
    ]
