"""Cylinder-pressure traces: CSV with `crank_angle_<unit>` and `pressure_<unit>` columns, one full cycle."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from vibsim.inputs.columns import numbers, read_sheet
from vibsim.inputs.errors import InputError
from vibsim.inputs.units import ANGLE, PRESSURE

WIDEST_GAP, GAP_RATIO = math.radians(15.0), 5.0  # between samples; and of the usual step, in a coarse trace
JUMP_SHARE = 0.05  # of the swing in one step: what a jump has at least
JUMP_RATIO, BURNING_RATIO = 4.0, 10.0  # times the slopes beside it; near the peak, where knock may be this steep
BURNING = math.radians(60.0)  # either side of the peak
BESIDE = 3  # steps on either side
SMALLEST_JUMP = 1e3  # Pa
SMALLEST_SWING = 1e4  # Pa, least between highest and lowest of a trace whose level is not known


@dataclass(frozen=True)
class Trace:
    """Angles (n) rad from firing top dead centre, rising, less than one cycle in all; pressures (n) Pa.

    Absolute, unless the trace is still to be pegged.
    """

    angles: np.ndarray
    pressures: np.ndarray


def read_trace(path: Path, cycle: float, key: str = "engine.gas.file", absolute: bool = True) -> Trace:
    """Read and check a trace that must cover one cycle (rad); its level is checked if it is `absolute`.

    Raises InputError naming `key` and the file.
    """
    sheet = read_sheet(path, key)
    angles, pressures = numbers(sheet, "crank_angle", ANGLE), numbers(sheet, "pressure", PRESSURE)
    _check_angles(sheet.where, angles, pressures, cycle)
    _check_level(sheet.where, pressures, absolute)
    trace = _open_end(sheet.where, Trace(angles, pressures), cycle)
    _check_jumps(sheet.where, trace, cycle)
    return trace


def _check_angles(where: str, angles: np.ndarray, pressures: np.ndarray, cycle: float) -> None:
    if len(angles) < 36:
        raise InputError(f"{where}: has {len(angles)} points; a cycle needs at least 36")
    if not (np.isfinite(angles).all() and np.isfinite(pressures).all()):
        raise InputError(f"{where}: holds numbers that are not finite")
    steps = np.diff(angles)
    if not (steps > 0.0).all():
        after = np.degrees(angles[int(np.argmin(steps > 0.0))])
        raise InputError(f"{where}: crank_angle must rise from row to row, does not after {after:g} deg")
    gap = int(steps.argmax())
    if steps[gap] > max(WIDEST_GAP, GAP_RATIO * float(np.median(steps))):
        begin, end = np.degrees(angles[gap : gap + 2])
        raise InputError(f"{where}: has no points from {begin:g} to {end:g} deg; a gap of the cycle cannot be guessed")
    span, widest = angles[-1] - angles[0], max(steps.max(), math.radians(1.0))
    if span > cycle * (1.0 + 1e-9) or cycle - span > 2.0 * widest:
        degrees = math.degrees(cycle)
        raise InputError(f"{where}: covers {math.degrees(span):.1f} deg; must cover one cycle of {degrees:.0f} deg")


def _check_level(where: str, pressures: np.ndarray, absolute: bool) -> None:
    least, peak = pressures.min(), pressures.max()
    if absolute and least <= 0.0:
        raise InputError(
            f"{where}: least pressure {least:.4g} Pa; pressures are absolute, must be positive (or set pegging)"
        )
    if absolute and not 2.0e4 < peak < 5.0e7:
        raise InputError(f"{where}: peak pressure {peak:.4g} Pa; must be 0.2 to 500 bar, check the unit")
    if not absolute and not SMALLEST_SWING < peak - least < 5.0e7:
        raise InputError(f"{where}: swings by {peak - least:.4g} Pa; must be 0.1 to 500 bar, check the unit")


def _open_end(where: str, trace: Trace, cycle: float) -> Trace:
    """Without the last point when both ends of the cycle are given: they are one point."""
    angles, pressures = trace.angles, trace.pressures
    if cycle - (angles[-1] - angles[0]) >= 1e-6 * cycle:
        return trace
    if abs(pressures[-1] - pressures[0]) > 0.02 * np.ptp(pressures):
        raise InputError(
            f"{where}: starts at {pressures[0]:.5g} Pa and ends at {pressures[-1]:.5g} Pa; a cycle must close"
        )
    return Trace(angles[:-1], pressures[:-1])


def _check_jumps(where: str, trace: Trace, cycle: float) -> None:
    """A jump is a step from one sample to the next of more than a share of the whole swing and steeper, by a ratio,
    than the steps beside it (their median, so that the way back from a spike does not hide it)."""
    angles, pressures = np.append(trace.angles, trace.angles[0] + cycle), np.append(trace.pressures, trace.pressures[0])
    rise, swing = np.diff(pressures), np.ptp(pressures)
    slope = np.abs(rise) / np.diff(angles)
    beside = np.median([np.roll(slope, n) for n in range(-BESIDE, BESIDE + 1) if n], axis=0)
    past = np.abs(np.mod(angles[:-1] - angles[np.argmax(pressures)] + 0.5 * cycle, cycle) - 0.5 * cycle)
    ratio = np.where(past < BURNING, BURNING_RATIO, JUMP_RATIO)
    jumps = np.flatnonzero((np.abs(rise) > max(JUMP_SHARE * swing, SMALLEST_JUMP)) & (slope > ratio * beside))
    if len(jumps) == 0:
        return
    first = jumps[0]
    begin, end = np.degrees(angles[first : first + 2])
    raise InputError(
        f"{where}: jumps by {1e-5 * rise[first]:.3g} bar from {begin:g} to {end:g} deg, "
        f"{100.0 * abs(rise[first]) / swing:.0f} % of its swing in one step; no cylinder pressure does, mend the file"
    )
