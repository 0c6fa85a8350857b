"""What reading the gas costs a run: the working cycle against a fixed trace, nodes of speed and shares against none."""

from __future__ import annotations

import tempfile
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.figure import Figure
from vibsim.engine.packed_gas import cylinder_pressures
from vibsim.inputs.loader import build_case
from vibsim.solver.packed import Packed, pack
from vibsim.solver.varied import with_variation

TRACE_POINTS = 1440  # of a cycle
SIMULATED, TRIES = 0.3, 15  # s, and runs of which the best counts
SPREAD = {"coefficient_of_variation": 0.03}


def _changed(case: Path, gas: dict[str, Any], **run: Any) -> Packed:
    raw = tomllib.loads(case.read_text(encoding="utf-8"))
    raw["engine"]["gas"] = gas or raw["engine"]["gas"]
    raw["run"] |= run
    found = build_case(raw)
    assert found.run is not None
    packed = pack(found, case.parent)
    return with_variation(packed, found.run) if "variation" in run else packed


def _as_trace(case: Path, packed: Packed, speed: float) -> Packed:
    """The case with the first cylinder's curve as a measured trace."""
    assert packed.layout is not None
    angle = np.linspace(0.0, packed.cycle, TRACE_POINTS, endpoint=False)
    pressure = cylinder_pressures(packed.layout.cylinders[0].firing + angle, speed, packed.model.gas)[:, 0]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "trace.csv"
        rows = [f"{a:.10g},{p:.10g}" for a, p in zip(np.degrees(angle), pressure, strict=True)]
        path.write_text("crank_angle_deg,pressure_Pa\n" + "\n".join(rows) + "\n", encoding="utf-8")
        return _changed(case, {"source": "trace", "file": str(path)})


def gas_run_figures(case: Path, demo: Any, seconds: Callable[[Any, float], float], repeats: int) -> list[Figure]:
    """`demo` has the settled `packed` of the case and its state `y`; `seconds` times an integration of such a one.

    Each repeat is the best of several short runs of all in turn, as what is looked for is a few per cent.
    """
    others = [
        _as_trace(case, demo.packed, float(demo.case.run.speed)),
        _changed(case, {}, kind="free"),
        _changed(case, {}, variation=SPREAD),
    ]
    load = demo.packed.model.load
    runs = [demo, *(demo._replace(packed=other._replace(model=other.model._replace(load=load))) for other in others)]
    times = np.array([[seconds(run, SIMULATED) for run in runs] for _ in range(repeats * TRIES)])
    times = times.reshape(repeats, TRIES, len(runs)).min(axis=1)
    best, worst = times.min(axis=0), (times / times[:, [1, 1, 0, 0]]).max(axis=0)
    return [
        Figure("cycle_to_trace", "run with the working cycle, over a trace", "x", best[0] / best[1], worst[0], 1.05),
        Figure("nine_nodes_to_one", "run with nine nodes of speed, over one", "x", best[2] / best[0], worst[2]),
        Figure("varied_to_plain", "run whose cycles vary, over one that repeats", "x", best[3] / best[0], worst[3]),
    ]
