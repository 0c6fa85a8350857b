"""Parts of a pressure trace: the samples between two crank angles with their cylinder volumes, the curve between."""

from __future__ import annotations

import math

import numpy as np

from vibsim.engine.layout import ResolvedCylinder
from vibsim.engine.volume import cylinder_volume
from vibsim.inputs.trace import Trace

Window = tuple[float, float]
FEWEST = 5  # samples that a line or a level may be fitted through


def between(trace: Trace, cycle: float, window: Window) -> tuple[np.ndarray, np.ndarray]:
    """Angles (n) rad and pressures (n) Pa of the samples from one angle to another, the trace repeating each cycle."""
    angle = window[0] + np.mod(trace.angles - window[0] + 1e-9, cycle) - 1e-9
    order = np.argsort(angle)
    inside = order[angle[order] <= window[1] + 1e-9]
    return angle[inside], trace.pressures[inside]


def volumes_between(
    trace: Trace, cylinder: ResolvedCylinder, cycle: float, window: Window
) -> tuple[np.ndarray, np.ndarray]:
    """Volumes (n) m³ and pressures (n) Pa of those samples."""
    angle, pressure = between(trace, cycle, window)
    return cylinder_volume(cylinder, angle)[0], pressure


def periodic_spline(trace: Trace, cycle: float):
    """Periodic cubic spline through the samples, of angle in rad."""
    from scipy.interpolate import CubicSpline

    angles = np.append(trace.angles, trace.angles[0] + cycle)
    return CubicSpline(angles, np.append(trace.pressures, trace.pressures[0]), bc_type="periodic")


def spacing(trace: Trace) -> float:
    """Median angle from sample to sample, rad."""
    return float(np.median(np.diff(trace.angles)))


def evenly_spaced(trace: Trace, cycle: float) -> Trace:
    """The trace at equal steps over the whole cycle, from its own first angle; as it is when it is so already."""
    count = round(cycle / spacing(trace))
    angles = trace.angles[0] + np.arange(count) * (cycle / count)
    if count == len(trace.angles) and np.allclose(angles, trace.angles, rtol=0.0, atol=1e-6 * cycle / count):
        return trace
    return Trace(angles, periodic_spline(trace, cycle)(angles))


def degrees(window: Window) -> str:
    return f"{math.degrees(window[0]):g} to {math.degrees(window[1]):g} deg"
