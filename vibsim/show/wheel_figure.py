"""The crank's speed as a tooth wheel sees it."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.figure import Figure

from vibsim.results.labelled import Group
from vibsim.show.style import LONGEST_TITLE, colour, cut, new_figure, plain

TURNS = 4.0  # drawn, two cycles of a four-stroke
RPM = 30.0 / math.pi


def wheel_figure(results: Group) -> Figure | None:
    """Crank speed from the stamped edges of a tooth wheel beside what it was, and what one tick changes."""
    if "tooth_wheel" not in results.groups:
        return None
    group = results.groups["tooth_wheel"]
    turned = np.cumsum(group["turned"]) - group["turned"][0]
    shown = turned <= TURNS * 2.0 * math.pi
    at = group.attributes
    title = (
        f"Tooth wheel {at['teeth']} − {at['missing']}, {1e-6 * at['clock_Hz']:g} MHz · {results.attributes['title']}"
    )
    figure = new_figure(11.0, 4.2, cut(title, LONGEST_TITLE))
    figure.subplots_adjust(left=0.07, right=0.985, top=0.84, bottom=0.13)
    words = f"One tick is {at['resolution_rad_per_s'] * RPM:.2f} rpm on average; teeth of {TURNS:g} turns"
    axes = plain(figure.add_subplot(), words, "turned since the first edge, °", "speed, rpm")
    degrees = np.degrees(turned[shown])
    seen = f"stamped, fluctuation {100.0 * at['speed_fluctuation_seen']:.2f} %"
    axes.step(degrees, group["speed"][shown] * RPM, where="post", color=colour(1), lw=1.0, label=seen)
    exact = f"without the timer, {100.0 * at['speed_fluctuation_over_teeth']:.2f} %"
    axes.step(degrees, group["speed_exact"][shown] * RPM, where="post", color=colour(0), lw=1.6, label=exact)
    axes.legend(fontsize=8, ncols=2, frameon=False, loc="lower right", bbox_to_anchor=(1.0, 0.99))
    axes.margins(x=0.0)
    return figure
