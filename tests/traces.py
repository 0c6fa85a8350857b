"""Pressure traces the tests share: computed cycles made to look measured, files, and cases that use them."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np

from tests.cases import single
from vibsim.engine.cycle import solve_cycle
from vibsim.engine.layout import Layout, resolve_layout
from vibsim.engine.trace_windows import periodic_spline
from vibsim.inputs.loader import build_case
from vibsim.inputs.models import Engine
from vibsim.inputs.trace import Trace

CYCLE = 4.0 * math.pi
RPM = math.pi / 30.0
DEGREES = np.arange(-360.0, 360.0, 0.5)


def engine_of(gas: dict[str, Any], **changes: Any) -> tuple[Engine, Layout]:
    """The tests' single with a gas source."""
    raw = single()
    raw["engine"] |= {"gas": gas} | changes
    engine = build_case(raw).engine
    assert engine is not None
    return engine, resolve_layout(engine)


def computed(rpm: float, load: float, burning: bool = True, wall: float = 1.0) -> Trace:
    """The working cycle of the tests' single at every half degree: angles from firing top dead centre, Pa."""
    gas = {"source": "cycle", "combustion_efficiency": 0.95 if burning else 0.0, "wall_heat_factor": wall}
    engine, layout = engine_of(gas)
    cycle = solve_cycle(engine, layout.cylinders[0], rpm * RPM, load)
    spline = periodic_spline(Trace(cycle.angle[:-1], cycle.pressure[:-1]), CYCLE)
    return Trace(np.radians(DEGREES), spline(np.radians(DEGREES) % CYCLE))


def as_measured(true: Trace, offset: float = 0.0, level: float = 0.0, noise: float = 0.0, seed: int = 1) -> Trace:
    """What a sensor would show: top dead centre at `offset` (rad), `level` (Pa) taken away, white noise (Pa rms)."""
    pressures = periodic_spline(true, CYCLE)(true.angles - offset) - level
    return Trace(true.angles, pressures + noise * np.random.default_rng(seed).standard_normal(len(pressures)))


def write(path: Path, trace: Trace) -> Path:
    """A trace as a CSV file, in degrees and Pa."""
    path.parent.mkdir(parents=True, exist_ok=True)
    rows = zip(np.degrees(trace.angles).round(9).tolist(), trace.pressures.tolist(), strict=True)
    body = "".join(f"{angle!r},{pressure!r}\n" for angle, pressure in rows)
    path.write_text(f"# invented\ncrank_angle_deg,pressure_Pa\n{body}", encoding="utf-8")
    return path


def write_folder(folder: Path, points: dict[tuple[float, float], Trace], more: str = "") -> None:
    """A folder of traces by speed (rpm) and load, with its index; `more` rows as they are."""
    rows = []
    for number, ((rpm, load), trace) in enumerate(points.items()):
        write(folder / f"{number}.csv", trace)
        rows.append(f"{number}.csv,{rpm},{load}\n")
    (folder / "index.csv").write_text("file,speed_rpm,load\n" + "".join(rows) + more, encoding="utf-8")


def invented(peak: float) -> Trace:
    """A smooth cycle with a peak (bar) after firing top dead centre, every two degrees."""
    degrees = np.arange(-360.0, 360.0, 2.0)
    rise = peak * np.exp(-(((degrees - 14.0) / 35.0) ** 2)) + 0.1 * np.sin(np.radians(degrees))
    return Trace(np.radians(degrees), 1e5 * (1.0 + rise))


def linear_map(points: list[tuple[float, float]]) -> dict[tuple[float, float], Trace]:
    """Traces whose pressures are linear in speed (rpm) and load."""
    return {point: linear_trace(*point) for point in points}


def linear_trace(rpm: float, load: float) -> Trace:
    return invented(10.0 + 30.0 * load + 2.0 * rpm / 1000.0)
