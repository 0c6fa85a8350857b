"""Pictures of the working cycle: pressure, log p–log V, heat release and temperature over crank angle."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from vibsim.engine.cycle_curves import burned_angle
from vibsim.engine.trace_fit import Slope
from vibsim.show.cycle_energy_figure import energy_figure
from vibsim.show.cycle_parts import (
    ANGLE,
    MOST_POINTS,
    Shown,
    degrees,
    legend,
    minus,
    open_parts,
    plain_logarithms,
    valve_bands,
    whole_cycle,
)
from vibsim.show.style import INK, colour, into_folder, plain
from vibsim.studies.cycle_view import SHARES, CycleView, Point

BAR, CUBIC_CM, PER_DEGREE = 1e-5, 1e6, math.radians(1.0)
LOW = 2.6  # bar, greatest that is shown of gas exchange, in intake or exhaust pressures
BESIDE, NEARLY_ALL = 20.0, 0.999  # deg shown beside the burn, up to which share of it
FIT = (0, (4, 2))


def draw_cycles(view: CycleView, title: str, folder: Path) -> list[Path]:
    """Write cycle-*.png into a folder, made if absent; the first six operating points in each."""
    shown = Shown(view, view.points[:MOST_POINTS], title)
    figures = {
        "cycle-pressure.png": _pressure(shown),
        "cycle-volume.png": _volume(shown),
        "cycle-temperature.png": _temperature(shown),
    }
    if any(point.cycle.fuel_heat > 0.0 for point in shown.points):
        figures["cycle-heat.png"] = _heat(shown)
        figures["cycle-energy.png"] = energy_figure(shown)
    return into_folder(figures, folder)


def _pressure(shown: Shown) -> Figure:
    figure = shown.figure("Cylinder pressure", 7.4)
    grid = figure.add_gridspec(
        2, 1, height_ratios=(2.2, 1.0), left=0.06, right=0.985, top=0.875, bottom=0.07, hspace=0.3
    )
    whole, low = figure.add_subplot(grid[0]), figure.add_subplot(grid[1])
    plain(whole, "The whole cycle", "", "pressure, bar")
    plain(low, "The same, low pressures: gas exchange", ANGLE, "pressure, bar")
    for index, point in enumerate(shown.points):
        angle, peak = degrees(point.curves.angle), BAR * point.cycle.peak_pressure
        at = math.degrees(point.cycle.peak_angle)
        words = minus(f"peak {peak:.1f} bar at {at:.1f}°")
        label = "as it runs" if shown.alone else f"{shown.label(point)}: {words}"
        for axes in (whole, low):
            axes.plot(angle, BAR * point.curves.pressure, color=colour(index), lw=1.8, label=label)
            if point.motored is not None:
                axes.plot(angle, BAR * point.motored.pressure, "--", color=colour(index), lw=1.2)
        _mark(whole, (at, peak), index, words if shown.alone else "")
    if any(point.motored is not None for point in shown.points):
        whole.plot([], [], "--", color=INK, lw=1.2, label="fuel cut, same intake")
    outside = max(max(p.cycle.conditions.intake_pressure, p.cycle.conditions.exhaust_pressure) for p in shown.points)
    low.set_ylim(0.0, LOW * BAR * outside)
    whole.set_ylim(bottom=0.0, top=1.08 * whole.get_ylim()[1])
    for axes in (whole, low):
        whole_cycle(axes, shown)
        valve_bands(axes, shown, named=axes is whole)
    legend(whole, loc="upper left", bbox_to_anchor=(0.0, 0.86))
    return figure


def _volume(shown: Shown) -> Figure:
    figure = shown.figure("log p–log V", 7.4)
    axes = figure.add_axes((0.07, 0.08, 0.915, 0.79))
    loop = "the loop below is gas exchange" if shown.view.cycle > 3.0 * math.pi else "gas exchange at the right end"
    title = f"Straight where valves are shut and nothing burns; {loop}"
    plain(axes, title, "cylinder volume, cm³", "pressure, bar")
    for index, point in enumerate(shown.points):
        volume, pressure = CUBIC_CM * point.curves.volume, BAR * point.curves.pressure
        axes.loglog(volume, pressure, color=colour(index), lw=1.6, label=_with_exponents(shown, point))
        exchange = np.abs(point.curves.angle) >= math.pi
        if shown.alone and shown.view.cycle > 3.0 * math.pi:
            outside = np.argsort(point.curves.angle[exchange] % shown.view.cycle, kind="stable")
            axes.fill(volume[exchange][outside], pressure[exchange][outside], color=colour(index), alpha=0.15, lw=0.0)
        for name, slope, side in (("compression", point.compression, -1), ("expansion", point.expansion, 1)):
            if slope is not None:
                _fitted(axes, point, slope, f"{name}: n = {slope.exponent:.3f}" if shown.alone else "", side)
    axes.plot([], [], ls=FIT, color=INK, lw=1.3, label="fitted: p·Vⁿ constant")
    plain_logarithms(axes)
    legend(axes, loc="upper right")
    return figure


def _with_exponents(shown: Shown, point: Point) -> str:
    if shown.alone:
        return minus(f"as it runs; gas exchange {BAR * point.cycle.pumping_mean_pressure:.2f} bar")
    fits = [("compression", point.compression), ("expansion", point.expansion)]
    words = [f"{name} {slope.exponent:.3f}" for name, slope in fits if slope is not None]
    return f"{shown.label(point)}: n of {', '.join(words)}" if words else shown.label(point)


def _fitted(axes: Axes, point: Point, slope: Slope, words: str, side: int) -> None:
    """The fitted line over its window, a little longer, and its exponent on its free side."""
    at = np.interp(slope.window, point.curves.angle, point.curves.volume)
    volume = np.geomspace(at.min() / 1.15, at.max() * 1.15, 3)
    pressure = BAR * np.exp(slope.intercept) * volume**-slope.exponent
    axes.loglog(CUBIC_CM * volume, pressure, ls=FIT, color=INK, lw=1.3 if words else 0.8, zorder=3.0)
    if words:
        place = CUBIC_CM * volume[1], pressure[1]
        how: dict[str, Any] = {"ha": "left", "va": "bottom"} if side > 0 else {"ha": "right", "va": "top"}
        axes.annotate(words, place, (8 * side, 4 * side), textcoords="offset points", fontsize=9, color=INK, **how)


def _heat(shown: Shown) -> Figure:
    figure = shown.figure("Heat release", 7.4)
    grid = figure.add_gridspec(
        2, 1, height_ratios=(1.3, 1.0), left=0.065, right=0.985, top=0.875, bottom=0.07, hspace=0.3
    )
    rate, share = figure.add_subplot(grid[0]), figure.add_subplot(grid[1])
    plain(rate, "Rate: released by burning, and lost to the cylinder's walls", "", "J per ° of crank")
    plain(share, "Burned so far", ANGLE, "% of what burns")
    burns = [point.cycle.burn for point in shown.points if point.cycle.burn is not None]
    low = math.degrees(min(burn.start for burn in burns)) - BESIDE
    done = [end for point in shown.points if (end := burned_angle(point.cycle, NEARLY_ALL)) is not None]
    high = max(math.degrees(max(done)) + BESIDE, 60.0)
    for index, point in enumerate(shown.points):
        angle, label = degrees(point.curves.angle), "released" if shown.alone else shown.label(point)
        rate.plot(angle, PER_DEGREE * point.curves.heat_rate, color=colour(index), lw=1.8, label=label)
        rate.plot(angle, PER_DEGREE * point.curves.wall_rate, "--", color=colour(index), lw=1.3)
        if point.cycle.burn is not None:
            share.plot(angle, 100.0 * point.curves.burned, color=colour(index), lw=1.8)
            _mark_shares(share, shown, point, index)
    rate.plot([], [], "--", color=INK, lw=1.3, label="to the walls")
    for axes in (rate, share):
        axes.set_xlim(max(low, -180.0), min(high, 180.0))
        axes.axvline(0.0, color="#BBBBBB", lw=0.9, zorder=0.5)
    least = min(PER_DEGREE * point.curves.wall_rate.min() for point in shown.points)
    rate.set_ylim(bottom=min(least, 0.0))
    share.set_ylim(0.0, 105.0)
    legend(rate, loc="upper right")
    return figure


def _mark_shares(axes: Axes, shown: Shown, point: Point, index: int) -> None:
    for share in SHARES:
        angle = burned_angle(point.cycle, 0.01 * share)
        assert angle is not None
        at = math.degrees(angle)
        _mark(axes, (at, share), index, minus(f"{share} % at {at:.1f}°") if shown.alone else "", -9)


def _mark(axes: Axes, place: tuple[float, float], index: int, words: str, up: int = 0) -> None:
    """A point on a curve and what it is, to the right of it and some points up."""
    axes.plot(*place, "o", color=colour(index), ms=6.0, mec="white")
    axes.annotate(words, place, (9, up), textcoords="offset points", fontsize=9, color=INK, va="center")


def _temperature(shown: Shown) -> Figure:
    figure = shown.figure("Gas temperature")
    axes = figure.add_axes((0.065, 0.085, 0.92, 0.775))
    plain(
        axes,
        "Mean of the gas in the cylinder; level: mean of what leaves, past the exhaust port",
        ANGLE,
        "temperature, K",
    )
    for index, point in enumerate(shown.points):
        angle, past = degrees(point.curves.angle), point.cycle.exhaust_temperature
        label = "in the cylinder" if shown.alone else f"{shown.label(point)}: exhaust {past:.0f} K"
        axes.plot(angle, point.curves.temperature, color=colour(index), lw=1.8, label=label)
        low, high = max(open_parts(shown.view.valves[1], shown.view.cycle), key=lambda part: part[1] - part[0])
        axes.hlines(past, low, high, color=colour(index), ls="--", lw=1.4)
        if shown.alone:
            most = int(point.curves.temperature.argmax())
            words = minus(f"{point.curves.temperature[most]:.0f} K at {angle[most]:.0f}°")
            _mark(axes, (float(angle[most]), float(point.curves.temperature[most])), index, words)
    only = shown.points[0].cycle
    words = f": {only.exhaust_temperature:.0f} K ({only.valve_temperature:.0f} K at the valve)" if shown.alone else ""
    axes.plot([], [], "--", color=INK, lw=1.4, label=f"exhaust past the port{words}")
    axes.set_ylim(bottom=0.0, top=1.1 * axes.get_ylim()[1])
    whole_cycle(axes, shown)
    valve_bands(axes, shown)
    legend(axes, loc="upper left", bbox_to_anchor=(0.0, 0.86))
    return figure
