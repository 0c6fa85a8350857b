"""Top dead centre in a motored pressure trace: from its peak and the loss angle, and from its symmetry as a check."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vibsim.engine.layout import ResolvedCylinder
from vibsim.engine.trace_windows import between, periodic_spline, spacing
from vibsim.engine.volume import cylinder_volume
from vibsim.inputs.errors import InputError
from vibsim.inputs.trace import SMALLEST_SWING, Trace

PEAK_WINDOW = math.radians(12.0)  # either side of the peak, fitted by a quartic
FEWEST_AT_PEAK = 9
LEAST_FALL = 0.01  # of the whole swing, from the peak to the ends of its window
SYMMETRY = (math.radians(5.0), math.radians(50.0))  # compared before and after top dead centre
POINTS = 91
CLOSE = math.radians(1e-4)
FARTHEST = math.radians(8.0)  # from the angle first taken
# shape of the wall loss along a motored cycle, common practice: charge at bottom dead centre, wall (K), exponent
CHARGE_TEMPERATURE, WALL_TEMPERATURE, EXPONENT = 330.0, 400.0, 1.35


@dataclass(frozen=True)
class Top:
    """What a motored trace says of its crank angle (rad): where it peaks, the angle it shows at top dead centre by the
    loss angle, and the same by symmetry (None where the case has no compression ratio or the trace no symmetry)."""

    file: str
    peak: float
    offset: float
    by_symmetry: float | None


def motored_peak(trace: Trace, cycle: float, where: str) -> float:
    """Crank angle (rad) of the peak: of a quartic through the samples about the highest one.

    Raises InputError, begun with `where`, when the peak is no smooth top.
    """
    highest = float(trace.angles[int(np.argmax(trace.pressures))])
    half = max(PEAK_WINDOW, 0.5 * FEWEST_AT_PEAK * spacing(trace))
    angle, pressure = between(trace, cycle, (highest - half, highest + half))
    x = (angle - highest) / half
    fit = np.polyfit(x, pressure, 4)
    roots = np.roots(np.polyder(fit))
    tops = roots[np.abs(roots.imag) < 1e-9].real
    fall = np.polyval(fit, 0.0) - np.polyval(fit, [-1.0, 1.0]).max()
    flat = fall < LEAST_FALL * max(np.ptp(trace.pressures), SMALLEST_SWING)
    if flat or len(tops) == 0 or np.min(np.abs(tops)) > 0.5:
        raise InputError(f"{where}: has no smooth peak at {math.degrees(highest):g} deg; is it a motored trace?")
    top = highest + half * float(tops[np.argmin(np.abs(tops))])
    return math.remainder(top, cycle)


def offset_by_symmetry(trace: Trace, cylinder: ResolvedCylinder, cycle: float) -> float | None:
    """The angle (rad) the trace shows at top dead centre, from the hairpin of log p–log V about top dead centre.

    At equal volume, expansion lies below compression by the heat lost between, which never lets the lines cross; a
    wrong angle adds (slope after − slope before)·error, which opens them into a loop. Both shapes are known, so least
    squares tells the two sizes apart (derived: first law, dln p = −γ dln V − (γ − 1)·dQ/(p·V); wall loss as
    p^0.8·T^-0.55·area·(T − wall), the form of Woschni 1967, along p·Vⁿ = const). None when no angle near does it.
    """
    half = 1.5 * SYMMETRY[1] + FARTHEST
    if between(trace, cycle, (-half, half))[1].min() <= 0.0:
        return None
    spline = periodic_spline(trace, cycle)
    after = np.linspace(*SYMMETRY, POINTS)
    before = _same_volume(cylinder, after)
    loss = _wall_loss(cylinder, after) - _wall_loss(cylinder, before)
    skew = _steepness(cylinder, after) - _steepness(cylinder, before)
    shapes = np.linalg.pinv(np.column_stack([skew, loss]))
    offset = 0.0
    for _ in range(20):
        width = np.log(spline(after + offset) / spline(before + offset))
        step = -float(shapes[0] @ width)
        offset += step
        if abs(offset) > FARTHEST:
            return None
        if abs(step) < CLOSE:
            return offset
    return None


def _same_volume(cylinder: ResolvedCylinder, after: np.ndarray) -> np.ndarray:
    """Angles (n) before top dead centre at which the volume is that at angles (n) after it."""
    angles = np.linspace(0.0, -1.5 * SYMMETRY[1], 2001)
    return np.interp(cylinder_volume(cylinder, after)[0], cylinder_volume(cylinder, angles)[0], angles)


def _steepness(cylinder: ResolvedCylinder, angle: np.ndarray) -> np.ndarray:
    """Slope of ln p at angles (n) along p·Vⁿ = const, per rad."""
    volume, slope = cylinder_volume(cylinder, angle)
    return -EXPONENT * slope / volume


def _wall_loss(cylinder: ResolvedCylinder, angle: np.ndarray) -> np.ndarray:
    """Shape of the fall of ln p by wall loss from top dead centre to angles (n), scaled to one."""
    fine = np.linspace(-1.5 * SYMMETRY[1], 1.5 * SYMMETRY[1], 2001)
    volume = cylinder_volume(cylinder, fine)[0]
    bottom = cylinder_volume(cylinder, np.array([math.pi]))[0][0]
    temperature = CHARGE_TEMPERATURE * (bottom / volume) ** (EXPONENT - 1.0)
    area = 2.0 * cylinder.area + 4.0 * volume / cylinder.bore
    rate = volume ** (-0.8 * EXPONENT) * temperature**-1.55 * area * (temperature - WALL_TEMPERATURE)
    total = np.concatenate([[0.0], np.cumsum(0.5 * (rate[1:] + rate[:-1]))])
    return -np.interp(angle, fine, total - np.interp(0.0, fine, total)) / np.ptp(total)
