"""How a run of steps goes over time: speed and torque, mount forces, accelerations, what drives the crank."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from vibsim.post.steps import WINDOW, levels
from vibsim.results.labelled import Group
from vibsim.show.step_figures import step_spectra_figure, step_torque_figure
from vibsim.show.style import FAINT, INK, LONGEST_TITLE, colour, cut, line, new_figure, plain, short

RPM = 30.0 / math.pi  # per rad/s
MOST_CURVES = 6
SHORTEST = 0.1  # s, of cranking
LONGEST = 0.4  # s, of a working cycle: of a slower one a part is taken
SHORTEST_NAMED = 0.05  # of the record: shorter steps are named upright


def _heading(results: Group, what: str) -> str:
    return cut(f"{what} · {results.attributes['title']}", LONGEST_TITLE)


def _steps(axes: Axes, results: Group, named: bool) -> None:
    """Mark where steps begin; name them above the topmost axes."""
    steps = results.groups["steps"]
    count, end = int(steps.attributes["count"]), float(results["history/block"][-1])
    for index in range(count):
        found = steps.groups[str(index + 1)].attributes
        begin, until = found["begin_s"], found["end_s"]
        if index:
            axes.axvline(begin, color=FAINT, lw=1.0, zorder=0)
        if named and count > 1:
            words = str(found["kind"]).replace("_", "-")
            upright = (until - begin) < SHORTEST_NAMED * end
            axes.annotate(
                words, (0.5 * (begin + until), 1.0), (0, -3 if upright else 3), xycoords=("data", "axes fraction"),
                textcoords="offset points", ha="center", va="top" if upright else "bottom", fontsize=8.5,
                rotation=90 if upright else 0,
            )  # fmt: skip
    axes.set_xlim(0.0, end)


def _stacked(figure: Figure, rows: int) -> list[Axes]:
    tall, right = figure.get_figheight(), 0.985 if rows < 3 else 0.94
    grid = figure.add_gridspec(rows, 1, left=0.075, right=right, top=1.0 - 0.85 / tall, bottom=0.5 / tall, hspace=0.34)
    return [figure.add_subplot(grid[row]) for row in range(rows)]


def speed_history(results: Group) -> Figure | None:
    """Crank speed, torques, and what the throttle or the starter does."""
    history = results.groups["history"]
    more = [name for name in ("throttle_opening", "starter_current") if f"{name}_mean" in history]
    figure = new_figure(11.0, 5.4 + 1.9 * len(more), _heading(results, "Crank speed and torque"))
    places = _stacked(figure, 2 + len(more))
    speed = plain(places[0], "", "", "crank speed, rpm")
    _speed_band(speed, results)
    speed.legend(fontsize=8, frameon=False, loc="upper right")
    torque = plain(places[1], "Mean torque on the crank (over each stretch of time)", "", "torque, N m")
    words = {"gas": "gas", "load": "output", "friction": "friction", "accessory": "accessories", "starter": "starter"}
    for index, (name, label) in enumerate(words.items()):
        if f"{name}_torque_mean" in history:
            mean = _smooth(history, f"{name}_torque_mean")
            torque.plot(history["block"], mean, line(index), color=colour(index), lw=1.4, label=label)
    torque.legend(fontsize=8, frameon=False, ncols=5, loc="lower right", bbox_to_anchor=(1.0, 0.98))
    for axes, name in zip(places[2:], more, strict=True):
        if name == "throttle_opening":
            plain(axes, "Throttle opening, and intake pressure (dashed)", "", "opening, %")
            axes.plot(history["block"], 100.0 * history["throttle_opening_mean"], color=colour(0), lw=1.4)
            other = plain(axes.twinx(), "", "", "intake, kPa")
            other.plot(history["block"], 1e-3 * history["intake_pressure_mean"], "--", color=colour(1), lw=1.2)
            other.grid(False)
        else:
            peak, lowest = history["starter_current_greatest"], history["battery_voltage_least"]
            title = f"greatest {peak.max():.0f} A; battery voltage (dashed), least {lowest.min():.1f} V"
            plain(axes, f"Starter's current, {title}", "", "current, A")
            axes.plot(history["block"], peak, color=colour(0), lw=1.4)
            other = plain(axes.twinx(), "", "", "battery, V")
            other.plot(history["block"], history["battery_voltage_least"], "--", color=colour(1), lw=1.2)
            other.grid(False)
    for index, axes in enumerate(places):
        _steps(axes, results, named=index == 0)
    if "starter_current" in more:
        _while_cranking(places[-1], history)
    places[-1].set_xlabel("time, s", fontsize=9)
    return figure


def _while_cranking(axes: Axes, history: Group) -> None:
    """Show the time in which the starter draws current alone, not the whole run."""
    on = history["block"][history["starter_current_greatest"] > 0.0]
    if len(on):
        spare = 0.1 * max(on[-1] - on[0], SHORTEST)
        axes.set_xlim(on[0] - spare, on[-1] + spare)


def _speed_band(axes: Axes, results: Group) -> None:
    """Crank speed: its mean over a working cycle around each moment, within the least and greatest in it."""
    time, mean, least, greatest = cycle_band(results)
    axes.fill_between(time, RPM * least, RPM * greatest, color=colour(0), alpha=0.3, lw=0.0)
    words = "mean of a working cycle; shaded: least to greatest in it"
    axes.plot(time, RPM * mean, line(0), color=colour(0), lw=1.3, label=words)


def cycle_band(results: Group) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Times (n) s, mean, least and greatest crank speed (n) rad/s over a working cycle around each, at most LONGEST."""
    history = results.groups["history"]
    time, speed = history["block"], history["crank_speed_mean"]
    least, greatest = history["crank_speed_least"], history["crank_speed_greatest"]
    cycle = math.pi * float(results.attributes["strokes"])  # rad
    half = np.minimum(0.5 * cycle / np.maximum(np.abs(speed), 1e-3), 0.5 * LONGEST)
    begin, end = np.searchsorted(time, time - half), np.searchsorted(time, time + half, side="right")
    rows = [(speed[a:b].mean(), least[a:b].min(), greatest[a:b].max()) for a, b in zip(begin, end, strict=True)]
    return time, *np.array(rows).T


