"""Cylinder pressure for the NumPy right-hand side, read apart from the solver's way of reading it."""

from __future__ import annotations

import numpy as np
from scipy.interpolate import CubicHermiteSpline

from vibsim.engine.packed_gas import BLEND, Gas


def between(speed: float, speeds: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Rows of values (speeds, n) at a crank speed, by cubics with slopes of three-point differences, held outside."""
    if speeds.size == 1:
        return values[0]
    slopes = np.gradient(values, speeds, axis=0)
    return CubicHermiteSpline(speeds, values, slopes)(np.clip(abs(speed), speeds[0], speeds[-1]))


def gas_pressures(phi: float, speed: float, gas: Gas, firing: np.ndarray) -> np.ndarray:
    """Absolute pressure (n), Pa, of each cylinder from the packed piecewise cubics, smooth between speeds."""
    pressures = np.empty(len(firing))
    for i, (curve, local) in enumerate(zip(gas.charges["curve"], (phi - firing) % gas.cycle, strict=True)):
        breaks = gas.breaks[curve]
        segment = int(np.searchsorted(breaks[1:-1], local, side="right"))
        powers = ((local - breaks[segment]) ** np.arange(4))[:, None]
        pressures[i] = between(speed, gas.nodes.speeds, gas.coefficients[curve, segment] @ powers)[0]
        if len(gas.shares):
            unfired = between(speed, gas.nodes.speeds, gas.unfired[curve, segment] @ powers)[0]
            pressures[i] = unfired + burning_share(phi, i, gas) * (pressures[i] - unfired)
    return pressures


def burning_share(phi: float, i: int, gas: Gas) -> float:
    """Share of cylinder i from the nearest passage from one cycle to the next: ½ + ¾·t − ¼·t³ of the change is done."""
    cycles = (phi - gas.charges["begins"][i]) / gas.cycle
    begun = round(cycles)
    t = np.clip((cycles - begun) / BLEND, -1.0, 1.0)
    old, new = np.take(gas.shares[:, i], [begun - 1, begun], mode="wrap")
    return float(old + (0.5 + 0.75 * t - 0.25 * t**3) * (new - old))
