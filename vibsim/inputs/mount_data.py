"""Measured mounts: CSV files of force against deflection and of dynamic stiffness."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from vibsim.inputs import units as u
from vibsim.inputs.columns import Sheet, columns_of, numbers, read_sheet
from vibsim.inputs.errors import InputError

FORCE = u.Unit("N", "N", "a force", ("N", "kN", "lbf"))
LEAST_POINTS = 4
STEEPEST = 100.0  # times the middle slope: a step in the force rather than a spring


def read_force_curves(path: Path, key: str) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Deflection (n) m and force (n) N of each axis ("x", "y", "z") that the file has a column for.

    Columns: `deflection_<unit>`, and of `force_x_<unit>`, `force_y_<unit>`, `force_z_<unit>` at least one: the force
    that deflects the mount, of the deflection's sign. Raises InputError for deflections that do not rise, forces that
    fall, or a force that jumps.
    """
    sheet = read_sheet(path, key)
    deflection = numbers(sheet, "deflection", u.LENGTH)
    axes = [axis for axis in "xyz" if columns_of(sheet, f"force_{axis}", True)]
    if not axes:
        raise InputError(f"{sheet.where}: must have a column force_x_N, force_y_N or force_z_N")
    _check_points(sheet, deflection)
    return {axis: (deflection, _force(sheet, axis, deflection)) for axis in axes}


def _check_points(sheet: Sheet, deflection: np.ndarray) -> None:
    if len(deflection) < LEAST_POINTS:
        raise InputError(f"{sheet.where}: has {len(deflection)} points; needs at least {LEAST_POINTS}")
    for (line, _), step, value in zip(sheet.rows[1:], np.diff(deflection), deflection[1:], strict=True):
        if step <= 0.0:
            raise InputError(
                f"{sheet.where}: line {line}: deflection: got {1e3 * value:g} mm; must rise from point to point"
            )
    if not deflection[0] < 0.0 < deflection[-1]:
        span = f"{1e3 * deflection[0]:g} to {1e3 * deflection[-1]:g} mm"
        raise InputError(f"{sheet.where}: deflection: got {span}; must reach to both sides of 0")


def _force(sheet: Sheet, axis: str, deflection: np.ndarray) -> np.ndarray:
    force = numbers(sheet, f"force_{axis}", FORCE)
    slopes = np.diff(force) / np.diff(deflection)
    usual = float(np.median(slopes))
    for (line, _), slope, value in zip(sheet.rows[1:], slopes, force[1:], strict=True):
        where = f"{sheet.where}: line {line}: force_{axis}: got {value:g} N"
        if slope < 0.0:
            raise InputError(f"{where}; must not fall as the deflection rises")
        if slope > STEEPEST * usual:
            raise InputError(
                f"{where}; jumps by {1e-3 * slope:.3g} N/mm, over {STEEPEST:.0f} times the middle slope, "
                f"{1e-3 * usual:.3g} N/mm"
            )
    return force


@dataclass(frozen=True)
class DynamicData:
    """Measured dynamic stiffness of one axis: its size (n) N/m, its loss angle (n) rad or None, over frequency (n) Hz
    or over amplitude (n) m, then measured `at` one frequency (Hz) if that is known."""

    path: Path
    stiffness: np.ndarray
    loss_angle: np.ndarray | None
    frequency: np.ndarray | None = None
    amplitude: np.ndarray | None = None
    at: float | None = None


def read_dynamic_stiffness(path: Path, over: str, at: float | None = None) -> DynamicData:
    """Columns `frequency_<unit>` or `amplitude_<unit>` as `over` says, `stiffness_<unit>` and `loss_angle_<unit>`; the
    loss angle may be absent over amplitude. Raises InputError naming the file and what is wrong in it."""
    sheet = read_sheet(path, "FILE.csv")
    unit = u.FREQUENCY if over == "frequency" else u.LENGTH
    places, stiffness = numbers(sheet, over, unit), numbers(sheet, "stiffness", u.STIFFNESS)
    angle = None
    if over == "frequency" or columns_of(sheet, "loss_angle", True):
        angle = numbers(sheet, "loss_angle", u.ANGLE)
    if len(places) < LEAST_POINTS:
        raise InputError(f"{sheet.where}: has {len(places)} points; needs at least {LEAST_POINTS}")
    for name, values in ((over, places), ("stiffness", stiffness)):
        low = values <= 0.0
        if low.any():
            line = sheet.rows[int(low.argmax())][0]
            raise InputError(f"{sheet.where}: line {line}: {name}: must be greater than 0")
    if angle is not None and np.any(np.abs(angle) >= 0.5 * np.pi):
        line = sheet.rows[int((np.abs(angle) >= 0.5 * np.pi).argmax())][0]
        raise InputError(f"{sheet.where}: line {line}: loss_angle: must lie between -90 and 90 deg")
    order = np.argsort(places, kind="stable")
    turned = None if angle is None else angle[order]
    return DynamicData(path, stiffness[order], turned, at=at, **{over: places[order]})
