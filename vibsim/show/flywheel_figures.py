"""Excess of energy over a cycle and the crank's speed with the present flywheel and the needed one."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import MultipleLocator

from vibsim.show.style import INK, LONGEST_TITLE, colour, cut, into_folder, new_figure, plain
from vibsim.studies.flywheel import Flywheel, FlywheelPoint
from vibsim.studies.flywheel_rows import RPM


def flywheel_figure(found: Flywheel, title: str) -> Figure:
    """Torque with its excess filled, and crank speed, at the point that asks most."""
    point = found.hardest
    place = f"{point.speed * RPM:.0f} rpm, load {point.load:.3g}"
    figure = new_figure(11.0, 6.4, cut(f"Flywheel · {place} · {title}", LONGEST_TITLE))
    room = {"left": 0.07, "right": 0.985, "top": 0.87, "bottom": 0.085, "hspace": 0.42}
    above, below = figure.subplots(2, 1, sharex=True, gridspec_kw=room)
    _torque(above, point)
    degrees, wanted = np.degrees(point.now.angle), 100.0 * found.wanted
    words = f"Crank speed on a still block; wanted fluctuation {wanted:g} %"
    plain(below, words, "crank angle, °", "speed, rpm")
    middle = 0.5 * RPM * float(point.then.speed.max() + point.then.speed.min())
    half = 0.5 * found.wanted * point.speed * RPM
    below.axhspan(middle - half, middle + half, color="#DDDDDD", lw=0.0, label="wanted width")
    for index, (course, inertia) in enumerate(((point.now, found.present_inertia), (point.then, point.needed))):
        label = f"{'present' if index == 0 else 'needed'} {inertia:.4g} kg m²: {100.0 * course.fluctuation:.2f} %"
        below.plot(degrees, course.speed * RPM, ("--", "-")[index], color=colour(1 - index), lw=1.8, label=label)
    below.legend(fontsize=8, ncols=3, frameon=False, loc="lower right", bbox_to_anchor=(1.0, 0.99))
    below.set_xlim(0.0, round(float(degrees[-1] + degrees[1])))
    below.xaxis.set_major_locator(MultipleLocator(90.0))
    return figure


def _torque(axes, point: FlywheelPoint) -> None:
    """Net torque against the mean load; what is above speeds the crank up."""
    degrees, net = np.degrees(point.now.angle), point.now.net
    mean = float(net.mean())
    share = "" if point.excess.coefficient is None else f", {100.0 * point.excess.coefficient:.0f} % of a cycle's work"
    plain(axes, f"Torque; energy swings by {point.excess.swing:.0f} J{share}", "", "torque, N m")
    axes.fill_between(degrees, net, mean, where=net >= mean, color=colour(2), alpha=0.35, lw=0, label="speeds up")
    axes.fill_between(degrees, net, mean, where=net < mean, color=colour(1), alpha=0.35, lw=0, label="slows down")
    axes.plot(degrees, net, color=colour(0), lw=1.6, label="gas + inertia − losses")
    axes.axhline(mean, color=INK, lw=1.0, ls=":", label=f"mean {mean:.1f} N m")
    for name, place in (("slowest", point.excess.least_at), ("fastest", point.excess.greatest_at)):
        axes.axvline(np.degrees(place), color=INK, lw=0.8, ls="--")
        axes.annotate(
            name, (np.degrees(place), 0.02), (3, 0), xycoords=("data", "axes fraction"), textcoords="offset points",
            fontsize=8,
        )  # fmt: skip
    axes.legend(fontsize=8, ncols=4, frameon=False, loc="lower right", bbox_to_anchor=(1.0, 0.99))


def draw_flywheel(found: Flywheel, title: str, folder: Path) -> list[Path]:
    """flywheel.png in a folder."""
    return into_folder({"flywheel.png": flywheel_figure(found, title)}, folder)
