"""What a pressure trace says of the engine: polytropic exponents and the compression ratio its compression fits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vibsim.engine.layout import ResolvedCylinder
from vibsim.engine.trace_windows import FEWEST, Window, volumes_between
from vibsim.inputs.trace import Trace


@dataclass(frozen=True)
class Slope:
    """Straight line ln p = intercept − exponent·ln V (p in Pa, V in m³) through the samples of a window (rad)."""

    window: Window
    exponent: float
    intercept: float


@dataclass(frozen=True)
class Ratio:
    """Compression ratio that a compression fits, with its standard error from the scatter of the samples."""

    value: float
    error: float


def slope(trace: Trace, cylinder: ResolvedCylinder, cycle: float, window: Window) -> Slope | None:
    """Polytropic exponent between two angles, by least squares in log p–log V; None with too few samples or a
    pressure that is not positive."""
    volume, pressure = volumes_between(trace, cylinder, cycle, window)
    if len(pressure) < FEWEST or pressure.min() <= 0.0 or volume.min() <= 0.0:
        return None
    gradient, intercept = np.polyfit(np.log(volume), np.log(pressure), 1)
    return Slope(window, -float(gradient), float(intercept))


def apparent_ratio(trace: Trace, cylinder: ResolvedCylinder, cycle: float, window: Window) -> Ratio | None:
    """Compression ratio that makes compression straightest in log p–log V, the exponent free.

    ln p = a − n·ln(x + c), x swept and c clearance volume over the whole swept volume (derived). Heat lost to the walls
    on the way makes it read some per cent low. None with too few samples, or when the samples fit no ratio.
    """
    from scipy.optimize import least_squares

    volume, pressure = volumes_between(trace, cylinder, cycle, window)
    if len(pressure) < 2 * FEWEST or pressure.min() <= 0.0:
        return None
    swept = (volume - cylinder.clearance_volume) / cylinder.swept_volume
    log = np.log(pressure)

    def misfit(found: np.ndarray) -> np.ndarray:
        return found[0] - found[1] * np.log(swept + found[2]) - log

    begin = [float(log[0]), 1.32, 0.1]
    fit = least_squares(misfit, begin, bounds=([-np.inf, 0.5, 0.01], [np.inf, 3.0, 2.0]), x_scale=[1.0, 0.1, 0.02])
    if np.any(fit.active_mask):
        return None
    scatter = 2.0 * fit.cost / (len(log) - 3)
    error = float(np.sqrt(scatter * np.linalg.inv(fit.jac.T @ fit.jac)[2, 2]))
    clearance = float(fit.x[2])
    return Ratio(1.0 + 1.0 / clearance, error / clearance**2)
