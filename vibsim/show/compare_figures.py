"""One picture of several engines: mounts, sensors and ripple over speed, free forces and couples, firing, width."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from vibsim.inputs.errors import VibsimError
from vibsim.show.style import INK, colour, cut, line, new_figure, plain, save, short
from vibsim.studies.compare import Compared, Same, layout_rows

BARS = {
    "Largest free force": ("N", ("first_force_N", "second_force_N")),
    "Largest free couple": ("N m", ("first_couple_N_m", "second_couple_N_m")),
}
SAME = {None: "as given", "displacement": "scaled to one displacement", "power": "at one power"}


def draw_comparison(compared: list[Compared], folder: Path, same: Same | None = None) -> list[Path]:
    """Write compare.png into a folder, made if absent."""
    ringed = ", ringed where it cannot be reached" if any(note for case in compared for note in case.note) else ""
    figure = new_figure(13.0, 7.4, f"Engines side by side, {SAME[same]}{ringed}")
    grid = figure.add_gridspec(2, 3, left=0.06, right=0.985, top=0.83, bottom=0.075, hspace=0.4, wspace=0.24)
    names = short([case.name for case in compared])
    panels = (
        ("Worst mount: rms of the varying force", "N", [case.mount_rms for case in compared]),
        _sensor_panel(compared),
        ("Ripple: swing of the net torque", "N m", [case.torque_swing for case in compared]),
    )
    for number, (title, unit, values) in enumerate(panels):
        axes = plain(figure.add_subplot(grid[0, number]), title, "crank speed, rpm", unit)
        _over_speed(axes, compared, values, names)
    rows = layout_rows(compared)
    speed = compared[0].speeds[0] * 30.0 / math.pi
    for number, (title, (unit, keys)) in enumerate(BARS.items()):
        axes = plain(figure.add_subplot(grid[1, number]), f"{title} at {speed:.0f} rpm", "", unit)
        _bars(axes, rows, keys)
    _firing(plain(figure.add_subplot(grid[1, 2]), "Firing, and width along the crank", "crank angle, deg", ""), rows)
    _legend(figure, names)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        return [save(figure, folder / "compare.png")]
    except OSError as error:
        raise VibsimError(f"{folder}: figures cannot be written ({error.strerror}); expected a folder") from None


def _sensor_panel(compared: list[Compared]) -> tuple[str, str, list[np.ndarray]]:
    """The worst of the sensors that every case has; each case's own worst if there is none."""
    shared = [name for name in compared[0].sensors[0] if all(name in case.sensors[0] for case in compared)]
    if not shared:
        return "Worst sensor of each: rms acceleration", "m/s²", [case.sensor_rms for case in compared]
    worst = max(shared, key=lambda name: max(levels[name] for case in compared for levels in case.sensors))
    values = [np.array([levels[worst] for levels in case.sensors]) for case in compared]
    return f"{cut(worst, 20)}: rms acceleration, unweighted", "m/s²", values


def _over_speed(axes: Axes, compared: list[Compared], values: list[np.ndarray], names: list[str]) -> None:
    for index, (case, value) in enumerate(zip(compared, values, strict=True)):
        speeds = case.speeds * 30.0 / math.pi
        axes.plot(speeds, value, line(index), color=colour(index), marker="o", ms=4.0, label=names[index])
        held = np.array([bool(note) for note in case.note])
        if held.any():  # could not be made alike there
            axes.plot(speeds[held], value[held], "o", ms=9.0, mfc="none", mec=colour(index))
    highest = max((float(value.max()) for value in values if np.isfinite(value).all()), default=0.0)
    axes.set_ylim(0.0, 1.08 * highest or 1.0)


def _legend(figure: Figure, names: list[str]) -> None:
    handles, _ = figure.axes[0].get_legend_handles_labels()
    at = (0.05, 0.945)
    figure.legend(handles, names, handlelength=2.6, loc="upper left", bbox_to_anchor=at, ncols=6, frameon=False)


def _bars(axes: Axes, rows: list[dict[str, Any]], keys: tuple[str, str]) -> None:
    width = 0.8 / len(rows)
    highest = max(row[key] for row in rows for key in keys)
    for index, row in enumerate(rows):
        place = np.arange(len(keys)) + (index - 0.5 * (len(rows) - 1)) * width
        values = [row[key] if row[key] > 1e-3 * highest else 0.0 for key in keys]
        drawn = axes.bar(place, values, 0.9 * width, color=colour(index))
        axes.bar_label(drawn, [f"{value:.3g}" for value in values], fontsize=7, color=INK, padding=1.0)
    axes.margins(y=0.12)
    axes.grid(False, axis="x")
    axes.set_xticks(np.arange(len(keys)), ["first order", "second order"])


def _firing(axes: Axes, rows: list[dict[str, Any]]) -> None:
    """Firings as ticks over one cycle from the first of them, with evenness and width in words."""
    for index, row in enumerate(rows):
        angles = np.array(row["firing_deg"])
        axes.eventplot(angles - angles[0], lineoffsets=-index, linelengths=0.4, linewidths=2.5, color=colour(index))
        words = f"evenness {row['evenness']:.2f}, {row['width_mm']:.0f} mm"
        axes.text(0.0, 0.25 - index, words, fontsize=8, color=INK, va="bottom")
    axes.set_ylim(-len(rows) + 0.5, 0.8)
    axes.set_yticks([])
    longest = max(row["cycle_deg"] for row in rows)
    axes.set_xlim(-0.02 * longest, longest)
    axes.set_xticks(np.arange(0.0, longest + 1.0, 90.0 if longest < 500.0 else 180.0))
