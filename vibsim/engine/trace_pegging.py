"""Pegging: the level of a pressure trace whose sensor tells changes alone.

The methods are those compared by Randolph (1990, SAE 900170; from memory): the mean about intake bottom dead centre
set to the manifold pressure, or compression made to follow p·Vⁿ = const by two points or by least squares.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vibsim.engine.layout import ResolvedCylinder
from vibsim.engine.trace_windows import FEWEST, Window, between, degrees, volumes_between
from vibsim.engine.volume import cylinder_volume
from vibsim.inputs.errors import InputError
from vibsim.inputs.models import TraceGas
from vibsim.inputs.trace import Trace

POINT = math.radians(1.0)  # either side of a point of the two-point method, averaged against noise
EXPONENTS = (1.1, 1.6)  # a fitted exponent is looked for between these


@dataclass(frozen=True)
class Level:
    """Pressure (Pa) added to a trace, and the exponent compression then follows, where the method has one."""

    added: float
    exponent: float | None = None


def exponent_is_fitted(gas: TraceGas) -> bool:
    """Whether the level comes with an exponent of its own, so that compression is straight by construction."""
    return gas.pegging == "polytropic" and gas.pegging_exponent is None


def peg(
    trace: Trace,
    gas: TraceGas,
    cylinder: ResolvedCylinder,
    cycle: float,
    intake_pressure: float | None,
    compression: Window,
    where: str,
) -> Level:
    """The level as the case asks for it. `intake_pressure` Pa is for pegging intake, `compression` for polytropic.

    Raises InputError, begun with `where`, when the trace has too few samples there.
    """
    if gas.pegging == "none":
        return Level(0.0)
    if gas.pegging == "intake":
        assert intake_pressure is not None
        return Level(intake_level(trace, cycle, intake_pressure, gas.intake_window, where))
    return polytropic_level(trace, gas, cylinder, cycle, compression, where)


def polytropic_level(
    trace: Trace, gas: TraceGas, cylinder: ResolvedCylinder, cycle: float, window: Window, where: str
) -> Level:
    """Level by the two-point or the least-squares method; the exponent is fitted too where the case gives none."""
    if gas.pegging_fit == "two_point":
        assert gas.pegging_exponent is not None
        return Level(two_point_level(trace, cylinder, cycle, window, gas.pegging_exponent, where), gas.pegging_exponent)
    volume, pressure = volumes_between(trace, cylinder, cycle, window)
    _require(len(pressure), window, where)
    if gas.pegging_exponent is not None:
        return Level(least_squares_level(volume, pressure, gas.pegging_exponent)[0], gas.pegging_exponent)
    return fitted_level(volume, pressure)


def _require(count: int, window: Window, where: str) -> None:
    if count < FEWEST:
        raise InputError(f"{where}: has {count} samples from {degrees(window)}; pegging needs at least {FEWEST}")


def intake_level(trace: Trace, cycle: float, intake_pressure: float, width: float, where: str) -> float:
    """Level (Pa) that makes the mean over a width (rad) about intake bottom dead centre the intake pressure (Pa).

    It is as right as the cylinder fills without loss there: gas dynamics of the ports go into it in full.
    """
    window = (-math.pi - 0.5 * width, -math.pi + 0.5 * width)
    pressure = between(trace, cycle, window)[1]
    _require(len(pressure), window, where)
    return intake_pressure - float(pressure.mean())


def two_point_level(
    trace: Trace, cylinder: ResolvedCylinder, cycle: float, window: Window, exponent: float, where: str
) -> float:
    """Level (Pa) from the window's two ends: p₁ + d = k·(p₂ + d) with k = (V₂/V₁)ⁿ, so d = (k·p₂ − p₁)/(1 − k).

    Samples within a degree of each end are averaged, and V⁻ⁿ with them (Randolph 1990, SAE 900170, from memory; with
    means derived). An exponent too low by δn raises the level by about p₁·rⁿ·ln r·δn/(rⁿ − 1), r = V₁/V₂ (derived).
    """
    means = []
    for angle in window:
        near, pressure = between(trace, cycle, (angle - POINT, angle + POINT))
        if len(near) == 0:
            raise InputError(f"{where}: has no sample at {math.degrees(angle):g} deg; pegging two_point needs one")
        means.append((pressure.mean(), (cylinder_volume(cylinder, near)[0] ** -exponent).mean()))
    (early, first), (late, last) = means
    k = float(first / last)
    return (k * float(late) - float(early)) / (1.0 - k)


def least_squares_level(volume: np.ndarray, pressure: np.ndarray, exponent: float) -> tuple[float, float]:
    """Level d (Pa) of the best fit p + d = C·V⁻ⁿ to samples (n) at a given exponent, and its sum of squares (Pa²)."""
    shape = (volume / volume.min()) ** -exponent
    matrix = np.column_stack([shape, -np.ones_like(shape)])
    found = np.linalg.lstsq(matrix, pressure, rcond=None)[0]
    left = matrix @ found - pressure
    return float(found[1]), float(left @ left)


def fitted_level(volume: np.ndarray, pressure: np.ndarray) -> Level:
    """Level and exponent of the best fit p + d = C·V⁻ⁿ to samples (n).

    Level and exponent are told apart by the curve's shape alone: heat lost on the way and noise go into the level,
    so a known exponent is better.
    """
    from scipy.optimize import minimize_scalar

    scale = np.ptp(pressure)
    best = minimize_scalar(
        lambda n: least_squares_level(volume, pressure / scale, n)[1],
        bounds=EXPONENTS,
        method="bounded",
        options={"xatol": 1e-7},
    )
    exponent = float(best.x)
    return Level(least_squares_level(volume, pressure, exponent)[0], exponent)
