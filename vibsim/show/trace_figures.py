"""Picture of measured traces: one trace before and after, its slopes in log p–log V, where the traces were measured."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, LogLocator, MultipleLocator, NullLocator

from vibsim.engine.trace_fit import Slope
from vibsim.engine.trace_map import corners, is_full_grid
from vibsim.engine.trace_windows import between
from vibsim.engine.traces import Prepared, map_points
from vibsim.engine.volume import cylinder_volume
from vibsim.inputs.errors import VibsimError
from vibsim.inputs.trace import Trace
from vibsim.show.style import FAINT, INK, LONGEST_TITLE, colour, cut, new_figure, plain, save
from vibsim.studies.traces import RPM, CylinderTraces, Traces, nearest_trace

NEAR_TOP = (-60.0, 90.0)  # deg
BAR, CUBIC_CM = 1e-5, 1e6
LOWEST_SHOWN = 0.4  # bar, least height of the picture of the pressure level
AS_READ, USED = "as read, aligned", "as used"


def draw_traces(found: Traces, title: str, folder: Path) -> list[Path]:
    """Write traces.png into a folder, made if absent: the trace measured nearest to the run's speed and load."""
    kind, item = nearest_trace(found)
    heading = f"Measured cylinder pressure · {_name(found, item)} · {title}"
    figure = new_figure(12.5, 8.4, cut(heading, LONGEST_TITLE))
    grid = figure.add_gridspec(2, 2, left=0.06, right=0.985, top=0.9, bottom=0.075, wspace=0.16, hspace=0.33)
    cycle = found.layout.cycle
    _near_top(figure.add_subplot(grid[0, 0]), item, cycle)
    _level(figure.add_subplot(grid[0, 1]), found, item, cycle)
    _logarithmic(figure.add_subplot(grid[1, 0] if found.is_map else grid[1, :]), kind, item, cycle)
    if found.is_map:
        _measured_points(figure.add_subplot(grid[1, 1]), found, kind, item)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        return [save(figure, folder / "traces.png")]
    except OSError as error:
        raise VibsimError(f"{folder}: figures cannot be written ({error.strerror}); expected a folder") from None


def _name(found: Traces, item: Prepared) -> str:
    place = f", {item.measured.speed * RPM:.0f} rpm, load {item.measured.load:g}" if found.is_map else ""
    return item.file + place


def _around(trace: Trace, cycle: float, low: float, high: float) -> tuple[np.ndarray, np.ndarray]:
    """Angles in degrees and pressures in bar between two angles in degrees."""
    angle, pressure = between(trace, cycle, (math.radians(low), math.radians(high)))
    return np.degrees(angle), BAR * pressure


def _before_and_after(axes: Axes, item: Prepared, cycle: float, low: float, high: float) -> None:
    axes.plot(*_around(item.aligned, cycle, low, high), ".", color=colour(1), ms=3.5, label=AS_READ)
    axes.plot(*_around(item.trace, cycle, low, high), "-", color=colour(0), lw=1.6, label=USED)
    axes.set_xlim(low, high)


def _near_top(axes: Axes, item: Prepared, cycle: float) -> None:
    peak, angle = item.peak(cycle)
    title = f"Peak {BAR * peak:.1f} bar at {math.degrees(angle):.1f}°; smoothing took {BAR * item.removed:.3f} bar rms"
    plain(axes, title, "crank angle from firing top dead centre, °", "pressure, bar")
    _before_and_after(axes, item, cycle, *NEAR_TOP)
    axes.axvline(0.0, color=FAINT, lw=1.0)
    axes.xaxis.set_major_locator(MultipleLocator(30.0))
    axes.legend(fontsize=8, frameon=False, loc="upper right")


def _level(axes: Axes, found: Traces, item: Prepared, cycle: float) -> None:
    """The low pressures, where an error of level is seen."""
    half, gas = math.degrees(0.5 * cycle), found.gas
    moved = f"{BAR * item.level.added:+.3f}".replace("-", "−")
    title = "Pressure level: as in the file" if gas.pegging == "none" else f"Level moved by {moved} bar ({gas.pegging})"
    plain(axes, title, "crank angle from firing top dead centre, °", "pressure, bar")
    _before_and_after(axes, item, cycle, -half, half)
    outside = item.measured.intake_pressure or gas.intake_pressure
    if gas.pegging == "intake" and outside is not None:
        width = math.degrees(gas.intake_window)
        axes.axvspan(-180.0 - 0.5 * width, -180.0 + 0.5 * width, color=colour(2), alpha=0.25, lw=0.0, label="set here")
        axes.axhline(BAR * outside, color=colour(2), lw=1.2, ls="--", label="intake pressure")
    if gas.pegging == "polytropic" and item.compression is not None:
        low, high = (math.degrees(angle) for angle in item.compression.window)
        axes.axvspan(low, high, color=colour(2), alpha=0.25, lw=0.0, label="set here")
    quiet = np.concatenate([_around(trace, cycle, -half, -100.0)[1] for trace in (item.aligned, item.trace)])
    low, span = quiet.min(), max(np.ptp(quiet), LOWEST_SHOWN)
    axes.set_ylim(min(low - 0.25 * span, 0.0), low + 2.2 * span)
    axes.xaxis.set_major_locator(MultipleLocator(90.0))
    axes.legend(fontsize=8, frameon=False, loc="lower right", bbox_to_anchor=(1.0, 0.98), ncols=2, columnspacing=1.0)


