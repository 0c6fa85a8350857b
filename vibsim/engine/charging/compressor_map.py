"""Compressor maps: read from CSV, checked, and tabulated for the kernels.

A map is tabulated on speed lines against a share of the way along each line, 0 at surge and 1 at choke (an auxiliary
coordinate as used for turbomachine maps in general: it stays single-valued where a line is flat or steep). Tabulated
are three coefficients that change little from line to line, so that between lines and beyond them similarity holds
(Dixon, Fluid Mechanics and Thermodynamics of Turbomachinery, ch. 2, from memory), with n the corrected speed over that
of the top line: flow φ = ṁ/n, head ψ = (Π^((γ−1)/γ) − 1)/n² and work λ = ψ/η.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

import numpy as np

from vibsim.engine.charging.air import EXPONENT
from vibsim.inputs.columns import read_columns
from vibsim.inputs.errors import InputError
from vibsim.inputs.units import MASS_FLOW, SPEED

FLOW, HEAD, WORK = range(3)  # columns of the table; their slopes by share follow in the same order
SLOPE = 3
RPM = math.pi / 30.0
FEWEST_LINES, FEWEST_POINTS = 3, 3
WIDEST_GAP = 0.6  # of the way along a line, between two points
WIDEST_STEP = 2.0  # between the speeds of two lines
UNLIKE_STEP = 1.75  # of the wider gap beside it: a line left out of an even row doubles one
UNLIKE_GAP, LEAST_GAP = 2.5, 0.3  # of the line's median gap, and of the way along it, between two points
VALLEY = 0.05  # of efficiency below both its neighbours: it has one peak along a line
SLOWEST, FASTEST = 1e3 * RPM, 1e6 * RPM
GREATEST_FLOW, GREATEST_RATIO = 20.0, 10.0
SAME_SHARE = 1e-9
COLUMNS = {
    "corrected_speed": SPEED,
    "corrected_mass_flow": MASS_FLOW,
    "total_pressure_ratio": None,
    "isentropic_efficiency": None,
}


@dataclass(frozen=True)
class SpeedLine:
    """One corrected speed (rad/s): corrected mass flow (k) kg/s rising, pressure ratio (k), isentropic efficiency (k).

    `rows` (k): line numbers in the file, for messages.
    """

    speed: float
    flow: np.ndarray
    ratio: np.ndarray
    efficiency: np.ndarray
    rows: np.ndarray

    @property
    def share(self) -> np.ndarray:
        """Place of each point along the line (k): the mean of its shares of flow range and pressure range."""
        along = (self.flow - self.flow[0]) / (self.flow[-1] - self.flow[0])
        down = (self.ratio[0] - self.ratio) / (self.ratio[0] - self.ratio[-1])
        return 0.5 * (along + down)


class Compressor(NamedTuple):
    """A tabulated map. `reference_speed` rad/s is the corrected speed of the top line, `reference_temperature` K and
    `reference_pressure` Pa those of the corrected values; `lines` (n) corrected speeds over the top one's, rising;
    `shares` (k) from 0 to 1; `table` (n, k, 6) flow (kg/s), head and work coefficient and their slopes by share."""

    reference_speed: float
    reference_temperature: float
    reference_pressure: float
    lines: np.ndarray
    shares: np.ndarray
    table: np.ndarray


def read_map(
    path: Path, temperature: float, pressure: float, key: str = "engine.charging.compressor.file"
) -> Compressor:
    """A map from a CSV file with columns corrected_speed_rpm, corrected_mass_flow_kg_per_s, total_pressure_ratio and
    isentropic_efficiency; rows of one speed are one line. Corrected to a reference temperature (K) and pressure (Pa).

    Raises InputError naming `key`, the file and what is wrong with the map.
    """
    columns, rows = read_columns(path, key, dict(COLUMNS))
    where = f"{key}: '{path}'"
    _check_values(where, columns, rows)
    speeds = columns["corrected_speed"]
    lines = [_line(columns, np.array(rows), speeds == speed) for speed in np.unique(speeds)]
    check_lines(where, lines)
    return tabulate(lines, [line.share for line in lines], temperature, pressure)


def _line(columns: dict[str, np.ndarray], rows: np.ndarray, chosen: np.ndarray) -> SpeedLine:
    order = np.argsort(columns["corrected_mass_flow"][chosen], kind="stable")
    speed, flow, ratio, efficiency = (columns[name][chosen][order] for name in COLUMNS)
    return SpeedLine(float(speed[0]), flow, ratio, efficiency, rows[chosen][order])


def _check_values(where: str, columns: dict[str, np.ndarray], rows: list[int]) -> None:
    limits = {
        "corrected_speed": (SLOWEST, FASTEST, "must lie between 1000 and 1000000 rpm; check the unit"),
        "corrected_mass_flow": (0.0, GREATEST_FLOW, f"must lie between 0 and {GREATEST_FLOW:g} kg/s; check the unit"),
        "total_pressure_ratio": (1.0, GREATEST_RATIO, f"must lie between 1 and {GREATEST_RATIO:g}"),
        "isentropic_efficiency": (0.0, 1.0, "must lie between 0 and 1, as a share and not in per cent"),
    }
    for name, (least, most, allowed) in limits.items():
        values = columns[name]
        wrong = np.flatnonzero((values <= least) | (values >= most))
        if wrong.size:
            unit = COLUMNS[name]
            shown = f"{values[wrong[0]]:g}" + (f" {unit.si}" if unit else "")
            raise InputError(f"{where}: line {rows[wrong[0]]}: {name}: got {shown}; {allowed}")


def check_lines(where: str, lines: list[SpeedLine]) -> None:
    """Raise InputError, beginning with `where`, for lines that make no map: too few, with holes, folded or crossing."""
    if len(lines) < FEWEST_LINES:
        raise InputError(f"{where}: has {len(lines)} speed lines; a map needs at least {FEWEST_LINES}")
    for line in lines:
        _check_line(f"{where}: speed line {line.speed / RPM:.6g} rpm", line)
    for slow, fast in itertools.pairwise(lines):
        between = f"{slow.speed / RPM:.6g} and {fast.speed / RPM:.6g} rpm"
        if fast.speed > WIDEST_STEP * slow.speed:
            raise InputError(f"{where}: a hole: no speed line between {between}; may be a factor {WIDEST_STEP:g} apart")
        common = (slow.ratio > fast.ratio[-1]) & (slow.ratio < fast.ratio[0])
        flow = np.interp(slow.ratio[common], fast.ratio[::-1], fast.flow[::-1])
        if np.any(flow <= slow.flow[common]) or fast.ratio[0] <= slow.ratio[0] or fast.flow[-1] <= slow.flow[-1]:
            raise InputError(f"{where}: speed lines {between} cross; flow and ratio must rise with speed")
    _check_steps(where, np.array([line.speed for line in lines]))


def _check_steps(where: str, speeds: np.ndarray) -> None:
    """A line missing between two speeds (n) shows in a gap much wider than those beside it."""
    gaps = np.diff(speeds)
    beside = np.maximum(np.append(0.0, gaps[:-1]), np.append(gaps[1:], 0.0))
    worst = int(np.argmax(gaps / beside))
    if gaps[worst] > UNLIKE_STEP * beside[worst]:
        low, high = speeds[worst : worst + 2] / RPM
        allowed = f"may be {UNLIKE_STEP:g} times as far apart as the lines beside, {beside[worst] / RPM:.6g} rpm"
        raise InputError(f"{where}: a hole: no speed line between {low:.6g} and {high:.6g} rpm; {allowed}")


def _check_line(where: str, line: SpeedLine) -> None:
    if line.flow.size < FEWEST_POINTS:
        raise InputError(f"{where}: has {line.flow.size} points; needs at least {FEWEST_POINTS} of the same speed")
    same = np.flatnonzero(np.diff(line.flow) <= 0.0)
    if same.size:
        raise InputError(f"{where}: rows {line.rows[same[0]]} and {line.rows[same[0] + 1]} have the same flow")
    rising = np.flatnonzero(np.diff(line.ratio) >= 0.0)
    if rising.size:
        at = rising[0]
        raise InputError(
            f"{where}: pressure ratio rises with flow from row {line.rows[at]} to {line.rows[at + 1]}; it must fall "
            "along the line (leave out points on the surge side of the peak)"
        )
    gaps = np.diff(line.share)
    gap = int(np.argmax(gaps))
    if gaps[gap] > min(WIDEST_GAP, max(LEAST_GAP, UNLIKE_GAP * float(np.median(gaps)))):
        low, high = line.flow[gap : gap + 2]
        raise InputError(f"{where}: a hole: no point between {low:.4g} and {high:.4g} kg/s")
    inside = line.efficiency[1:-1]
    valley = np.flatnonzero(inside < np.minimum(line.efficiency[:-2], line.efficiency[2:]) - VALLEY)
    if valley.size:
        at = valley[0] + 1
        allowed = f"lies below both its neighbours by more than {VALLEY:g}; it must rise to one peak and fall"
        raise InputError(f"{where}: row {line.rows[at]}: efficiency: got {line.efficiency[at]:g}; {allowed}")


def tabulate(lines: list[SpeedLine], shares: list[np.ndarray], temperature: float, pressure: float) -> Compressor:
    """Tabulate checked lines whose points lie at these shares (each rising from 0 to 1) of the way along them.

    Along a line monotone cubics (Fritsch & Carlson 1980), written at the nodes of all lines together: a cubic cut in
    two stays the same cubic, so that every point of the map is met. Across lines straight.
    """
    from scipy.interpolate import PchipInterpolator

    every = np.unique(np.concatenate(shares))
    nodes = every[np.append(True, np.diff(every) > SAME_SHARE)]
    nodes[-1] = 1.0
    top = lines[-1].speed
    table = np.empty((len(lines), nodes.size, 6))
    for row, line, share in zip(table, lines, shares, strict=True):
        n = line.speed / top
        head = (line.ratio**EXPONENT - 1.0) / n**2
        for column, values in ((FLOW, line.flow / n), (HEAD, head), (WORK, head / line.efficiency)):
            curve = PchipInterpolator(share, values)
            row[:, column], row[:, SLOPE + column] = curve(nodes), curve.derivative()(nodes)
    speeds = np.array([line.speed / top for line in lines])
    return Compressor(float(top), float(temperature), float(pressure), speeds, nodes, table)
