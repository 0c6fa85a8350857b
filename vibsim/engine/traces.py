"""Measured pressure traces made ready: read, aligned at top dead centre, smoothed, pegged, fitted, interpolated."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

from vibsim.engine.layout import Layout, ResolvedCylinder
from vibsim.engine.trace_fit import Ratio, Slope, apparent_ratio, slope
from vibsim.engine.trace_map import breaks_in_speed, weights
from vibsim.engine.trace_pegging import Level, exponent_is_fitted, peg, polytropic_level
from vibsim.engine.trace_smoothing import smooth, taken_away
from vibsim.engine.trace_top import Top, motored_peak, offset_by_symmetry
from vibsim.engine.trace_windows import Window, periodic_spline, spacing
from vibsim.inputs.errors import InputError
from vibsim.inputs.models import Engine, TraceGas
from vibsim.inputs.trace import Trace, read_trace
from vibsim.inputs.trace_index import INDEX, KEY, Measured, read_index

# degrees from firing top dead centre between which valves are shut and nothing burns; common practice
COMPRESSION: dict[int, Window] = {4: (-110.0, -40.0), 2: (-80.0, -40.0)}
EXPANSION: dict[int, Window] = {4: (60.0, 110.0), 2: (50.0, 80.0)}
MOTORED_COMPRESSION_END = math.radians(-10.0)


@dataclass(frozen=True)
class Prepared:
    """A trace made ready for one cylinder.

    `measured` says where it comes from (speed and load zero for a single file); `aligned` is as read, its angles less
    `offset`; `trace` what the cylinder gets; `removed` what smoothing took (Pa rms); the rest is fitted to `trace`,
    None where that cannot be: `ratio` also when the level was fitted so that the case's ratio comes out.
    """

    measured: Measured
    aligned: Trace
    trace: Trace
    offset: float
    level: Level
    removed: float
    compression: Slope | None
    expansion: Slope | None
    ratio: Ratio | None

    @property
    def file(self) -> str:
        return self.measured.file

    def peak(self, cycle: float) -> tuple[float, float]:
        """Peak pressure (Pa) of the spline and its crank angle (rad) from the nearest firing top dead centre."""
        step, highest = spacing(self.trace), self.trace.angles[int(np.argmax(self.trace.pressures))]
        angles = highest + np.linspace(-step, step, 201)
        pressures = periodic_spline(self.trace, cycle)(angles)
        index = int(np.argmax(pressures))
        return float(pressures[index]), math.remainder(float(angles[index]), cycle)


@dataclass(frozen=True)
class MotoredTop:
    """Top dead centre from the motored trace, and the compression ratio that trace fits."""

    top: Top
    ratio: Ratio | None


@dataclass(frozen=True)
class _Source:
    """A file with its stamp, so that a changed file is read again, and the key that named it."""

    path: Path
    key: str
    stamp: tuple[int, int]


@dataclass(frozen=True)
class _Job:
    """What to do to a trace: the case's keys (without file names), the cylinder, cycle (rad) and windows (rad)."""

    gas: TraceGas
    cylinder: ResolvedCylinder
    cycle: float
    compression: Window
    expansion: Window


def _source(path: Path, key: str) -> _Source:
    try:
        found = path.stat()
    except OSError:
        return _Source(path, key, (0, 0))  # reading it says what is wrong
    return _Source(path, key, (found.st_mtime_ns, found.st_size))


def _job(engine: Engine, layout: Layout, cylinder: ResolvedCylinder) -> _Job:
    gas = engine.gas
    assert isinstance(gas, TraceGas)
    settings = gas.model_copy(update={"file": None, "files": None, "folder": None})  # hashable
    return _Job(
        gas=settings,
        cylinder=cylinder,
        cycle=layout.cycle,
        compression=gas.compression_angles or _radians(COMPRESSION[engine.strokes]),
        expansion=gas.expansion_angles or _radians(EXPANSION[engine.strokes]),
    )


def _radians(window: Window) -> Window:
    return math.radians(window[0]), math.radians(window[1])