def _logarithmic(axes: Axes, kind: CylinderTraces, item: Prepared, cycle: float) -> None:
    plain(axes, "Straight where valves are shut and nothing burns", "cylinder volume, cm³", "pressure, bar")
    if kind.cylinder.compression_ratio is None:
        axes.set_axis_off()
        axes.text(0.0, 0.9, "engine.compression_ratio is not given: no volumes", transform=axes.transAxes, fontsize=9)
        return
    ratio = f", the case says {kind.cylinder.compression_ratio:g}"
    if item.ratio is not None:
        found = f"fits compression ratio {item.ratio.value:.1f} ± {item.ratio.error:.1f}{ratio}"
        axes.set_title(f"log p–log V: {found}", fontsize=10, loc="left", color=INK)
    angles = np.append(item.trace.angles, item.trace.angles[0])
    volume = CUBIC_CM * cylinder_volume(kind.cylinder, angles)[0]
    axes.loglog(volume, BAR * np.append(item.trace.pressures, item.trace.pressures[0]), color=colour(0), lw=1.3)
    for index, (what, slope) in enumerate((("compression", item.compression), ("expansion", item.expansion))):
        if slope is not None:
            _draw_slope(axes, kind, slope, what, 1 + index)
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
        axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
        axis.set_minor_locator(NullLocator())
    axes.legend(fontsize=8, frameon=False, loc="upper right")


def _draw_slope(axes: Axes, kind: CylinderTraces, slope: Slope, what: str, number: int) -> None:
    ends = cylinder_volume(kind.cylinder, np.array(slope.window))[0]
    volume = np.geomspace(ends.min() / 1.25, ends.max() * 1.25, 2)
    pressure = BAR * np.exp(slope.intercept) * volume**-slope.exponent
    low, high = (math.degrees(angle) for angle in slope.window)
    label = f"{what}: n = {slope.exponent:.3f} from {low:g}° to {high:g}°".replace("-", "−")
    style = "--" if number == 1 else "-."
    axes.loglog(CUBIC_CM * volume, pressure, style, color=colour(number), lw=2.2, label=label)


def _measured_points(axes: Axes, found: Traces, kind: CylinderTraces, item: Prepared) -> None:
    points = map_points(kind.traces)
    how = "bilinear between" if is_full_grid(points) else "linear in triangles between"
    plain(axes, f"Measured points, {how} them", "crank speed, rpm", "load")
    rpm, load = points[:, 0] * RPM, points[:, 1]
    if is_full_grid(points):
        axes.hlines(np.unique(load), rpm.min(), rpm.max(), color=FAINT, lw=1.0)
        axes.vlines(np.unique(rpm), load.min(), load.max(), color=FAINT, lw=1.0)
    else:
        axes.triplot(rpm, load, corners(points), color=FAINT, lw=1.0)
    axes.plot(rpm, load, "o", color=colour(0), ms=7.0, label="measured")
    place = item.measured.speed * RPM, item.measured.load
    axes.plot(*place, "o", mfc="none", mec=INK, ms=13.0, label="shown here")
    warned = {line.split(":")[0] for line in found.remarks.warnings}
    doubtful = np.array([f"trace {entry.file}" in warned for entry in kind.traces])
    if doubtful.any():
        axes.plot(rpm[doubtful], load[doubtful], "x", color=colour(1), ms=10.0, mew=2.2, label="warned of")
    if found.speed is not None and found.load is not None:
        axes.plot(found.speed * RPM, found.load, "*", color=colour(2), ms=15.0, label="the run")
    axes.margins(0.12)
    axes.set_ylim(-0.05, 1.28)
    axes.legend(fontsize=8, frameon=False, loc="upper center", ncols=4)
