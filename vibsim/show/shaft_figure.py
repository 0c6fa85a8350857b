"""Figure of a run: torque in every shaft of crank and driveline, and how fast its rotors turn."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.figure import Figure

from vibsim.results.labelled import Group
from vibsim.show.style import LONGEST_TITLE, colour, cut, line, new_figure, plain

MOST_LINES = 7
RPM = 30.0 / math.pi


def shaft_figure(results: Group) -> Figure | None:
    """Torque of the shafts that swing most, and speeds of the rotors that do, as crank speeds."""
    if "shaft_torque" not in results:
        return None
    over_cycle = "cycle" in results.groups
    group = results.groups["cycle"] if over_cycle else results
    x = np.degrees(results["cycle/cycle_angle"]) if over_cycle else results["time"]
    label = "crank angle, °" if over_cycle else "time, s"
    figure = new_figure(11.0, 6.8, cut(f"Shafts · {results.attributes['title']}", LONGEST_TITLE))
    grid = figure.add_gridspec(2, 1, left=0.07, right=0.79, top=0.9, bottom=0.08, hspace=0.32)
    torque = group["shaft_torque"]
    upper = plain(figure.add_subplot(grid[0]), "Torque in the shafts", label, "N m")
    names, swing = results.labels("shaft"), np.ptp(torque, axis=0)
    for rank, n in enumerate(np.argsort(-swing)[:MOST_LINES]):
        words = f"{cut(names[n], 22)} ±{0.5 * swing[n]:.0f}"
        upper.plot(x, torque[:, n], line(rank), color=colour(rank), lw=1.5, label=words)
    speeds = group["rotor_speed"] * RPM
    known = "rotor_ratio" in results  # results of earlier versions lack it
    ahead = speeds / (results["rotor_ratio"] if known else speeds.mean(axis=0) / speeds[:, 0].mean())
    lower = plain(figure.add_subplot(grid[1]), "Speed of the rotors, as crank speed", label, "rpm")
    names, swing = results.labels("rotor"), np.ptp(ahead, axis=0)
    for rank, n in enumerate(np.argsort(-swing)[:MOST_LINES]):
        words = f"{cut(names[n], 22)} ±{0.5 * swing[n]:.1f}"
        lower.plot(x, ahead[:, n], line(rank), color=colour(rank), lw=1.5, label=words)
    for axes in (upper, lower):
        axes.margins(x=0.0)
        axes.legend(fontsize=8, frameon=False, loc="upper left", bbox_to_anchor=(1.005, 1.0))
    return figure
