"""Ways of charging side by side, in one picture: torque, power, boost, what they take, where the energy goes."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from vibsim.show.boost_tables import NAMES
from vibsim.show.style import INK, LONGEST_TITLE, colour, cut, into_folder, line, new_figure, plain
from vibsim.studies.boost import LEDGER, RPM, Comparison, rows_of
from vibsim.studies.boost_steps import LOAD_BEFORE, Step

# where the fuel's energy goes: what is wanted first, then what charging changes, then the rest
PART_COLOURS = {
    "brake_work_J": "#0072B2",
    "charging_J": "#D55E00",
    "friction_J": "#E69F00",
    "accessories_J": "#F0E442",
    "gas_exchange_J": "#CC79A7",
    "walls_J": "#999999",
    "port_J": "#BBBBBB",
    "exhaust_J": "#56B4E9",
    "unburned_J": "#444444",
}
LEAST_LABEL = 0.035  # of the longest bar: narrower parts go without their number


def draw_comparison(comparison: Comparison, steps: list[Step], speed: float, title: str, folder: Path) -> list[Path]:
    """Write charging.png, and load-step.png for steps at a crank speed (rad/s), into a folder, made if absent. Raises
    VibsimError when that cannot be done."""
    figures = {"charging.png": comparison_figure(comparison, title)}
    if steps:
        figures["load-step.png"] = step_figure(steps, speed, title)
    return into_folder(figures, folder)


def step_figure(steps: list[Step], speed: float, title: str) -> Figure:
    """Boost and brake torque of every source after a load step."""
    heading = f"Load {LOAD_BEFORE:g} → 1 at {speed * RPM:.0f} rpm · {title}"
    figure = new_figure(13.0, 4.6, cut(heading, LONGEST_TITLE))
    boost, torque = figure.subplots(1, 2, gridspec_kw={"left": 0.06, "right": 0.985, "top": 0.76, "bottom": 0.12})
    plain(boost, "Boost in the intake", "s after the step", "kPa above ambient")
    plain(torque, "Brake torque, after all that the crank pays", "s after the step", "N m")
    for index, step in enumerate(steps):
        style: dict[str, Any] = {"color": colour(index), "linestyle": line(index)}
        boost.plot(step.time, 1e-3 * step.boost, label=NAMES[step.source], **style)
        torque.plot(step.time, step.torque, **style)
    for axes in (boost, torque):
        axes.axvline(0.0, color=INK, linewidth=0.6, alpha=0.5)
        axes.set_xlim(-0.2, steps[0].time[-1])
    boost.axhline(0.0, color=INK, linewidth=0.6)
    handles, labels = boost.get_legend_handles_labels()
    figure.legend(handles, labels, loc="upper left", bbox_to_anchor=(0.05, 0.93), ncols=4, fontsize=9, frameon=False)
    return figure


def comparison_figure(comparison: Comparison, title: str) -> Figure:
    """Net torque and power, boost, power taken, over speed; energy per cycle at the main speed."""
    figure = new_figure(13.0, 7.8, cut(f"Ways of charging at full load · {title}", LONGEST_TITLE))
    grid = figure.add_gridspec(2, 3, left=0.05, right=0.985, top=0.83, bottom=0.14, wspace=0.2, hspace=0.36)
    torque, power, boost = (figure.add_subplot(grid[0, column]) for column in range(3))
    cost = figure.add_subplot(grid[1, 0])
    rpm = comparison.speeds * RPM
    _curves(plain(torque, "Net torque, after all that the crank pays", "rpm", "N m"), comparison, "brake_torque", 1.0)
    _curves(plain(power, "Net power", "rpm", "kW"), comparison, "brake_power", 1e-3)
    _curves(plain(boost, "Boost in the intake", "rpm", "kPa above ambient"), comparison, "boost", 1e-3)
    _costs(plain(cost, "Power that charging takes", "rpm", "kW"), comparison)
    for axes in (torque, power, boost, cost):
        if len(rpm) > 1:
            axes.set_xlim(rpm[0], rpm[-1])
        else:  # a line of one point does not show
            for one in axes.lines:
                one.set_marker("o")
        axes.set_ylim(bottom=min(0.0, axes.get_ylim()[0]))
        axes.axvline(rpm[comparison.main], color=INK, linewidth=0.6, alpha=0.5)
    _energy(figure.add_subplot(grid[1, 1:]), comparison)
    handles, labels = torque.get_legend_handles_labels()
    figure.legend(handles, labels, loc="upper left", bbox_to_anchor=(0.04, 0.955), ncols=4, fontsize=9, frameon=False)
    note = f"Every burn set late enough to keep {comparison.margin:g} octane numbers before knock"
    figure.text(0.05, 0.895, note, fontsize=8.5, color=INK)
    return figure


def _curves(axes: Axes, comparison: Comparison, name: str, scale: float) -> None:
    for index, charged in enumerate(comparison.sources):
        values = charged.boost if name == "boost" else charged.values(name)
        axes.plot(
            comparison.speeds * RPM, scale * values, line(index), color=colour(index), label=NAMES[charged.source]
        )


def _costs(axes: Axes, comparison: Comparison) -> None:
    """What crank and exhaust pay: power of alternator, drive, or turbine."""
    for index, charged in enumerate(comparison.sources):
        if charged.source == "none":
            continue
        crank = charged.values("charging_torque") * comparison.speeds
        turbine = np.array([p.boost.turbo.turbine_power if p.boost and p.boost.turbo else 0.0 for p in charged.points])
        axes.plot(comparison.speeds * RPM, 1e-3 * (crank + turbine), line(index), color=colour(index))
        if charged.source == "electric":
            axes.plot(comparison.speeds * RPM, 1e-3 * charged.bus_power, ":", color=colour(index))
    words = "the turbine's comes from the exhaust\ndotted orange: electric power, rest lost in the alternator"
    axes.annotate(words, (0.03, 0.97), xycoords="axes fraction", fontsize=7.5, color=INK, va="top")


def _energy(axes: Axes, comparison: Comparison) -> None:
    rows = rows_of(comparison, comparison.main)
    plain(axes, f"Where the energy of the fuel goes at {rows[0]['speed_rpm']:.0f} rpm", "J per cycle", "")
    longest = max(sum(row["energy"].values()) for row in rows)
    for place, row in enumerate(rows):
        at = 0.0
        for key, name in LEDGER.items():
            part = row["energy"][key]
            axes.barh(place, part, left=at, color=PART_COLOURS[key], height=0.62, label=name if place == 0 else None)
            if part > LEAST_LABEL * longest:
                dark = key in ("brake_work_J", "unburned_J", "charging_J")
                axes.text(
                    at + 0.5 * part,
                    place,
                    f"{part:.0f}",
                    ha="center",
                    va="center",
                    fontsize=7.5,
                    color="white" if dark else INK,
                )
            at += part
    axes.set_yticks(range(len(rows)), [NAMES[row["source"]].replace(" ", "\n", 1) for row in rows], fontsize=8)
    axes.set_xlim(0.0, 1.02 * longest)
    box = axes.get_position()
    axes.set_position((box.x0 + 0.03, box.y0, box.width - 0.03, box.height))
    axes.set_ylim(len(rows) - 0.4, -0.6)
    used = [key for key in LEDGER if any(abs(row["energy"][key]) > 1e-3 * longest for row in rows)]
    handles = [axes.barh(0, 0, color=PART_COLOURS[key]) for key in used]
    axes.legend(
        handles,
        [LEDGER[key] for key in used],
        loc="upper center",
        bbox_to_anchor=(0.5, -0.14),
        ncols=9,
        fontsize=7.5,
        frameon=False,
        handlelength=1.0,
        columnspacing=1.0,
    )
