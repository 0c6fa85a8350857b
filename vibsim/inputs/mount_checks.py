"""Checks of `[[mount]]` that span several keys: matrices, stops, tables, fluids. Values are in SI units."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np

Report = Callable[[tuple[str | int, ...], Any, str], None]
Where = tuple[str | int, ...]

SLACK = 1e-9  # of the largest entry: a matrix this far below zero is zero
SLOWEST_FLUID, FASTEST_FLUID = 0.1, 500.0  # Hz, of the fluid's own resonance in any engine mount, with room
FASTEST_BAND = 750.0  # Hz, below what relaxation the run's steps resolve
FASTEST_LOSS = 5e3  # 1/s, resistance over inertance: beyond it the fluid's mass is of no account


def check_mount(mount: dict[str, Any], where: Where, report: Report) -> None:
    """Report what is wrong with one mount; values that are no numbers are reported elsewhere."""
    law = mount.get("law", "linear")
    _check_matrix(mount, where, report)
    if law in CHECKS:
        CHECKS[law](mount, where, report)


def _row(value: Any, size: int | None = None) -> np.ndarray | None:
    """A tuple of finite numbers as an array, or None."""
    if not isinstance(value, tuple) or (size is not None and len(value) != size):
        return None
    if not all(isinstance(item, int | float) and not isinstance(item, bool) and math.isfinite(item) for item in value):
        return None
    return np.array(value, dtype=float)


def _number(mount: dict[str, Any], key: str) -> float | None:
    value = mount.get(key)
    good = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    return float(value) if good else None  # type: ignore[arg-type]


def _check_matrix(mount: dict[str, Any], where: Where, report: Report) -> None:
    """A stiffness matrix must not give energy away: positive semi-definite."""
    cross = _row(mount.get("cross_stiffness"), 3)
    rows = mount.get("stiffness_at_speed", (mount.get("stiffness", (0.0, 0.0, 0.0)),))
    for row in rows if isinstance(rows, tuple) else ():
        along = _row(row, 3)
        if cross is None or along is None or not np.any(cross):
            continue
        xy, xz, yz = cross
        least, _, greatest = np.linalg.eigvalsh([[along[0], xy, xz], [xy, along[1], yz], [xz, yz, along[2]]])
        if least < -SLACK * max(greatest, 1.0):
            allowed = (
                f"with stiffness {_in_newtons(along)} the matrix has the principal stiffness {1e-3 * least:.4g} N/mm; "
                "none may be negative"
            )
            report((*where, "cross_stiffness"), f"{_in_newtons(cross)}", allowed)
            return


def _in_newtons(values: np.ndarray) -> str:
    return ", ".join(f"{1e-3 * value:g}" for value in values) + " N/mm"


def _check_gap(mount: dict[str, Any], where: Where, gap: str, rates: str, report: Report) -> None:
    ends = _row(mount.get(gap), 2)
    if ends is not None and not ends[0] <= 0.0 <= ends[1]:
        report((*where, gap), f"{1e3 * ends[0]:g}, {1e3 * ends[1]:g} mm", "must be [minus, plus] with 0 between")
    if (gap in mount) != (rates in mount):
        absent, given = (rates, gap) if gap in mount else (gap, rates)
        key = f"{absent}_{'mm' if absent == gap else 'N_per_mm'}"
        report((*where, key), None, f"is missing; {given} needs it")


def _check_bump_stop(mount: dict[str, Any], where: Where, report: Report) -> None:
    for axis in "xyz":
        _check_gap(mount, where, f"gap_{axis}", f"stop_stiffness_{axis}", report)
    if not any(f"gap_{axis}" in mount or f"stop_stiffness_{axis}" in mount for axis in "xyz"):
        report((*where, "gap_x_mm"), None, "is missing, as are gap_y and gap_z; give a stop")


def _check_rod(mount: dict[str, Any], where: Where, report: Report) -> None:
    _check_gap(mount, where, "gap", "stop_stiffness", report)
    start, end = _row(mount.get("at"), 3), _row(mount.get("to"), 3)
    if start is not None and end is not None and np.linalg.norm(end - start) < 1e-3:
        report((*where, "to"), f"{1e3 * np.linalg.norm(end - start):g} mm from at", "a rod must be at least 1 mm long")


def _check_loss_factor(mount: dict[str, Any], where: Where, report: Report) -> None:
    band = _row(mount.get("band"), 2)
    if band is not None and not (band[0] > 0.0 and 2.0 * band[0] <= band[1] <= FASTEST_BAND):
        allowed = f"must rise from above 0 to at least twice as much, {FASTEST_BAND:g} Hz at most"
        report((*where, "band"), f"{band[0]:g}, {band[1]:g} Hz", allowed)


def _check_relaxation(mount: dict[str, Any], where: Where, report: Report) -> None:
    ratios, times = mount.get("relaxation_ratio"), mount.get("relaxation_time")
    if isinstance(ratios, tuple) and isinstance(times, tuple) and len(ratios) != len(times):
        report((*where, "relaxation_time"), f"{len(times)} times", f"must have one per relaxation_ratio, {len(ratios)}")


def _check_hydraulic(mount: dict[str, Any], where: Where, report: Report) -> None:
    inertance = _check_track(mount, where, report)
    upper, lower = _number(mount, "upper_compliance"), _number(mount, "lower_compliance")
    if upper and lower and lower < upper:
        report(
            (*where, "lower_compliance"),
            f"{1e12 * lower:g} mm^3/kPa",
            f"must be at least upper_compliance, {1e12 * upper:g}; the lower chamber is the soft one",
        )
    resistance, area = _number(mount, "track_resistance"), _number(mount, "piston_area")
    if upper and lower and inertance and upper > 0.0 and lower > 0.0:
        own = math.sqrt((1.0 / upper + 1.0 / lower) / inertance) / (2.0 * math.pi)
        if not SLOWEST_FLUID <= own <= FASTEST_FLUID:
            allowed = (
                f"the fluid's own frequency must be {SLOWEST_FLUID:g} to {FASTEST_FLUID:g} Hz; check compliances and "
                "track_inertance"
            )
            report((*where, "upper_compliance"), f"a fluid at {own:.4g} Hz", allowed)
        elif resistance is not None and resistance / inertance > FASTEST_LOSS:
            most = 1e-6 * FASTEST_LOSS * inertance
            report((*where, "track_resistance"), f"{1e-6 * resistance:g} kPa s/L", f"must be at most {most:.4g}")
    _check_decoupler(mount, where, area, report)


def _check_track(mount: dict[str, Any], where: Where, report: Report) -> float | None:
    """The inertance, given or from the track's shape; reports when neither or both are there."""
    shape = ("track_length", "track_area", "fluid_density")
    given = [key for key in shape if key in mount]
    inertance = _number(mount, "track_inertance")
    if "track_inertance" in mount and given:
        report((*where, given[0]), None, "is given beside track_inertance, which says the same; keep one")
    elif "track_inertance" not in mount and len(given) < 3:
        absent = ", ".join(key for key in shape if key not in mount)
        report((*where, "track_inertance_kg_per_m4"), None, f"is missing; or give the track's shape: {absent}")
    elif "track_inertance" not in mount:
        length, area, density = (_number(mount, key) for key in shape)
        if length and area and density and min(length, area, density) > 0.0:
            return density * length / area
    return inertance if inertance is not None and inertance > 0.0 else None


