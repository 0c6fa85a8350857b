"""Cylinder pressure against crank angle: the sources, and the curves the solver reads.

A source is a function that returns the pressure curve of one cylinder over one working cycle. To add one, write it,
enter it in SOURCES, give its keys a model in `inputs.models`, and test it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

import numpy as np

from vibsim.engine.cycle import solve_at
from vibsim.engine.cycle_setup import Conditions, conditions_of
from vibsim.engine.layout import Layout, ResolvedCylinder
from vibsim.engine.trace_windows import periodic_spline
from vibsim.engine.traces import kind_of, trace_at
from vibsim.engine.volume import cylinder_volume
from vibsim.inputs.models import Engine, MotoredGas, TraceGas
from vibsim.jit import inlined, inner, kernel

STEP = math.radians(0.5)
HINTS = 1024
STANDARD_PRESSURE = 101325.0  # Pa


@dataclass(frozen=True)
class Operating:
    """Where on the map the engine runs: crank speed (rad/s), load (0 to 1), folder of the case's CSV files; of the
    working cycle the conditions in intake and exhaust, where more than the load has a say in them."""

    speed: float
    load: float
    folder: Path
    conditions: Conditions | None = None


@dataclass(frozen=True)
class Curve:
    """Piecewise cubic pressure over one cycle from firing top dead centre.

    `breaks` (n + 1) rad from 0 to the cycle's end; `coefficients` (n, 4) Pa, of powers of the angle past it.
    """

    breaks: np.ndarray
    coefficients: np.ndarray


# which curve a cylinder follows and the crank angle (rad) of its firing top dead centre
CHARGE = np.dtype([("curve", np.int64), ("firing", float)])


class Gas(NamedTuple):
    """Packed pressure curves. `coefficients` (speeds, curves, segments, 4); between `speeds` interpolated linearly."""

    active: bool
    charges: np.ndarray
    cycle: float
    ambient: float
    speeds: np.ndarray
    breaks: np.ndarray
    hint: np.ndarray
    coefficients: np.ndarray


@inlined
def cylinder_pressure(i, theta, speed, gas):
    """Absolute pressure (Pa) in cylinder `i` at crank angle `theta` (rad) and crank speed (rad/s)."""
    if not gas.active:
        return gas.ambient
    turned = (theta - gas.charges[i].firing) / gas.cycle
    turned -= math.floor(turned)
    local, k = turned * gas.cycle, gas.charges[i].curve
    segment = gas.hint[k, min(int(turned * HINTS), HINTS - 1)]
    while segment < gas.breaks.shape[1] - 2 and local >= gas.breaks[k, segment + 1]:
        segment += 1
    x = local - gas.breaks[k, segment]
    if gas.speeds.size == 1:
        return _cubic(gas.coefficients, 0, k, segment, x)
    speed, low = abs(speed), 0
    while low < gas.speeds.size - 2 and speed >= gas.speeds[low + 1]:
        low += 1
    share = (speed - gas.speeds[low]) / (gas.speeds[low + 1] - gas.speeds[low])
    share = min(max(share, 0.0), 1.0)
    lower = _cubic(gas.coefficients, low, k, segment, x)
    return lower + share * (_cubic(gas.coefficients, low + 1, k, segment, x) - lower)


@inner
def _cubic(c, speed, curve, segment, x):
    high = c[speed, curve, segment, 2] + x * c[speed, curve, segment, 3]
    return c[speed, curve, segment, 0] + x * (c[speed, curve, segment, 1] + x * high)


@kernel
def cylinder_pressures(angle, speed, gas):
    """Absolute pressures (n, cylinders) Pa at crank angles (n) rad and one crank speed (rad/s)."""
    found = np.empty((angle.size, gas.charges.size))
    for n in range(angle.size):
        for i in range(gas.charges.size):
            found[n, i] = cylinder_pressure(i, angle[n], speed, gas)
    return found


def no_gas(firing: list[float], cycle: float, ambient: float = STANDARD_PRESSURE) -> Gas:
    """Ambient pressure everywhere: the crank feels no gas."""
    charges = np.array([(0, angle) for angle in firing], dtype=CHARGE)
    return Gas(
        False,
        charges,
        cycle,
        ambient,
        np.zeros(1),
        np.zeros((1, 2)),
        np.zeros((1, 1), np.int64),
        np.zeros((1, 1, 1, 4)),
    )


def hermite_curve(angles: np.ndarray, values: np.ndarray, left: np.ndarray, right: np.ndarray) -> Curve:
    """Cubic pieces through values (n + 1) with the slopes at each piece's left (n) and right (n) end."""
    h, rise = np.diff(angles), np.diff(values)
    quadratic = (3.0 * rise / h - 2.0 * left - right) / h
    cubic = (left + right - 2.0 * rise / h) / h**2
    return Curve(angles, np.column_stack([values[:-1], left, quadratic, cubic]))


