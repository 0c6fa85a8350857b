"""A load step cycle by cycle: torque, speed and peak pressure, and one cycle before it beside the last."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MultipleLocator

from vibsim.post.load_step import whole_cycles
from vibsim.post.torque import torque_names, torques
from vibsim.results.labelled import Group
from vibsim.show.style import FAINT, INK, LONGEST_TITLE, colour, cut, line, new_figure, plain

RPM = 30.0 / math.pi
SHADE = 0.25


def steps_load(results: Group) -> bool:
    """Whether the results are of a load step with a whole cycle before it and one after."""
    if results.attributes.get("run_kind") != "load_step":
        return False
    return _before(results) is not None and whole_cycles(results)[-1].start > _step_place(results)


def step_torque(results: Group) -> Figure:
    """Net torque and crank speed over the step, and within a cycle before and after."""
    figure = new_figure(11.0, 7.0, _heading(results, "Torque"))
    grid = figure.add_gridspec(
        2, 2, height_ratios=(1.2, 1.0), left=0.065, right=0.985, top=0.88, bottom=0.075, hspace=0.34, wspace=0.17
    )
    net, load = torques(results)[:, torque_names(results).index("net")], results["load_torque"]
    over = plain(figure.add_subplot(grid[0, :]), "Net torque on the crank, cycle by cycle", "time, s", "torque, N m")
    _band(over, results, net, 3, "net: mean of a cycle; shaded: least to greatest within it")
    time, means = _per_cycle(results, load, np.mean)
    over.plot(time, means, ":", color=INK, lw=1.6, label=f"load, {means[-1]:.1f} N m at the end")
    speed = plain(figure.add_subplot(grid[1, 0]), "Crank speed, cycle by cycle", "time, s", "speed, rpm")
    _band(speed, results, RPM * results["crank_speed"], 0, "mean; shaded: least to greatest")
    for axes in (over, speed):
        axes.axvline(results.attributes["step_at_s"], color=FAINT, lw=1.2, zorder=0)
        axes.margins(x=0.0)
    over.legend(fontsize=8, ncols=2, loc="lower right", bbox_to_anchor=(1.0, 0.99), frameon=False)
    speed.legend(fontsize=8, loc="lower right", bbox_to_anchor=(1.0, 0.99), frameon=False)
    within = plain(figure.add_subplot(grid[1, 1]), "Net torque within a cycle", "crank angle, °", "torque, N m")
    _before_and_after(within, results, net)
    within.axhline(0.0, color=INK, lw=0.7)
    return figure


def step_pressure(results: Group) -> Figure:
    """Peak pressure of every cylinder over the step, and the first cylinder's pressure before and after."""
    figure = new_figure(11.0, 4.4, _heading(results, "Cylinder pressure"))
    grid = figure.add_gridspec(1, 2, left=0.06, right=0.985, top=0.8, bottom=0.12, wspace=0.15)
    bars, names = 1e-5 * results["cylinder_pressure"], results.labels("cylinder")
    peaks = plain(figure.add_subplot(grid[0, 0]), "Peak of every cycle", "time, s", "absolute pressure, bar")
    for index, name in enumerate(names):
        time, peak = _per_cycle(results, bars[:, index], np.max)
        peaks.plot(
            time, peak, line(index), color=colour(index), lw=1.6, label=f"cylinder {name}, at most {peak.max():.1f}"
        )
    peaks.axvline(results.attributes["step_at_s"], color=FAINT, lw=1.2, zorder=0)
    peaks.margins(x=0.0)
    peaks.set_ylim(bottom=0.0)
    peaks.legend(fontsize=8, loc="lower right", frameon=False)
    title = f"Cylinder {names[0]} within a cycle"
    within = plain(figure.add_subplot(grid[0, 1]), title, "crank angle, °", "absolute pressure, bar")
    _before_and_after(within, results, bars[:, 0])
    within.set_ylim(bottom=0.0)
    return figure


def _heading(results: Group, what: str) -> str:
    at = results.attributes
    step = f"load {at['load']:g} → {at['load_after']:g} at {at['set_speed_rad_per_s'] * RPM:.0f} rpm"
    return cut(f"{what} · {step} · {at['title']}", LONGEST_TITLE)


def _step_place(results: Group) -> int:
    return int(np.searchsorted(results["time"], results.attributes["step_at_s"], side="right"))


def _before(results: Group) -> slice | None:
    """The last whole cycle before the step."""
    found = [cycle for cycle in whole_cycles(results) if cycle.stop <= _step_place(results)]
    return found[-1] if found else None


def _per_cycle(results: Group, values: np.ndarray, over) -> tuple[np.ndarray, np.ndarray]:
    """Time in the middle of every whole cycle (m), and what `over` makes of the values (n) within it (m)."""
    cycles = whole_cycles(results)
    time = np.array([results["time"][cycle].mean() for cycle in cycles])
    return time, np.array([over(values[cycle]) for cycle in cycles])


def _band(axes: Axes, results: Group, values: np.ndarray, tint: int, label: str) -> None:
    time, least = _per_cycle(results, values, np.min)
    greatest, mean = (_per_cycle(results, values, over)[1] for over in (np.max, np.mean))
    axes.fill_between(time, least, greatest, color=colour(tint), alpha=SHADE, lw=0.0)
    axes.plot(time, mean, color=colour(tint), lw=2.0, label=label)


def _before_and_after(axes: Axes, results: Group, values: np.ndarray) -> None:
    """One cycle before the step and the last of the record over crank angle."""
    before = _before(results)
    assert before is not None
    cycles = ((before, "before the step", 1), (whole_cycles(results)[-1], "at the end", 0))
    for cycle, words, place in cycles:
        angle = np.degrees(results["crank_angle"][cycle])
        middle = 360.0 * round(0.5 * (angle[0] + angle[-1]) / 360.0)
        label = f"{words}: {values[cycle].min():.3g} to {values[cycle].max():.3g}".replace("-", "−")
        axes.plot(angle - middle, values[cycle], line(place), color=colour(place), lw=1.6, label=label)
    axes.xaxis.set_major_locator(MultipleLocator(90.0))
    axes.margins(x=0.0)
    low, high = axes.get_ylim()
    axes.set_ylim(low, high + 0.2 * (high - low))  # room for the legend
    axes.legend(fontsize=8, ncols=2, loc="upper left", frameon=False)
