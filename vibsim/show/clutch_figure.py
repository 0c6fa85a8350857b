"""Figure of a clutch that closes: the speeds that meet, its torque and capacity, what it loses, what mounts feel."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from vibsim.results.labelled import Group
from vibsim.show.style import FAINT, LONGEST_TITLE, colour, cut, line, new_figure, plain, short

RPM = 30.0 / math.pi
MOST_MOUNTS = 4


def clutch_figure(results: Group) -> Figure | None:
    """Speeds before and behind the clutch, its torque within its capacity, and the mounts it shakes; None without."""
    if "clutch" not in results.groups:
        return None
    found, time = results.groups["clutch"].attributes, results["time"]
    figure = new_figure(11.0, 8.4, cut(f"Clutch · {results.attributes['title']}", LONGEST_TITLE))
    grid = figure.add_gridspec(3, 1, left=0.08, right=0.92, top=0.91, bottom=0.065, hspace=0.36)
    speed = plain(figure.add_subplot(grid[0]), _words(found), "", "as crank speed, rpm")
    crank = results["crank_speed"]
    speed.plot(time, crank * RPM, line(0), color=colour(0), lw=1.5, label="crank")
    driven = crank - results["clutch_slip_speed"]
    speed.plot(time, driven * RPM, line(1), color=colour(1), lw=1.5, label="behind the clutch")
    torque = plain(figure.add_subplot(grid[1]), "Torque through the clutch", "", "torque, N m")
    torque.fill_between(time, -results["clutch_capacity"], results["clutch_capacity"], color=FAINT, alpha=0.45, lw=0.0,
                        label="within its capacity")  # fmt: skip
    torque.plot(time, results["clutch_torque"], color=colour(0), lw=1.2, label="torque")
    lost = plain(torque.twinx(), "", "", "work lost, J")
    lost.plot(time, results["clutch_lost_energy"], line(1), color=colour(3), lw=1.5, label="work lost")
    lost.grid(False)
    mounts = plain(figure.add_subplot(grid[2]), "", "time, s", "change of force, N")
    _mounts(mounts, results, float(found["bites_at_s"]))
    for axes in (speed, torque, mounts):
        axes.margins(x=0.0)
        axes.axvline(found["bites_at_s"], color=FAINT, lw=1.2, zorder=0)
    handles = [*torque.get_legend_handles_labels()[0], *lost.get_legend_handles_labels()[0]]
    torque.legend(handles=handles, fontsize=8, frameon=False, ncols=3, loc="lower right", bbox_to_anchor=(1.0, 0.98))
    speed.legend(fontsize=8, frameon=False, ncols=2, loc="upper right")
    return figure


def _words(found: dict) -> str:
    lost = f"{1e-3 * found['lost_energy_J']:.2f} kJ lost in it"
    if "slipped_for_s" not in found:
        return f"Speeds before and behind the clutch; it still slips, {lost}"
    return f"Speeds before and behind the clutch: locked after {found['slipped_for_s']:.3f} s, {lost}"


def _mounts(axes: Axes, results: Group, begins: float) -> None:
    """Force of the mounts that change most, along what each feels most of it."""
    if "mount_force" not in results:
        return
    time, force, names = results["time"], results["mount_force"], short(results.labels("mount"))
    change = force - force[time <= begins].mean(axis=0)
    size = np.abs(change[time >= begins]).max(axis=0)
    ranked = np.argsort(size.max(axis=1))[::-1][:MOST_MOUNTS]
    axes.set_title("Mounts that it shakes most, force less what it was before", loc="left", fontsize=10)
    for rank, n in enumerate(ranked):
        axis = int(size[n].argmax())
        label = f"{names[n]} {'XYZ'[axis]}, at most {size[n, axis]:.0f} N"
        axes.plot(time, change[:, n, axis], line(rank), color=colour(rank), lw=1.2, label=label)
    low, high = axes.get_ylim()
    axes.set_ylim(low, high + 0.35 * (high - low))  # room for the names
    axes.legend(fontsize=8, frameon=False, ncols=2, loc="upper right")