def measured_index(engine: Engine, folder: Path) -> tuple[Measured, ...]:
    """The index of the case's folder of traces. Raises InputError for cylinders unknown or left without a trace."""
    assert isinstance(engine.gas, TraceGas) and engine.gas.folder is not None
    rows = read_index(folder / engine.gas.folder)
    names = [cylinder.name for cylinder in engine.cylinder]
    told = {row.cylinder for row in rows}
    for name in sorted(told - {"", *names}):
        raise InputError(f"{KEY}: {INDEX}: cylinder: got '{name}'; allowed: {', '.join(names)}, or empty for all")
    for name in names:
        if "" not in told and name not in told:
            raise InputError(f"{KEY}: {INDEX}: has no trace for cylinder '{name}'")
    return rows


def own_traces(engine: Engine, cylinder: str, folder: Path) -> str | None:
    """What tells a cylinder's traces from those of the others: its own file, its name in the index, or None."""
    gas = engine.gas
    if not isinstance(gas, TraceGas):
        return None
    if gas.folder is None:
        return gas.files.get(cylinder)
    return cylinder if any(row.cylinder == cylinder for row in measured_index(engine, folder)) else None


def kind_of(engine: Engine, cylinder: ResolvedCylinder, folder: Path) -> tuple:
    """What cylinders must have in common to share a pressure curve: their geometry, fuel, timing and traces."""
    c = cylinder
    geometry = (c.radius, c.rod_length, c.offset, c.bore, c.compression_ratio)
    return (*geometry, c.fuelling, c.burn_shift, own_traces(engine, c.name, folder))


def prepared_traces(engine: Engine, layout: Layout, cylinder: ResolvedCylinder, folder: Path) -> list[Prepared]:
    """All traces of one cylinder, ready: one for a single file, the whole map for a folder.

    CSV files are looked for in `folder`. Raises InputError for what is wrong in a file or cannot be done to it.
    """
    gas, job = engine.gas, _job(engine, layout, cylinder)
    assert isinstance(gas, TraceGas)
    offset = _offset(engine, layout, cylinder, folder)
    if gas.folder is None:
        own = cylinder.name in gas.files
        name = str(gas.files[cylinder.name] if own else gas.file)
        source = _source(folder / name, f"engine.gas.files.{cylinder.name}" if own else "engine.gas.file")
        return [_prepare(source, Measured(name, 0.0, 0.0), job, offset)]
    rows = measured_index(engine, folder)
    mine = [row for row in rows if row.cylinder == cylinder.name] or [row for row in rows if not row.cylinder]
    return [_prepare(_source(folder / gas.folder / row.file, KEY), row, job, offset) for row in mine]


def motored_top(engine: Engine, layout: Layout, cylinder: ResolvedCylinder, folder: Path) -> MotoredTop | None:
    """Top dead centre from the case's motored trace, if it names one; its samples are fitted, not smoothed."""
    assert isinstance(engine.gas, TraceGas)
    if engine.gas.motored_file is None:
        return None
    source = _source(folder / engine.gas.motored_file, "engine.gas.motored_file")
    return _find_top(source, engine.gas.motored_file, _job(engine, layout, cylinder))


def _offset(engine: Engine, layout: Layout, cylinder: ResolvedCylinder, folder: Path) -> float:
    assert isinstance(engine.gas, TraceGas)
    found = motored_top(engine, layout, cylinder, folder)
    return found.top.offset if found else (engine.gas.top_dead_centre_offset or 0.0)


@lru_cache(maxsize=64)
def _find_top(source: _Source, name: str, job: _Job) -> MotoredTop:
    gas, where = job.gas, f"{source.key}: '{source.path}'"
    trace = read_trace(source.path, job.cycle, source.key, absolute=gas.pegging == "none")
    peak = motored_peak(trace, job.cycle, where)
    offset = peak + gas.loss_angle
    if job.cylinder.compression_ratio is None:
        return MotoredTop(Top(name, peak, offset, None), None)
    trace = Trace(trace.angles - offset, trace.pressures)
    if gas.pegging != "none":
        level = polytropic_level(trace, gas, job.cylinder, job.cycle, job.compression, where)
        trace = Trace(trace.angles, trace.pressures + level.added)
    left = offset_by_symmetry(trace, job.cylinder, job.cycle)
    by_symmetry = None if left is None else offset + left
    ratio = apparent_ratio(trace, job.cylinder, job.cycle, (job.compression[0], MOTORED_COMPRESSION_END))
    return MotoredTop(Top(name, peak, offset, by_symmetry), ratio)


