"""Cylinder pressure against crank angle: the sources, and the curves the solver reads.

A source is a function that returns the pressure curve of one cylinder over one working cycle. To add one, write it,
enter it in SOURCES, give its keys a model in `inputs.models`, and test it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from vibsim.engine.cycle import solve_at
from vibsim.engine.cycle_setup import Conditions, conditions_of
from vibsim.engine.layout import Layout, ResolvedCylinder
from vibsim.engine.node_grid import Nodes, one_node
from vibsim.engine.packed_gas import CHARGE, HINTS, Gas
from vibsim.engine.trace_windows import periodic_spline
from vibsim.engine.traces import kind_of, trace_at
from vibsim.engine.volume import cylinder_volume
from vibsim.inputs.models import Engine, MotoredGas, TraceGas

STEP = math.radians(0.5)
STANDARD_PRESSURE = 101325.0  # Pa


@dataclass(frozen=True)
class Operating:
    """Where on the map the engine runs: crank speed (rad/s), load (0 to 1), folder of the case's CSV files; of the
    working cycle the conditions in intake and exhaust, where more than the load has a say in them, and whether it
    burns anything."""

    speed: float
    load: float
    folder: Path
    conditions: Conditions | None = None
    fired: bool = True


@dataclass(frozen=True)
class Curve:
    """Piecewise cubic pressure over one cycle from firing top dead centre.

    `breaks` (n + 1) rad from 0 to the cycle's end; `coefficients` (n, 4) Pa, of powers of the angle past it.
    """

    breaks: np.ndarray
    coefficients: np.ndarray


def no_gas(firing: list[float], cycle: float, ambient: float = STANDARD_PRESSURE) -> Gas:
    """Ambient pressure everywhere: the crank feels no gas."""
    return Gas(
        active=False,
        charges=_charges([0] * len(firing), firing),
        cycle=cycle,
        ambient=ambient,
        nodes=one_node(0.0, ambient, ambient),
        intake=ambient,
        exhaust=ambient,
        breaks=np.zeros((1, 2)),
        hint=np.zeros((1, 1), np.int64),
        coefficients=np.zeros((1, 1, 1, 4)),
        unfired=np.zeros((0, 0, 0, 4)),
        shares=np.zeros((0, 0)),
    )


def _charges(curves: list[int], firing: list[float]) -> np.ndarray:
    return np.array([(curve, at, 0.0) for curve, at in zip(curves, firing, strict=True)], dtype=CHARGE)


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
    cycle = solve_at(engine, cylinder, conditions_at(engine, operating))
    slopes = cycle.pressure_slope
    return hermite_curve(cycle.angle, cycle.pressure, slopes[:-1], slopes[1:])


def conditions_at(engine: Engine, operating: Operating) -> Conditions:
    """What the cylinders work under at an operating point."""
    found = operating.conditions or conditions_of(engine, operating.speed, operating.load)
    return found if operating.fired else replace(found, fuelling=0.0)


Source = Callable[[Engine, Layout, ResolvedCylinder, Operating], Curve]
SOURCES: dict[str, Source] = {"motored": motored_curve, "trace": trace_curve, "cycle": cycle_curve}
SPEED_DEPENDENT = {"cycle"}


def depends_on_speed(engine: Engine) -> bool:
    """Whether the pressure curves change with crank speed: of the cycle, and of a folder of traces."""
    gas = engine.gas
    return gas.source in SPEED_DEPENDENT or (isinstance(gas, TraceGas) and gas.folder is not None)


def pack_gas(engine: Engine, layout: Layout, operating: list[Operating], partner: bool = False) -> Gas:
    """Pressure curves of every cylinder at operating points of ascending speed, ready for the solver; `partner`: with
    those of the same cylinder with nothing burned, which only the working cycle gives.

    Sources that do not depend on speed are evaluated at the first point alone. Cylinders alike share one curve.
    """
    points = operating if depends_on_speed(engine) else operating[:1]
    ambient = getattr(engine.gas, "ambient_pressure", STANDARD_PRESSURE)
    intake, exhaust = ambient, ambient
    if engine.gas.source == "cycle":
        at = conditions_at(engine, points[0])
        intake, exhaust = at.intake_pressure, at.exhaust_pressure
    nodes = Nodes(np.array([point.speed for point in points]), np.array([intake]), np.array([exhaust]))
    return _packed(engine, layout, points, nodes, partner)


def pack_gas_nodes(engine: Engine, layout: Layout, points: list[Operating], nodes: Nodes, partner: bool = False) -> Gas:
    """The same of the working cycle at points that say by themselves what the cylinders work under, one for each node
    of crank speed, intake and exhaust pressure."""
    return _packed(engine, layout, points, nodes, partner)


def _packed(engine: Engine, layout: Layout, points: list[Operating], nodes: Nodes, partner: bool) -> Gas:
    firing = [cylinder.firing for cylinder in layout.cylinders]
    source = SOURCES.get(engine.gas.source)
    if source is None:
        return no_gas(firing, layout.cycle)
    kinds = [kind_of(engine, cylinder, points[0].folder) for cylinder in layout.cylinders]
    distinct = list(dict.fromkeys(kinds))
    examples = [layout.cylinders[kinds.index(kind)] for kind in distinct]

    def curves(fired: bool) -> list[list[Curve]]:
        """Of each kind of cylinder at each point."""
        at = [replace(point, fired=fired) for point in points]
        return [[source(engine, layout, cylinder, point) for point in at] for cylinder in examples]

    found = curves(True)
    first = [of_kind[0] for of_kind in found]
    return Gas(
        active=True,
        charges=_charges([distinct.index(kind) for kind in kinds], firing),
        cycle=layout.cycle,
        ambient=getattr(engine.gas, "ambient_pressure", STANDARD_PRESSURE),
        nodes=nodes,
        intake=float(nodes.intakes[0]),
        exhaust=float(nodes.exhausts[0]),
        breaks=_padded_breaks(first),
        hint=np.array([_hints(curve, layout.cycle) for curve in first]),
        coefficients=_padded_coefficients(found),
        unfired=_padded_coefficients(curves(False)) if partner else np.zeros((0, 0, 0, 4)),
        shares=np.zeros((0, 0)),
    )


def _hints(curve: Curve, cycle: float) -> np.ndarray:
    edges = np.arange(HINTS) * (cycle / HINTS)
    return np.clip(np.searchsorted(curve.breaks, edges * (1.0 - 1e-12), side="right") - 1, 0, len(curve.breaks) - 2)


def _padded_breaks(curves: list[Curve]) -> np.ndarray:
    if len(curves) == 1:
        return curves[0].breaks[None]
    size = max(len(curve.breaks) for curve in curves)
    return np.array([np.pad(curve.breaks, (0, size - len(curve.breaks)), constant_values=np.inf) for curve in curves])


def _padded_coefficients(curves: list[list[Curve]]) -> np.ndarray:
    """(kinds, segments, points, 4): one segment's points lie together in memory."""
    size = max(len(of_kind[0].coefficients) for of_kind in curves)
    tables = [np.stack([curve.coefficients for curve in of_kind], axis=1) for of_kind in curves]
    if len(tables) == 1:
        return tables[0][None]
    return np.array([np.pad(table, ((0, size - len(table)), (0, 0), (0, 0))) for table in tables])