def _check_decoupler(mount: dict[str, Any], where: Where, piston: float | None, report: Report) -> None:
    keys = {"decoupler_area": "mm2", "decoupler_travel": "mm", "decoupler_resistance": "kPa_s_per_L"}
    absent = [f"{key}_{unit}" for key, unit in keys.items() if key not in mount]
    if 0 < len(absent) < len(keys):
        report((*where, absent[0]), None, "is missing; a decoupler needs " + ", ".join(keys))
    area = _number(mount, "decoupler_area")
    if area is not None and piston is not None and area > piston:
        allowed = f"must be at most piston_area, {1e6 * piston:g} mm^2"
        report((*where, "decoupler_area"), f"{1e6 * area:g} mm^2", allowed)


def _check_scheduled(mount: dict[str, Any], where: Where, report: Report) -> None:
    speeds = _row(mount.get("speed"))
    if speeds is None:
        return
    if np.any(np.diff(speeds) <= 0.0):
        shown = ", ".join(f"{speed * 30.0 / math.pi:g}" for speed in speeds) + " rpm"
        report((*where, "speed"), shown, "must rise from row to row")
    for key in ("stiffness_at_speed", "damping_at_speed"):
        rows = mount.get(key)
        if isinstance(rows, tuple) and len(rows) != len(speeds):
            report((*where, key), f"{len(rows)} rows", f"must have one row per speed, {len(speeds)}")


CHECKS: dict[str, Callable[[dict[str, Any], Where, Report], None]] = {
    "bump_stop": _check_bump_stop,
    "torque_rod": _check_rod,
    "loss_factor": _check_loss_factor,
    "relaxation": _check_relaxation,
    "hydraulic": _check_hydraulic,
    "scheduled": _check_scheduled,
}