@lru_cache(maxsize=512)
def _prepare(source: _Source, measured: Measured, job: _Job, offset: float) -> Prepared:
    gas, cycle, cylinder, where = job.gas, job.cycle, job.cylinder, f"{source.key}: '{source.path}'"
    read = read_trace(source.path, cycle, source.key, absolute=gas.pegging == "none")
    aligned = Trace(read.angles - offset, read.pressures)
    smoothed = smooth(aligned, gas, cycle, where)
    outside = measured.intake_pressure or gas.intake_pressure
    if gas.pegging == "intake" and outside is None:
        raise InputError(
            f"engine.gas.intake_pressure_kPa: is missing; pegging intake needs it, here or as a column of {INDEX}"
        )
    level = peg(smoothed, gas, cylinder, cycle, outside, job.compression, where)
    trace = Trace(smoothed.angles, smoothed.pressures + level.added)
    if trace.pressures.min() <= 0.0:
        least = 1e-5 * trace.pressures.min()
        raise InputError(f"{where}: least pressure {least:.3g} bar with its level set by pegging {gas.pegging}")
    for array in (aligned.angles, aligned.pressures, trace.angles, trace.pressures):
        array.flags.writeable = False
    known = cylinder.compression_ratio is not None
    return Prepared(
        measured=measured,
        aligned=aligned,
        trace=trace,
        offset=offset,
        level=level,
        removed=taken_away(aligned, smoothed, cycle),
        compression=slope(trace, cylinder, cycle, job.compression) if known else None,
        expansion=slope(trace, cylinder, cycle, job.expansion) if known else None,
        ratio=None if exponent_is_fitted(gas) else apparent_ratio(trace, cylinder, cycle, job.compression),
    )


def map_points(prepared: list[Prepared]) -> np.ndarray:
    """Crank speeds (rad/s) and loads (n, 2) of the traces of a folder."""
    return np.array([(item.measured.speed, item.measured.load) for item in prepared])


def trace_at(
    engine: Engine, layout: Layout, cylinder: ResolvedCylinder, speed: float, load: float, folder: Path
) -> Trace:
    """The trace of a cylinder at a crank speed (rad/s) and load: the single file, or from the map at equal angles.

    Raises InputError that names the measured range when the point lies outside the map.
    """
    prepared = prepared_traces(engine, layout, cylinder, folder)
    assert isinstance(engine.gas, TraceGas)
    if engine.gas.folder is None:
        return prepared[0].trace
    shares = weights(map_points(prepared), speed, load, f"{KEY}: '{engine.gas.folder}'")
    count = round(layout.cycle / min(spacing(item.trace) for item in prepared))
    angles = np.arange(count) * (layout.cycle / count)
    pressures = np.zeros(count)
    for share, item in zip(shares, prepared, strict=True):
        if share > 0.0:
            pressures += share * periodic_spline(item.trace, layout.cycle)(angles)
    return Trace(angles, pressures)


def some_point(engine: Engine, layout: Layout, folder: Path) -> tuple[float, float]:
    """Crank speed (rad/s) and load of one measured trace of the folder, for a case that says neither."""
    first = prepared_traces(engine, layout, layout.cylinders[0], folder)[0].measured
    return first.speed, first.load


def speed_nodes(engine: Engine, layout: Layout, speed: float, load: float, folder: Path) -> np.ndarray:
    """Crank speeds (m, rad/s) at which curves are needed so that a straight line between them is the map at a load.

    All within the measured range. Raises InputError when the speed a run begins with is outside.
    """
    low, high, found = 0.0, math.inf, []
    assert isinstance(engine.gas, TraceGas)
    for cylinder in layout.cylinders:
        points = map_points(prepared_traces(engine, layout, cylinder, folder))
        weights(points, speed, load, f"{KEY}: '{engine.gas.folder}'")
        breaks = breaks_in_speed(points, load)
        low, high = max(low, breaks[0]), min(high, breaks[-1])
        found.append(breaks)
    nodes = np.unique(np.concatenate(found))
    return nodes[(nodes >= low) & (nodes <= high)]
