"""One picture of several engines: ripple, worst mount and worst sensor over speed, free forces as bars."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes

from vibsim.inputs.errors import VibsimError
from vibsim.show.style import colour, line, new_figure, plain, save, short
from vibsim.studies.compare import Compared, layout_rows

BARS = ("first_force_N", "second_force_N")


def draw_comparison(compared: list[Compared], folder: Path) -> list[Path]:
    """Write compare.png into a folder, made if absent."""
    figure = new_figure(11.0, 7.0, "Engines side by side")
    grid = figure.add_gridspec(2, 2, left=0.075, right=0.985, top=0.88, bottom=0.08, hspace=0.36, wspace=0.2)
    names = short([case.name for case in compared])
    panels = (
        ("Worst mount: rms of the varying force", "N", [case.mount_rms for case in compared]),
        ("Worst sensor: rms acceleration, unweighted", "m/s²", [case.sensor_rms for case in compared]),
        ("Ripple: swing of the net torque", "N m", [case.torque_swing for case in compared]),
    )
    for number, (title, unit, values) in enumerate(panels):
        axes = plain(figure.add_subplot(grid[number // 2, number % 2]), title, "crank speed, rpm", unit)
        for index, (case, value) in enumerate(zip(compared, values, strict=True)):
            speeds = case.speeds * 30.0 / math.pi
            axes.plot(speeds, value, line(index), color=colour(index), marker="o", ms=4.0, label=names[index])
        axes.set_ylim(bottom=0.0)
        if number == 0:
            axes.legend(fontsize=8, frameon=False)
    speed = compared[0].speeds[0] * 30.0 / math.pi
    title = f"Free force at {speed:.0f} rpm, largest of the order"
    _bars(plain(figure.add_subplot(grid[1, 1]), title, "", "N"), compared, names)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        return [save(figure, folder / "compare.png")]
    except OSError as error:
        raise VibsimError(f"{folder}: figures cannot be written ({error.strerror}); expected a folder") from None


def _bars(axes: Axes, compared: list[Compared], names: list[str]) -> None:
    rows = layout_rows(compared)
    width = 0.8 / len(rows)
    for index, row in enumerate(rows):
        place = np.arange(len(BARS)) + (index - 0.5 * (len(rows) - 1)) * width
        axes.bar(place, [row[key] for key in BARS], 0.9 * width, color=colour(index), label=names[index])
    axes.set_xticks(np.arange(len(BARS)), ["first order", "second order"])
