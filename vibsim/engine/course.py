"""What a cylinder goes through over a cycle whatever it burns: volume and open areas, as cubics a kernel reads."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from vibsim.engine.layout import ResolvedCylinder
from vibsim.engine.volume import cylinder_volume
from vibsim.inputs.errors import InputError
from vibsim.jit import inner


class Valve(NamedTuple):
    """A valve or port: opens and closes at angles (rad) from firing top dead centre; greatest effective area, m²."""

    opens: float
    closes: float
    area: float


def shut_span(valves: tuple[Valve, Valve], cycle: float) -> tuple[float, float]:
    """Where the last valve closes before firing top dead centre (rad, negative) and the first opens after it.

    Raises InputError when a valve is open at firing top dead centre.
    """
    shut = max((valve.closes - 1e-12) % cycle - cycle for valve in valves)
    opens = min((valve.opens + 1e-12) % cycle for valve in valves)
    for name, valve in zip(("intake", "exhaust"), valves, strict=True):
        if (valve.closes - valve.opens) % cycle > (-valve.opens) % cycle > 0.0:
            raise InputError(
                f"engine.gas.{name}_opens_deg, {name}_closes_deg: got {math.degrees(valve.opens):g} and "
                f"{math.degrees(valve.closes):g} deg; must be shut at firing top dead centre, 0 deg"
            )
    return shut, opens


@inner
def course_at(cell, t, model):
    """Volume (m³), its slope (m³/rad), intake and exhaust area (m²) at a share `t` of a cell."""
    c = model.course
    high = c[cell, 2] + t * c[cell, 3]
    volume = c[cell, 0] + t * (c[cell, 1] + t * high)
    slope = (c[cell, 1] + t * (high + c[cell, 2] + 2.0 * t * c[cell, 3])) / model.step
    intake = c[cell, 4] + t * (c[cell, 5] + t * (c[cell, 6] + t * c[cell, 7]))
    exhaust = c[cell, 8] + t * (c[cell, 9] + t * (c[cell, 10] + t * c[cell, 11]))
    return volume, slope, max(intake, 0.0), max(exhaust, 0.0)


class Course(NamedTuple):
    """`cubics` (points, 12) over the share of each cell: four each for volume, intake and exhaust area; `first` cell
    that begins with the valves shut, `blowdown` that in which the exhaust opens."""

    cubics: np.ndarray
    first: int
    blowdown: int


@lru_cache(maxsize=64)
def course_of(cylinder: ResolvedCylinder, intake: Valve, exhaust: Valve, cycle: float, points: int) -> Course:
    """Course of a cylinder in cells of a cycle (rad)."""
    angle = np.linspace(0.0, cycle, points + 1)
    step = cycle / points
    parts = [_cubics(*cylinder_volume(cylinder, angle), step)]
    parts += [_cubics(*_open_area(angle, valve, cycle), step) for valve in (intake, exhaust)]
    found = np.concatenate(parts, axis=1)
    found.setflags(write=False)
    first = math.ceil(shut_span((intake, exhaust), cycle)[0] % cycle / cycle * points - 1e-9) % points
    return Course(found, first, int(exhaust.opens % cycle / cycle * points + 1e-9) % points)


def _open_area(angle: np.ndarray, valve: Valve, cycle: float) -> tuple[np.ndarray, np.ndarray]:
    """Effective area (n) that opens and shuts as a squared sine, and its slope; common practice."""
    span = (valve.closes - valve.opens) % cycle
    past = (angle - valve.opens) % cycle
    phase = np.where(past < span * (1.0 - 1e-12), past / span, 0.0) * math.pi
    return valve.area * np.sin(phase) ** 2, valve.area * math.pi / span * np.sin(2.0 * phase)


def _cubics(values: np.ndarray, slopes: np.ndarray, step: float) -> np.ndarray:
    """Coefficients (n, 4) of powers of the share of each cell that meet values and slopes (n + 1) at its ends."""
    rise, left, right = np.diff(values), step * slopes[:-1], step * slopes[1:]
    return np.column_stack([values[:-1], left, 3.0 * rise - 2.0 * left - right, left + right - 2.0 * rise])
