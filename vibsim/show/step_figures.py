"""Figures of the steps of a run beside each other: torque over the cycle each ended with, spectra at the sensors."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MultipleLocator, NullLocator

from vibsim.post.torque import torque_names, torques
from vibsim.results.labelled import Group
from vibsim.show.style import LINES, LONGEST_TITLE, colour, cut, line, new_figure, plain, short

RPM = 30.0 / math.pi  # per rad/s
ROW = 2.1  # inches
HIGHEST_ORDER = 8.0
HIGHEST_FREQUENCY = 200.0  # Hz
MOST_SENSORS = 4
DRAWN, TINTS = ("gas", "inertia", "net"), (0, 1, 3)


def step_torque_figure(results: Group) -> Figure | None:
    """Torque over the last working cycle of every step, and amplitude per order over its last cycles."""
    steps = _with(results, "crank_grid")
    if not steps:
        return None
    figure, axes = _rows(results, len(steps), "Torque at the end of each step", (1.6, 1.0))
    for row, (number, step) in enumerate(steps):
        left, right = axes[row]
        grid = step.groups["crank_grid"]
        cycle = round(grid.attributes["cycle_length_rad"] / float(grid["angle"][1]))
        values, names = torques(grid)[-cycle:], torque_names(grid)
        degrees = np.degrees(grid["angle"][:cycle])
        net, last = values[:, names.index("net")], row == len(steps) - 1
        words = f"{_name(number, step)}, {_speed(grid):.0f} rpm: net mean {net.mean():.1f} N m, swing {np.ptp(net):.0f}"
        plain(left, words, "crank angle of its last cycle, °" if last else "", "N m")
        for name, tint in zip(DRAWN, TINTS, strict=True):
            style, width = ("-", 2.2) if name == "net" else (LINES[names.index(name) + 1], 1.2)
            left.plot(degrees, values[:, names.index(name)], style, color=colour(tint), lw=width, label=name)
        left.set_xlim(0.0, float(degrees[-1] + degrees[1]))
        left.xaxis.set_major_locator(MultipleLocator(90.0 if degrees[-1] < 721.0 else 360.0))
        plain(right, "Amplitude per order" if row == 0 else "", "engine order" if last else "", "N m")
        _bars(right, step, names)
    axes[0][0].legend(fontsize=8, frameon=False, ncols=3, loc="lower right", bbox_to_anchor=(1.0, 0.97))
    return figure


def _bars(axes: Axes, step: Group, names: list[str]) -> None:
    torque = step.groups.get("torque")
    if torque is None or "amplitude" not in torque:
        axes.text(0.5, 0.5, "too few whole cycles", ha="center", va="center", transform=axes.transAxes, fontsize=8.5)
        return
    order = torque["order"]
    shown, spacing = (order > 0.0) & (order <= HIGHEST_ORDER), float(order[1])
    for index, (name, tint) in enumerate(zip(DRAWN, TINTS, strict=True)):
        place = order[shown] + (index - 1) * 0.27 * spacing
        axes.bar(place, torque["amplitude"][shown, names.index(name)], 0.27 * spacing, color=colour(tint))
    axes.set_xlim(0.0, HIGHEST_ORDER + spacing)
    axes.xaxis.set_major_locator(MultipleLocator(1.0))


def step_spectra_figure(results: Group) -> Figure | None:
    """Acceleration spectrum at the sensors over the end of every step, all axes together."""
    steps = _with(results, "spectra")
    if not steps:
        return None
    figure, axes = _rows(results, len(steps), "Acceleration at the end of each step", (1.0,))
    names = short(results.labels("sensor"))
    loud = np.max([step["sensors/resultant_rms"] for _, step in steps], axis=0)
    ranked = np.argsort(loud)[::-1][:MOST_SENSORS]
    levels = [np.linalg.norm(step["spectra/acceleration_amplitude"], axis=-1) for _, step in steps]
    top = max(float(level[1:].max()) for level in levels) or 1.0
    for row, ((number, step), level) in enumerate(zip(steps, levels, strict=True)):
        frequency, place = step["spectra/frequency"], axes[row][0]
        shown = (frequency > 0.0) & (frequency <= HIGHEST_FREQUENCY)
        span = step.groups["spectra"].attributes
        worst = int(step["sensors/resultant_rms"].argmax())
        words = f"{_name(number, step)}, {span['from_s']:.2f} to {span['to_s']:.2f} s: {names[worst]} "
        words += f"{step['sensors/resultant_rms'][worst]:.3g} m/s² rms"
        plain(place, words, "frequency, Hz" if row == len(steps) - 1 else "", "peak, m/s²")
        for rank, n in enumerate(ranked):
            style: dict[str, Any] = {"color": colour(rank), "ls": line(rank), "lw": 1.0}
            place.semilogy(frequency[shown], level[shown, n], label=names[n], **style)
        place.set(xlim=(0.0, HIGHEST_FREQUENCY), ylim=(1e-4 * top, 3.0 * top))
        place.yaxis.set_minor_locator(NullLocator())
    axes[0][0].legend(fontsize=8, frameon=False, ncols=MOST_SENSORS, loc="lower right", bbox_to_anchor=(1.0, 0.97))
    return figure


def _with(results: Group, name: str) -> list[tuple[int, Group]]:
    """Steps that have a group, with their numbers."""
    steps = results.groups["steps"]
    found = [(n + 1, steps.groups[str(n + 1)]) for n in range(int(steps.attributes["count"]))]
    return [(number, step) for number, step in found if name in step.groups]


def _rows(results: Group, rows: int, what: str, widths: tuple[float, ...]) -> tuple[Figure, np.ndarray]:
    tall = ROW * rows + 1.1
    figure = new_figure(11.0, tall, cut(f"{what} · {results.attributes['title']}", LONGEST_TITLE))
    room = {
        "left": 0.065,
        "right": 0.985,
        "top": 1.0 - 0.75 / tall,
        "bottom": 0.5 / tall,
        "hspace": 0.42,
        "wspace": 0.1,
    }
    return figure, figure.subplots(
        rows, len(widths), squeeze=False, gridspec_kw=room | {"width_ratios": widths}, sharex="col"
    )


def _name(number: int, step: Group) -> str:
    return f"{number} {str(step.attributes['kind']).replace('_', '-')}"


def _speed(grid: Group) -> float:
    """Mean speed (rpm), over time where the crank turns on all along."""
    speed = grid["crank_speed"]
    return RPM * float(1.0 / np.mean(1.0 / speed) if speed.min() > 0.0 else speed.mean())
