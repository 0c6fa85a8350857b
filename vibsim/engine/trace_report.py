"""What was done to the measured traces, in lines to print, and where they do not fit the engine, as warnings."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

from vibsim.engine.layout import Layout, ResolvedCylinder
from vibsim.engine.trace_fit import Ratio, Slope
from vibsim.engine.trace_map import RPM, is_full_grid
from vibsim.engine.trace_pegging import exponent_is_fitted
from vibsim.engine.trace_smoothing import FILTER_ORDER, POLYNOMIAL
from vibsim.engine.traces import MotoredTop, Prepared, kind_of, map_points, motored_top, prepared_traces
from vibsim.inputs.models import Engine, TraceGas

COMPRESSION_EXPONENTS = (1.25, 1.40)  # common practice, no source
EXPANSION_EXPONENTS = (1.15, 1.45)  # common practice, no source
RATIO_SHARE = 0.15  # of the case's compression ratio: what heat loss and noise may make of it
RATIO_ERRORS = 2.0  # standard errors allowed on top
TOPS_APART = math.radians(0.5)
BAR = 1e-5  # per Pa


def distinct_cylinders(engine: Engine, layout: Layout, folder: Path) -> list[ResolvedCylinder]:
    """One cylinder of each kind."""
    kinds: dict[tuple, ResolvedCylinder] = {}
    for cylinder in layout.cylinders:
        kinds.setdefault(kind_of(engine, cylinder, folder), cylinder)
    return list(kinds.values())


@dataclass(frozen=True)
class Remarks:
    """Lines to print: what was done to measured data, and warnings of what is doubtful in it."""

    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


def trace_remarks(engine: Engine, layout: Layout, folder: Path) -> Remarks:
    """Lines on what was done to the traces, and warnings; nothing for other gas sources."""
    gas = engine.gas
    if not isinstance(gas, TraceGas):
        return Remarks()
    notes: list[str] = []
    warnings: list[str] = []
    prepared: list[Prepared] = []
    for cylinder in distinct_cylinders(engine, layout, folder):
        mine = prepared_traces(engine, layout, cylinder, folder)
        top = motored_top(engine, layout, cylinder, folder)
        notes += [_map_note(gas, mine), _top_note(gas, top)]
        warnings += [line for item in mine for line in _fit_warnings(gas, item, cylinder.compression_ratio)]
        warnings += _motored_warnings(top, cylinder.compression_ratio)
        prepared += mine
        if cylinder.compression_ratio is None:
            notes.append("traces against the engine: not checked, engine.compression_ratio is not given")
    notes += [_smoothing_note(gas, prepared), _pegging_note(gas, prepared)]
    if exponent_is_fitted(gas):
        notes.append("traces against the engine: with a fitted exponent any compression ratio fits; it is not checked")
    return Remarks(tuple(dict.fromkeys(notes)), tuple(dict.fromkeys(warnings)))


def _map_note(gas: TraceGas, prepared: list[Prepared]) -> str:
    if gas.folder is None:
        return f"pressure trace {prepared[0].file}: used at every speed and load"
    points = map_points(prepared)
    speeds, loads = points[:, 0] * RPM, points[:, 1]
    how = "bilinear on the full grid" if is_full_grid(points) else "linear in triangles between the points"
    return (
        f"pressure traces in {gas.folder}: {len(points)} from {speeds.min():.4g} to {speeds.max():.4g} rpm, load "
        f"{loads.min():g} to {loads.max():g}; {how}, at equal angles from top dead centre, none beyond"
    )


def _top_note(gas: TraceGas, found: MotoredTop | None) -> str:
    if found is None:
        given = gas.top_dead_centre_offset
        return "top dead centre: " + (
            "as the files say" if given is None else f"at {math.degrees(given):g}° of the files, as given"
        )
    top = found.top
    symmetry = (
        "" if top.by_symmetry is None else f"; symmetry of log p–log V gives {math.degrees(top.by_symmetry):.2f}°"
    )
    return (
        f"top dead centre: at {math.degrees(top.offset):.2f}° of the files, by the peak of {top.file} at "
        f"{math.degrees(top.peak):.2f}° and a loss angle of {math.degrees(gas.loss_angle):g}°{symmetry}"
    )


def _smoothing_note(gas: TraceGas, prepared: list[Prepared]) -> str:
    if gas.smoothing == "none":
        return "smoothing: none"
    if gas.smoothing == "savitzky_golay":
        assert gas.smoothing_window is not None
        how = f"Savitzky–Golay of degree {POLYNOMIAL} over {math.degrees(gas.smoothing_window):g}°"
    else:
        filtered = f"Butterworth of order {FILTER_ORDER}, forward and back: half is left at the cut-off"
        how = f"low pass at order {gas.smoothing_cut_off_order:g} ({filtered})"
    most = max(prepared, key=lambda item: item.removed)
    where = f" at most, of {most.file}" if len(prepared) > 1 else ""
    return f"smoothing: {how}; took away {BAR * most.removed:.3f} bar rms{where}"


def _pegging_note(gas: TraceGas, prepared: list[Prepared]) -> str:
    if gas.pegging == "none":
        return "pressure level: as in the files"
    how = f"mean over {math.degrees(gas.intake_window):g}° about intake bottom dead centre is the intake pressure"
    if gas.pegging == "polytropic":
        exponents = [item.level.exponent for item in prepared if item.level.exponent is not None]
        low, high = min(exponents), max(exponents)
        value = f"{low:.3f}" if high - low < 5e-4 else f"{low:.3f} to {high:.3f}"
        given = "given" if gas.pegging_exponent is not None else "fitted"
        how = f"compression follows exponent {value} ({given}), by {gas.pegging_fit.replace('_', ' ')}"
    moves = [BAR * item.level.added for item in prepared]
    low, high = min(moves), max(moves)
    by = f"{low:+.3f}" if high - low < 5e-4 else f"{low:+.3f} to {high:+.3f}"
    return f"pressure level: {how}; moved by {by} bar".replace("-", "−")


def _fit_warnings(gas: TraceGas, item: Prepared, ratio: float | None) -> list[str]:
    """Where a trace's slopes or compression ratio are not those of the engine."""
    if ratio is None:
        return []
    lines = _slope_warning(item.file, "compression", item.compression, COMPRESSION_EXPONENTS)
    lines += _slope_warning(item.file, "expansion", item.expansion, EXPANSION_EXPONENTS)
    return lines + ([] if exponent_is_fitted(gas) else _ratio_warning(item.file, item.ratio, ratio))


