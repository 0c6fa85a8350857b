"""Measured pressure traces of a case: what was done to each and how it fits the engine."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from vibsim.engine.layout import Layout, ResolvedCylinder, resolve_layout
from vibsim.engine.trace_fit import Slope
from vibsim.engine.trace_report import Remarks, distinct_cylinders, trace_remarks
from vibsim.engine.traces import MotoredTop, Prepared, motored_top, prepared_traces
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import CaseFile
from vibsim.inputs.models import TraceGas

RPM = 30.0 / math.pi


@dataclass(frozen=True)
class CylinderTraces:
    """Traces of one kind of cylinder, and top dead centre from the motored one."""

    cylinder: ResolvedCylinder
    traces: list[Prepared]
    top: MotoredTop | None


@dataclass(frozen=True)
class Traces:
    """The traces of a case per kind of cylinder; `speed` (rad/s) and `load` are those of the run, None without one."""

    gas: TraceGas
    layout: Layout
    kinds: list[CylinderTraces]
    remarks: Remarks
    speed: float | None
    load: float | None

    @property
    def is_map(self) -> bool:
        return self.gas.folder is not None


def find_traces(case_file: CaseFile) -> Traces:
    """Read, align, smooth, peg and fit every trace of a case.

    Raises InputError when the case has no traces, and for what is wrong in one.
    """
    case, engine = case_file.case, case_file.case.engine
    if engine is None or not isinstance(engine.gas, TraceGas):
        found = "no [engine] table" if engine is None else f"'{engine.gas.source}'"
        raise InputError(f'engine.gas.source: got {found}; vibsim traces needs a case with source = "trace"')
    layout, folder = resolve_layout(engine), case_file.folder
    kinds = [
        CylinderTraces(
            cylinder,
            prepared_traces(engine, layout, cylinder, folder),
            motored_top(engine, layout, cylinder, folder),
        )
        for cylinder in distinct_cylinders(engine, layout, folder)
    ]
    run = case.run
    remarks = trace_remarks(engine, layout, folder)
    return Traces(engine.gas, layout, kinds, remarks, abs(run.speed) if run else None, run.load if run else None)


def nearest_trace(found: Traces) -> tuple[CylinderTraces, Prepared]:
    """The trace measured nearest to the run's speed and load, each over its span; the first without a run."""
    kind = found.kinds[0]
    if not found.is_map or found.speed is None or found.load is None:
        return kind, kind.traces[0]
    points = np.array([(item.measured.speed, item.measured.load) for item in kind.traces])
    span = np.maximum(np.ptp(points, axis=0), 1e-9)
    apart = np.hypot(*((points - (found.speed, found.load)) / span).T)
    return kind, kind.traces[int(np.argmin(apart))]


def trace_rows(found: Traces) -> list[dict[str, Any]]:
    """One row per trace: where measured, peak, level, what smoothing took, slopes, compression ratio."""
    rows = []
    for kind in found.kinds:
        for item in kind.traces:
            peak, angle = item.peak(found.layout.cycle)
            row: dict[str, Any] = {"file": item.file}
            if found.is_map:
                row |= {"speed_rpm": item.measured.speed * RPM, "load": item.measured.load}
            row |= {
                "cylinder": item.measured.cylinder,
                "peak_bar": 1e-5 * peak,
                "peak_at_deg": math.degrees(angle),
                "level_moved_bar": 1e-5 * item.level.added,
                "smoothing_removed_bar_rms": 1e-5 * item.removed,
                "compression_exponent": _exponent(item.compression),
                "expansion_exponent": _exponent(item.expansion),
                "apparent_ratio": item.ratio.value if item.ratio else None,
                "apparent_ratio_error": item.ratio.error if item.ratio else None,
            }
            rows.append(row)
    return rows


def _exponent(slope: Slope | None) -> float | None:
    return slope.exponent if slope else None


def as_dict(found: Traces) -> dict[str, Any]:
    """Everything in plain numbers and words."""
    top = found.kinds[0].top
    motored = None
    if top is not None:
        symmetry = top.top.by_symmetry
        motored = {
            "file": top.top.file,
            "peak_deg": math.degrees(top.top.peak),
            "offset_deg": math.degrees(top.top.offset),
            "offset_by_symmetry_deg": None if symmetry is None else math.degrees(symmetry),
            "apparent_ratio": top.ratio.value if top.ratio else None,
        }
    return {
        "offset_deg": math.degrees(found.kinds[0].traces[0].offset),
        "motored": motored,
        "traces": trace_rows(found),
        "notes": list(found.remarks.notes),
        "warnings": list(found.remarks.warnings),
    }