def motored_curve(engine: Engine, layout: Layout, cylinder: ResolvedCylinder, operating: Operating) -> Curve:
    """Polytropic p·Vⁿ = const while the valves are shut; intake pressure while one is open.

    The pressure left when a valve opens is let out over 10 degrees with a smooth blend (derived; a stated stand-in
    for blowdown, which the `cycle` source computes).
    """
    gas = engine.gas
    assert isinstance(gas, MotoredGas)
    outside = gas.intake_pressure or gas.ambient_pressure
    shut, opens, blend = layout.cycle + gas.closes, gas.opens, math.radians(10.0)
    blend = min(blend, 0.5 * (shut - opens))
    shut_volume = cylinder_volume(cylinder, np.array([shut]))[0][0]

    def closed(angle: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        volume, slope = cylinder_volume(cylinder, angle)
        pressure = outside * (shut_volume / volume) ** gas.polytropic_exponent
        return pressure, -gas.polytropic_exponent * pressure * slope / volume

    def opening(angle: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        pressure, slope = closed(angle)
        x = (angle - opens) / blend
        keep, keep_slope = 1.0 - x * x * (3.0 - 2.0 * x), -6.0 * x * (1.0 - x) / blend
        return outside + (pressure - outside) * keep, slope * keep + (pressure - outside) * keep_slope

    def still(angle: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return np.full_like(angle, outside), np.zeros_like(angle)

    pieces = [(0.0, opens, closed), (opens, opens + blend, opening), (opens + blend, shut, still)]
    return _joined([*pieces, (shut, layout.cycle, closed)])


def _joined(pieces: list) -> Curve:
    """One curve from pieces (start, end, function giving value and slope); slopes may jump where pieces meet."""
    curves = []
    for start, end, function in pieces:
        angles = np.linspace(start, end, max(2, math.ceil((end - start) / STEP) + 1))
        values, slopes = function(angles)
        curves.append(hermite_curve(angles, values, slopes[:-1], slopes[1:]))
    breaks = np.concatenate([curve.breaks[:-1] for curve in curves] + [curves[-1].breaks[-1:]])
    return Curve(breaks, np.concatenate([curve.coefficients for curve in curves]))


def trace_curve(engine: Engine, layout: Layout, cylinder: ResolvedCylinder, operating: Operating) -> Curve:
    """Periodic cubic spline through the points of a measured trace, made ready and interpolated (`engine.traces`)."""
    trace = trace_at(engine, layout, cylinder, operating.speed, operating.load, operating.folder)
    spline = periodic_spline(trace, layout.cycle)
    return _from_zero(spline.x, np.ascontiguousarray(spline.c.T[:, ::-1]), layout.cycle)


def _from_zero(breaks: np.ndarray, coefficients: np.ndarray, cycle: float) -> Curve:
    """Shift a periodic curve so that its pieces run from angle 0 to the cycle's end."""
    turns = math.floor(breaks[0] / cycle)
    breaks = breaks - turns * cycle
    cut = int(np.searchsorted(breaks, cycle, side="right")) - 1
    if breaks[0] < 1e-12:
        return Curve(np.append(breaks[:-1], cycle), coefficients)
    h = cycle - breaks[cut]
    c0, c1, c2, c3 = coefficients[cut]
    rest = np.array([c0 + h * (c1 + h * (c2 + h * c3)), c1 + h * (2 * c2 + 3 * h * c3), c2 + 3 * h * c3, c3])
    late = breaks[cut + 1 : -1] - cycle
    new_breaks = np.concatenate([[0.0], late, breaks[: cut + 1], [cycle]])
    pieces = np.vstack([rest, coefficients[cut + 1 :], coefficients[: cut + 1]])
    keep = np.diff(new_breaks) > 1e-12
    return Curve(np.append(new_breaks[:-1][keep], cycle), pieces[keep])


def cycle_curve(engine: Engine, layout: Layout, cylinder: ResolvedCylinder, operating: Operating) -> Curve:
    """The single-zone working cycle at this speed and load."""
    cycle = solve_at(engine, cylinder, operating.conditions or conditions_of(engine, operating.speed, operating.load))
    slopes = cycle.pressure_slope
    return hermite_curve(cycle.angle, cycle.pressure, slopes[:-1], slopes[1:])


Source = Callable[[Engine, Layout, ResolvedCylinder, Operating], Curve]
SOURCES: dict[str, Source] = {"motored": motored_curve, "trace": trace_curve, "cycle": cycle_curve}
SPEED_DEPENDENT = {"cycle"}


def depends_on_speed(engine: Engine) -> bool:
    """Whether the pressure curves change with crank speed: of the cycle, and of a folder of traces."""
    gas = engine.gas
    return gas.source in SPEED_DEPENDENT or (isinstance(gas, TraceGas) and gas.folder is not None)


def pack_gas(engine: Engine, layout: Layout, operating: list[Operating]) -> Gas:
    """Pressure curves of every cylinder at every operating point, ready for the solver.

    Sources that do not depend on speed are evaluated at the first point alone. Cylinders alike share one curve.
    """
    firing = [cylinder.firing for cylinder in layout.cylinders]
    source = SOURCES.get(engine.gas.source)
    if source is None:
        return no_gas(firing, layout.cycle)
    points = operating if depends_on_speed(engine) else operating[:1]
    kinds = [kind_of(engine, cylinder, points[0].folder) for cylinder in layout.cylinders]
    distinct = list(dict.fromkeys(kinds))
    examples = [layout.cylinders[kinds.index(kind)] for kind in distinct]
    curves = [[source(engine, layout, cylinder, point) for cylinder in examples] for point in points]
    return Gas(
        active=True,
        charges=np.array([(distinct.index(kind), at) for kind, at in zip(kinds, firing, strict=True)], dtype=CHARGE),
        cycle=layout.cycle,
        ambient=getattr(engine.gas, "ambient_pressure", STANDARD_PRESSURE),
        speeds=np.array([point.speed for point in points]),
        breaks=_padded_breaks(curves[0]),
        hint=np.array([_hints(curve, layout.cycle) for curve in curves[0]]),
        coefficients=np.array([_padded_coefficients(row) for row in curves]),
    )


def _hints(curve: Curve, cycle: float) -> np.ndarray:
    edges = np.arange(HINTS) * (cycle / HINTS)
    return np.clip(np.searchsorted(curve.breaks, edges * (1.0 - 1e-12), side="right") - 1, 0, len(curve.breaks) - 2)


def _padded_breaks(curves: list[Curve]) -> np.ndarray:
    size = max(len(curve.breaks) for curve in curves)
    if len(curves) == 1:
        return np.array([curves[0].breaks])
    return np.array([np.pad(curve.breaks, (0, size - len(curve.breaks)), constant_values=np.inf) for curve in curves])


def _padded_coefficients(curves: list[Curve]) -> np.ndarray:
    size = max(len(curve.coefficients) for curve in curves)
    if len(curves) == 1:
        return np.array([curves[0].coefficients])
    return np.array([np.pad(curve.coefficients, ((0, size - len(curve.coefficients)), (0, 0))) for curve in curves])
