"""Figure of a run over a road: its height, tyre forces and what people at the sensors feel, over time."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from vibsim.results.labelled import Group
from vibsim.show.style import FAINT, INK, LONGEST_TITLE, colour, cut, line, new_figure, plain
from vibsim.show.tables import plain_number

MOST_SENSORS = 4
SHOWN = 2.0  # s of tyre forces and accelerations, which a longer record would smear
MOST_DRAWN = 4000  # spans of a line: more are drawn by their least and greatest values


def road_figure(results: Group) -> Figure | None:
    """Height of the road under the wheels; tyre forces and vertical acceleration of people over its hardest seconds."""
    if "road" not in results.groups:
        return None
    at = results.groups["road"].attributes
    words = f"{at['road']} at {3.6 * at['vehicle_speed_m_per_s']:.4g} km/h"
    figure = new_figure(11.0, 8.0, cut(f"{words} · {results.attributes['title']}", LONGEST_TITLE))
    grid = figure.add_gridspec(3, 1, left=0.075, right=0.81, top=0.92, bottom=0.06, hspace=0.42)
    begin, end = _hardest(results)
    time, shown = results["time"], slice(*np.searchsorted(results["time"], (begin, end)))
    height, force = 1e3 * results["road_height"], results["tyre_force"][:, :, 2]
    part = "" if end - begin >= time[-1] else f", {begin:.1f} to {end:.1f} s, the hardest"
    upper = plain(figure.add_subplot(grid[0]), "Road under the wheels, as their tyres feel it", "time, s", "mm")
    middle = plain(figure.add_subplot(grid[1]), f"Force of the road on the tyres, vertical{part}", "time, s", "N")
    for n, name in enumerate(results.labels("wheel")):
        label = f"{cut(name, 22)}\n{height[:, n].std():.3g} mm rms"
        upper.plot(*_thinned(time, height[:, n]), line(n), color=colour(n), lw=1.1, label=label)
        label = f"{cut(name, 22)}\nleast {plain_number(force[:, n].min(), 0)} N"
        middle.plot(time[shown], force[shown, n], line(n), color=colour(n), lw=1.2, label=label)
    middle.axhline(0.0, color=INK, lw=0.8)
    if part:
        upper.axvspan(begin, end, color=FAINT, alpha=0.4, lw=0.0)
    lower = plain(figure.add_subplot(grid[2]), f"Vertical acceleration{part}", "time, s", "m/s²")
    _accelerations(results, lower, shown)
    for axes in (upper, middle, lower):
        axes.margins(x=0.0)
        if axes.get_legend_handles_labels()[0]:
            axes.legend(fontsize=8, frameon=False, loc="upper left", bbox_to_anchor=(1.005, 1.0))
    return figure


def _hardest(results: Group) -> tuple[float, float]:
    """Begin and end (s) of the seconds about the greatest force of a tyre from its mean; all of a short record."""
    time, force = results["time"], results["tyre_force"][:, :, 2]
    if time[-1] <= 1.5 * SHOWN:
        return 0.0, float(time[-1])
    off = np.abs(force - force.mean(axis=0)) / np.maximum(force.mean(axis=0), 1.0)
    middle = float(time[int(off.max(axis=1).argmax())])
    begin = min(max(middle - 0.5 * SHOWN, 0.0), float(time[-1]) - SHOWN)
    return begin, begin + SHOWN


def _accelerations(results: Group, axes: Axes, shown: slice) -> None:
    """Of those that people touch, or the first sensors where they touch none; weighted levels are of the whole."""
    names = results.labels("sensor") if "sensor_acceleration" in results else []
    felt = results.groups.get("exposure")
    touched = felt.labels("felt_at") if felt is not None else names
    for rank, name in enumerate(touched[:MOST_SENSORS]):
        values = results["sensor_acceleration"][:, names.index(name), 2]
        figures = f"{np.sqrt(np.mean(values**2)):.2f} m/s² rms"
        if felt is not None:
            figures += f"\nweighted {felt['rms'][rank, 2]:.2f}"
        width = 2.0 if rank == 0 else 1.0
        label = f"{cut(name, 22)}\n{figures}"
        axes.plot(
            results["time"][shown],
            values[shown],
            line(rank),
            color=colour(rank),
            lw=width,
            label=label,
            zorder=4 - rank,
        )


def _thinned(time: np.ndarray, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Least and greatest of every stretch, so that a long record looks as it is."""
    group = len(values) // (MOST_DRAWN // 2)
    if group < 4:
        return time, values
    whole = len(values) // group * group
    parts = values[:whole].reshape(-1, group)
    at = np.repeat(time[:whole:group], 2)
    return at, np.stack([parts.min(axis=1), parts.max(axis=1)], axis=1).ravel()
