"""The gas of a case for the kernels, the steady point that it is computed at, and what is doubtful of both."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np

from vibsim.engine.layout import Layout
from vibsim.engine.operating_point import OperatingPoint, doubts, operating_point
from vibsim.engine.packed_gas import Gas
from vibsim.engine.pressure import Operating, depends_on_speed, no_gas, pack_gas
from vibsim.engine.trace_report import Remarks, trace_remarks
from vibsim.engine.traces import some_point, speed_nodes
from vibsim.inputs.models import Case, CycleGas, Engine, TraceGas
from vibsim.inputs.steps import stepped
from vibsim.solver.fed import SPEED_NODES, varies
from vibsim.solver.step_speeds import speeds_of_run


def gas_of(case: Case, layout: Layout | None, folder: Path, point: OperatingPoint | None) -> Gas:
    if case.engine is None or layout is None:
        return no_gas([], 4.0 * math.pi)
    speed, load = (abs(case.run.speed), case.run.load) if case.run else (100.0, 1.0)
    if case.run is None and isinstance(case.engine.gas, TraceGas) and case.engine.gas.folder is not None:
        speed, load = some_point(case.engine, layout, folder)
    speeds = np.array([speed])
    if case.run and (case.run.kind == "free" or stepped(case.run)) and depends_on_speed(case.engine):
        speeds = np.unique(np.maximum(SPEED_NODES * speed, 20.0)) if case.run.kind == "free" else speeds_of_run(case)
        if isinstance(case.engine.gas, TraceGas):
            speeds = speed_nodes(case.engine, layout, speed, load, folder)
    points = [Operating(float(value), load, folder) for value in speeds]
    if point is not None:
        points = [_operating(case.engine, item, point) for item in points]
    return pack_gas(case.engine, layout, points, partner=varies(case))


def _operating(engine: Engine, at: Operating, point: OperatingPoint) -> Operating:
    found = point if at.speed == point.speed else operating_point(engine, at.folder, at.speed, at.load)
    return replace(at, conditions=found.conditions)


def conditions_of(case: Case, folder: Path) -> OperatingPoint | None:
    """The steady point of the whole engine, where throttle, charger or knock have a say in it."""
    engine, run = case.engine, case.run
    if engine is None or run is None or not isinstance(engine.gas, CycleGas):
        return None
    gas = engine.gas
    if engine.charging.source == "none" and gas.throttle is None and gas.knock_margin is None:
        return None
    return operating_point(engine, folder, abs(run.speed), run.load)


def remarks_of(engine: Engine | None, layout: Layout | None, folder: Path, point: OperatingPoint | None) -> Remarks:
    """What was done to measured traces, and what is doubtful of them and of the operating point."""
    if engine is None or layout is None:
        return Remarks()
    found = trace_remarks(engine, layout, folder)
    return found if point is None else replace(found, warnings=(*found.warnings, *doubts(point)))