def _smooth(history: Group, name: str) -> np.ndarray:
    """A mean over windows of WINDOW, so that single firings do not hide how it goes."""
    values, time = history[name], history["block"]
    width = max(round(WINDOW / (time[1] - time[0])), 1) if len(time) > 1 else 1
    ones = np.ones(width)
    return np.convolve(values, ones, "same") / np.convolve(np.ones(len(values)), ones, "same")


def mount_history(results: Group) -> Figure | None:
    """Levels of the mounts' forces over time, and the most loaded one's force itself."""
    history = results.groups["history"]
    if "mount_force_mean" not in history:
        return None
    figure = new_figure(11.0, 7.4, _heading(results, "Mount forces over time"))
    places = _stacked(figure, 2)
    names = short(results.labels("mount"))
    worst = _levels(places[0], history, "mount_force", names, f"rms over {WINDOW:g} s, N")
    swing = history["mount_force_greatest"][:, worst].max(axis=0) - history["mount_force_least"][:, worst].min(axis=0)
    words = f"Most loaded mount, {names[worst]}: force, least to greatest"
    axes = plain(places[1], words, "time, s", "force, N")
    for axis in np.argsort(swing)[::-1][:2]:
        least, greatest = (history[f"mount_force_{part}"][:, worst, axis] for part in ("least", "greatest"))
        axes.fill_between(
            history["block"], least, greatest, color=colour(int(axis)), alpha=0.6, lw=0.6, label="XYZ"[axis]
        )
    axes.legend(fontsize=8, frameon=False, ncols=3, loc="lower right", bbox_to_anchor=(1.0, 0.98))
    for index, place in enumerate(places):
        _steps(place, results, named=index == 0)
    return figure


def sensor_history(results: Group) -> Figure | None:
    """Levels of acceleration at the sensors over time, with the crank speed."""
    history = results.groups["history"]
    if "sensor_acceleration_mean" not in history:
        return None
    figure = new_figure(11.0, 7.0, _heading(results, "Acceleration over time, unweighted"))
    places = _stacked(figure, 2)
    _levels(places[0], history, "sensor_acceleration", short(results.labels("sensor")), f"rms over {WINDOW:g} s, m/s²")
    speed = plain(places[1], "Crank speed", "time, s", "rpm")
    _speed_band(speed, results)
    speed.legend(fontsize=8, frameon=False, loc="upper right")
    for index, place in enumerate(places):
        _steps(place, results, named=index == 0)
    return figure


def _levels(axes: Axes, history: Group, quantity: str, names: list[str], label: str) -> int:
    """Levels over time of the strongest few; returns which has the highest."""
    time, rows = levels(history, quantity)
    ranking = np.argsort(rows.max(axis=0))[::-1]
    plain(axes, "", "", label)
    for place, index in enumerate(ranking[:MOST_CURVES]):
        axes.plot(time, rows[:, index], line(place), color=colour(place), lw=1.6, label=names[index])
    axes.set_ylim(bottom=0.0)
    columns = 1 if len(names) <= 3 else 2
    axes.legend(fontsize=8, frameon=False, ncols=columns, loc="upper right", labelcolor=INK)
    return int(ranking[0])


HISTORIES: dict[str, Callable[[Group], Figure | None]] = {
    "speed": speed_history,
    "mounts": mount_history,
    "sensors": sensor_history,
    "torque": step_torque_figure,
    "spectra": step_spectra_figure,
}