def _slope_warning(file: str, what: str, slope: Slope | None, expected: tuple[float, float]) -> list[str]:
    band = f"expected {expected[0]:.2f} to {expected[1]:.2f}"
    if slope is None:
        return [f"trace {file}: its {what} has too few samples for a polytropic exponent ({band})"]
    if expected[0] <= slope.exponent <= expected[1]:
        return []
    window = f"{math.degrees(slope.window[0]):g} to {math.degrees(slope.window[1]):g} deg"
    return [
        f"trace {file}: {what} follows exponent {slope.exponent:.2f} from {window}, {band}: pressure level, top "
        "dead centre or compression ratio may be off"
    ]


def _ratio_warning(file: str, found: Ratio | None, ratio: float) -> list[str]:
    if found is None:
        return [f"trace {file}: its compression fits no compression ratio; the case says {ratio:g}"]
    if abs(found.value - ratio) <= RATIO_SHARE * ratio + RATIO_ERRORS * found.error:
        return []
    return [
        f"trace {file}: its compression fits a ratio of {found.value:.1f} ± {found.error:.1f}, the case says "
        f"{ratio:g}: compression ratio, pressure level or top dead centre may be off"
    ]


def _motored_warnings(found: MotoredTop | None, ratio: float | None) -> list[str]:
    if found is None or ratio is None:
        return []
    top, lines = found.top, _ratio_warning(found.top.file, found.ratio, ratio)
    if top.by_symmetry is None:
        lines.append(f"trace {top.file}: log p–log V is not symmetric about its peak; is it a motored trace?")
    elif abs(top.by_symmetry - top.offset) > TOPS_APART:
        apart = math.degrees(abs(top.by_symmetry - top.offset))
        lines.append(
            f"trace {top.file}: top dead centre by the loss angle and by symmetry are {apart:.1f} deg apart, expected "
            f"at most {math.degrees(TOPS_APART):g}: check engine.gas.loss_angle, the pressure level and the trace"
        )
    return lines
