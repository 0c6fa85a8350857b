"""The air path over a run: boost build-up, temperatures, and the operating line on the compressor's map."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from vibsim.engine.charging.compressor_map import Compressor
from vibsim.post.load_step import cycle_mean, work_mean
from vibsim.results.labelled import Group
from vibsim.show.compressor_figures import NOTE, RING, draw_map
from vibsim.show.style import FAINT, INK, LONGEST_TITLE, colour, cut, line, new_figure, plain

RPM = 30.0 / math.pi
ZERO = 273.15
LINE_POINTS = 40  # of the operating line
NEAR_LIMIT = 25.0  # K below where derating starts: from there on it is drawn
SHORT_TITLE = 84  # characters, of the smaller figure
LIFTING = 1.02  # pressure ratio from which a compressor is at work


def _heading(results: Group, what: str) -> str:
    attributes = results.attributes
    speed = f"{attributes['set_speed_rad_per_s'] * RPM:.0f} rpm"
    load = f"load {attributes['load']:g}"
    if "load_after" in attributes:
        load += f" → {attributes['load_after']:g}"
    return cut(f"{what} · {load} at {speed} · {attributes['title']}", LONGEST_TITLE)


def _falls(results: Group) -> bool:
    """Whether the run steps down."""
    return results.attributes.get("load_after", 1.0) < results.attributes["load"]


def _mark_step(axes: Axes, results: Group) -> None:
    if "step_at_s" in results.attributes:
        axes.axvline(results.attributes["step_at_s"], color=FAINT, lw=1.0, zorder=0)
    axes.margins(x=0.0)


def _mark_times(axes: Axes, results: Group, name: str, values: np.ndarray) -> None:
    """Dots where shares of `name` ("rise" or "target") are reached, with the time that took."""
    if "load_step" not in results.groups:
        return
    found, step = results.groups["load_step"].attributes, results.attributes["step_at_s"]
    for percent in (50, 90):
        key = f"time_to_{percent}_percent_of_{name}_s"
        if key not in found:
            continue
        at = step + found[key]
        height = float(np.interp(at, results["time"], values))
        axes.plot([at], [height], "o", color=INK, ms=5)
        words = f"{percent} % of the {name} after {found[key]:.2f} s"
        axes.annotate(words, (at, height), (8, -4), textcoords="offset points", fontsize=8.5, va="top", color=INK)


def boost_figure(results: Group) -> Figure | None:
    """Pressures, rotor speed and torques over time, with the times to boost marked."""
    if "intake_pressure" not in results:
        return None
    charged = "charger" in results.groups
    rows = 3 if charged else 2
    figure = new_figure(
        11.0, 2.6 * rows + 0.8, _heading(results, "Boost build-up" if charged and not _falls(results) else "Load step")
    )
    height = figure.get_figheight()
    room = {"left": 0.075, "right": 0.985, "top": 1.0 - 0.72 / height, "bottom": 0.5 / height, "hspace": 0.34}
    axes = figure.subplots(rows, 1, sharex=True, gridspec_kw=room)
    _pressures(axes[0], results, charged)
    if charged:
        _rotor(axes[1], results)
    _torques(axes[-1], results)
    axes[-1].set_xlabel("time, s", fontsize=9)
    for panel in axes:
        _mark_step(panel, results)
    return figure


def _legend(axes: Axes) -> None:
    axes.legend(fontsize=8, ncols=4, frameon=False, loc="lower right", bbox_to_anchor=(1.0, 0.98))


def _pressures(axes: Axes, results: Group, charged: bool) -> None:
    time = results["time"]
    plain(axes, "Pressure, absolute", "", "kPa")
    if not charged:
        pressure = 1e-3 * results["intake_pressure"]
        axes.plot(time, pressure, color=colour(0), lw=1.8, label="intake")
        _mark_times(axes, results, "rise", pressure)
        _legend(axes)
        return
    attributes = results.groups["charger"].attributes
    ambient, target = attributes["ambient_pressure_Pa"], attributes["target_boost_Pa"]
    ahead = 1e-3 * (results["boost"] + ambient)
    axes.plot(time, ahead, line(1), color=colour(1), lw=1.6, label="ahead of the throttle")
    axes.plot(time, 1e-3 * results["intake_pressure"], color=colour(0), lw=1.8, label="intake")
    if "turbine_power" in results:
        exhaust = 1e-3 * cycle_mean(results, "exhaust_pressure")
        axes.plot(time, exhaust, line(3), color=colour(3), lw=1.6, label="exhaust, mean over the cycle before")
    axes.axhline(1e-3 * (ambient + target), color=INK, lw=1.0, ls=":", label="target")
    axes.axhline(1e-3 * ambient, color=FAINT, lw=1.0, ls="--", label="surroundings")
    _mark_times(axes, results, "target", ahead)
    axes.legend(fontsize=8, ncols=5, frameon=False, loc="lower right", bbox_to_anchor=(1.0, 0.98))


def _rotor(axes: Axes, results: Group) -> None:
    plain(axes, "Rotor speed", "", "thousand rpm")
    axes.plot(results["time"], 1e-3 * RPM * results["charger_speed"], color=colour(2), lw=1.8)
    axes.set_ylim(bottom=0.0)


def _torques(axes: Axes, results: Group) -> None:
    time, brake = results["time"], work_mean(results, "load_torque")
    plain(axes, "Torque at the crank, mean over the cycle before", "", "N m")
    axes.plot(time, brake, color=colour(0), lw=1.8, label=f"brake, {brake[-1]:.1f} N m at the end")
    if "charger_torque" in results:
        taken = cycle_mean(results, "charger_torque")
        label = f"taken by the charger, at most {taken.max():.1f} N m"
        axes.plot(time, taken, line(1), color=colour(1), lw=1.6, label=label)
    axes.set_ylim(bottom=min(0.0, 1.1 * float(brake.min())))
    _legend(axes)


def temperature_figure(results: Group) -> Figure | None:
    """Charge, winding, inverter and exhaust over time, with where the drive is derated."""
    if "intake_temperature" not in results:
        return None
    drive, turbine = "winding_temperature" in results, "turbine_power" in results
    panels = 1 + drive + turbine
    figure = new_figure(11.0, 2.6 * panels + 0.8, _heading(results, "Temperatures"))
    height = figure.get_figheight()
    room = {"left": 0.075, "right": 0.985, "top": 1.0 - 0.72 / height, "bottom": 0.5 / height, "hspace": 0.34}
    axes = figure.subplots(panels, 1, sharex=True, squeeze=False, gridspec_kw=room)[:, 0]
    _courses(axes[0], results, "Charge at the valves", {"intake_temperature": "intake"})
    if drive:
        _drive(axes[1], results)
    if turbine:
        hot = cycle_mean(results, "exhaust_temperature") - ZERO
        plain(axes[-1], "Exhaust past the ports, mean over the cycle before", "", "°C")
        label = f"exhaust, {hot[-1]:.0f} °C at the end"
        axes[-1].plot(results["time"], hot, color=colour(0), lw=1.8, label=label)
        _legend(axes[-1])
    axes[-1].set_xlabel("time, s", fontsize=9)
    for panel in axes:
        _mark_step(panel, results)
    return figure


def _courses(axes: Axes, results: Group, title: str, names: dict[str, str]) -> None:
    plain(axes, title, "", "°C")
    for index, (name, label) in enumerate(names.items()):
        values = results[name] - ZERO
        words = f"{label}, at most {values.max():.1f} °C"
        axes.plot(results["time"], values, line(index), color=colour(index), lw=1.8, label=words)
    _legend(axes)


def _drive(axes: Axes, results: Group) -> None:
    names = {"winding_temperature": "winding", "inverter_temperature": "inverter"}
    _courses(axes, results, "Motor and inverter", names)
    limits: dict[str, Any] = results.groups["charger"].attributes
    for index, (name, part) in enumerate(names.items()):
        start = limits[f"{part}_start_K"] - ZERO
        near = results[name].max() - ZERO > start - NEAR_LIMIT
        ends = results["time"][[0, -1]] if near else np.empty(0)
        label = f"{part} derated from {start:.0f} °C"
        axes.plot(ends, np.full(ends.size, start), ":", color=colour(index), lw=1.2, label=label)
    _legend(axes)


def compressor_figure(results: Group) -> Figure | None:
    """The operating line on the compressor's map, means over a cycle."""
    if "charger" not in results.groups:
        return None
    group = results.groups["charger"]
    compressor = _compressor(group)
    attributes = group.attributes
    flow, ratio = cycle_mean(results, "compressor_mass_flow"), cycle_mean(results, "compressor_pressure_ratio")
    working = np.flatnonzero(ratio > LIFTING)
    if working.size == 0:
        return None
    working = working[np.unique(np.linspace(0, working.size - 1, LINE_POINTS).astype(int))]
    root = math.sqrt(attributes["inlet_temperature_K"] / compressor.reference_temperature)
    flow = flow[working] * root * compressor.reference_pressure / attributes["ambient_pressure_Pa"]
    ratio = ratio[working]
    figure = new_figure(9.0, 6.6, cut(_heading(results, "Operating line"), SHORT_TITLE))
    axes = figure.add_axes((0.075, 0.13, 0.9, 0.77))
    plain(axes, "", "corrected mass flow, kg/s", "total pressure ratio")
    fastest = 1.15 * float(results["charger_speed"].max()) / root
    top = min(max(fastest, 2.0 * compressor.lines[0] * compressor.reference_speed), compressor.reference_speed)
    draw_map(axes, compressor, [("over the run", flow, ratio)], top)
    axes.plot(flow[-1:], ratio[-1:], "s", ms=7, color=INK, label="at the end")
    figure.legend(*axes.get_legend_handles_labels(), loc="lower center", ncol=5, fontsize=9, frameon=False)
    note = NOTE.format(compressor.reference_temperature, 1e-3 * compressor.reference_pressure) + RING
    figure.text(0.075, 0.915, note, fontsize=8, color=INK)
    return figure


def _compressor(group: Group) -> Compressor:
    """The map as the results file has it."""
    attributes = group.attributes
    return Compressor(
        float(attributes["reference_speed_rad_per_s"]),
        float(attributes["reference_temperature_K"]),
        float(attributes["reference_pressure_Pa"]),
        np.ascontiguousarray(group["speed_line"]),
        np.ascontiguousarray(group["share"]),
        np.ascontiguousarray(group["map"]),
    )
