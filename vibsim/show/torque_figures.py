"""Torque curves in one picture: mean torque, power, the ripple's band about the mean, and its strongest order."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from vibsim.show.boost_tables import NAMES
from vibsim.show.style import FAINT, INK, LONGEST_TITLE, colour, cut, into_folder, line, new_figure, plain
from vibsim.show.torque_tables import label
from vibsim.studies.boost import RPM
from vibsim.studies.torque_curve import Peak, TorqueCurves, TorqueLine, peak_of
from vibsim.studies.torque_rows import knock_of

BAND = 0.16  # opacity
LABEL_GAP = 0.045  # of the axis: labels at line ends keep this apart


def draw_torque(curves: TorqueCurves, title: str, folder: Path) -> list[Path]:
    """Write torque.png into a folder, made if absent. Raises VibsimError when that cannot be done."""
    return into_folder({"torque.png": torque_figure(curves, title)}, folder)


def torque_figure(curves: TorqueCurves, title: str) -> Figure:
    """Mean torque and power over speed, a line for each load and charging; ripple of the main line below."""
    figure = new_figure(13.5, 8.6, cut(f"Torque and power · {title}", LONGEST_TITLE))
    grid = figure.add_gridspec(
        2, 2, left=0.055, right=0.885, top=0.9, bottom=0.065, wspace=0.4, hspace=0.27, height_ratios=(1.3, 1.0)
    )
    torque, power, extremes, order = (figure.add_subplot(grid[place // 2, place % 2]) for place in range(4))
    _torque(plain(torque, "Mean torque at the flywheel", "rpm", "N m"), curves)
    _power(plain(power, "Power", "rpm", "kW"), curves)
    main = label(curves, curves.main)
    _extremes(plain(extremes, f"Ripple band: torque within a cycle, {main}", "rpm", "N m"), curves.main)
    _order(plain(order, f"Strongest order of the torque, {main}", "rpm", "amplitude, N m"), curves.main)
    for axes in (torque, power, extremes, order):
        axes.axhline(0.0, color=INK, linewidth=0.7)
        if len(curves.speeds) > 1:
            axes.set_xlim(curves.speeds[0] * RPM, curves.speeds[-1] * RPM)
    return figure


def _style(curves: TorqueCurves, one: TorqueLine) -> dict[str, Any]:
    """Loads of the case as given share a colour, paler for less; other charging has its own."""
    single = {"marker": "o", "markersize": 5} if len(curves.speeds) == 1 else {}
    if one.source == curves.own:
        ranks = [item for item in curves.lines if item.source == curves.own]
        rank = ranks.index(one)
        return {"color": colour(0), "linewidth": 2.4 if rank == 0 else 1.2, "alpha": 1.0 - 0.14 * min(rank, 4)} | single
    others = list(dict.fromkeys(item.source for item in curves.lines if item.source != curves.own))
    place = 1 + others.index(one.source)
    return {"color": colour(place), "linestyle": line(place), "linewidth": 1.6} | single


def _torque(axes: Axes, curves: TorqueCurves) -> None:
    """Mean torque alone: its ripple is several times as wide and stands in the plot below."""
    for one in curves.lines:
        axes.plot(one.speeds * RPM, one.torque, **_style(curves, one))
    lines = np.concatenate([one.torque for one in curves.lines])
    bottom, top = min(float(lines.min()), 0.0), max(float(lines.max()), 0.0)
    room = max(top - bottom, 1e-9)
    axes.set_ylim(bottom - (0.05 * room if bottom < 0.0 else 0.0), top + 0.15 * room)
    _mark_knock(axes, curves)
    _peak(axes, peak_of(curves.main.speeds, curves.main.torque), "N m", 1.0, _among_others(curves))
    if axes.get_legend_handles_labels()[1]:
        axes.legend(loc="lower left", fontsize=8.5, frameon=True, framealpha=0.85, edgecolor="none")
    _end_labels(axes, curves, [float(one.torque[-1]) for one in curves.lines])


def _band(axes: Axes, main: TorqueLine) -> None:
    """Mean ± rms of a line's ripple."""
    rpm, mean, rms = main.speeds * RPM, main.torque, main.values(lambda point: point.ripple.rms)
    if len(rpm) == 1:
        axes.errorbar(rpm, mean, rms, color=colour(0), capsize=6, linewidth=1.2)
        return
    axes.fill_between(rpm, mean - rms, mean + rms, color=colour(0), alpha=BAND, linewidth=0.0)
    for edge in (mean - rms, mean + rms):
        axes.plot(rpm, edge, color=colour(0), linewidth=0.8, alpha=0.45)


def _power(axes: Axes, curves: TorqueCurves) -> None:
    for one in curves.lines:
        axes.plot(one.speeds * RPM, 1e-3 * one.power, **_style(curves, one))
    axes.set_ylim(bottom=min(0.0, axes.get_ylim()[0]), top=1.12 * max(axes.get_ylim()[1], 0.0) or None)
    _peak(axes, peak_of(curves.main.speeds, curves.main.power), "kW", 1e-3, _among_others(curves))
    _end_labels(axes, curves, [1e-3 * float(one.power[-1]) for one in curves.lines])


def _mark_knock(axes: Axes, curves: TorqueCurves) -> None:
    """Where the main line's fuel would not do."""
    points = [point for point in curves.main.points if knock_of(point.state) == "would"]
    if points:
        rpm, torque = [point.speed * RPM for point in points], [point.torque for point in points]
        axes.plot(
            rpm, torque, "x", color=colour(1), markersize=8, markeredgewidth=2.0, clip_on=False, label="would knock"
        )


def _peak(axes: Axes, peak: Peak, unit: str, scale: float, main: str) -> None:
    """A dot at the greatest value with its words above, or in the title behind the `main` line's name where others run
    there; none on a crank that must be driven."""
    if peak.value <= 0.0:
        return
    x, y = peak.speed * RPM, scale * peak.value
    axes.plot([x], [y], "o", color=colour(0), markersize=6, zorder=5, clip_on=False)
    share = np.interp(x, axes.get_xlim(), (0.0, 1.0))
    side = "right" if share > 0.8 else "left" if share < 0.2 else "center"
    words = f"{y:.1f} {unit} at {x:.0f} rpm".replace("-", "−") + ("" if peak.inside else " (an end)")
    if main:  # lines of other charging run where the words would stand
        axes.set_title(f"{axes.get_title(loc='left')}, {main}: {words}", loc="left", fontsize=10)
        return
    look: dict[str, Any] = {"ha": side, "fontsize": 9, "fontweight": "bold", "color": colour(0)}
    axes.annotate(words, (x, y), (0, 9), textcoords="offset points", zorder=6, **look)


def _end_labels(axes: Axes, curves: TorqueCurves, ends: list[float]) -> None:
    """Names at the right ends of lines, moved apart where they would touch."""
    low, high = axes.get_ylim()
    gap = LABEL_GAP * (high - low)
    order = np.argsort(ends)
    places = np.array(ends)[order]
    for _ in range(200):
        close = np.diff(places) < 0.999 * gap
        if not close.any():
            break
        for index in np.flatnonzero(close):
            push = 0.5 * (gap - (places[index + 1] - places[index]))
            places[index] -= push
            places[index + 1] += push
    x = curves.speeds[-1] * RPM
    for place, index in zip(places, order, strict=True):
        one = curves.lines[index]
        style = _style(curves, one)
        axes.annotate(
            _short(curves, one),
            (x, ends[index]),
            (9, (place - ends[index]) / (high - low) * axes.get_window_extent().height * 72.0 / 100.0),
            textcoords="offset points",
            va="center",
            fontsize=8.5,
            color=style["color"],
            fontweight="bold" if one is curves.main else "normal",
            annotation_clip=False,
            arrowprops={"arrowstyle": "-", "color": FAINT, "linewidth": 0.6, "shrinkA": 0.0, "shrinkB": 0.0},
        )


def _among_others(curves: TorqueCurves) -> str:
    """How the main line is called beside other ways of charging; empty without them."""
    return NAMES[curves.main.source] if len({item.source for item in curves.lines}) > 1 else ""


def _short(curves: TorqueCurves, one: TorqueLine) -> str:
    several = len({item.source for item in curves.lines}) > 1
    if one.source != curves.own or (several and one is curves.main):
        return NAMES[one.source]
    return label(curves, one).split(", ")[0]


def _extremes(axes: Axes, main: TorqueLine) -> None:
    rpm = main.speeds * RPM
    least = main.values(lambda point: point.ripple.least)
    greatest = main.values(lambda point: point.ripple.greatest)
    mark = "o" if len(rpm) == 1 else ""
    _band(axes, main)
    axes.plot(rpm, greatest, marker=mark, color=colour(1), linewidth=1.6)
    axes.plot(rpm, main.torque, marker=mark, color=colour(0), linewidth=2.4)
    axes.plot(rpm, least, marker=mark, color=colour(4), linewidth=1.6)
    for words, values, place in (
        ("greatest", greatest, 1),
        ("mean ± rms", main.torque, 0),
        ("least", least, 4),
    ):
        axes.annotate(
            words,
            (rpm[-1], values[-1]),
            (9, 0),
            textcoords="offset points",
            va="center",
            fontsize=8.5,
            color=colour(place),
            annotation_clip=False,
        )


def _order(axes: Axes, main: TorqueLine) -> None:
    """Amplitude over speed, one colour for each order that is the strongest somewhere."""
    rpm, amplitude = main.speeds * RPM, main.values(lambda point: point.ripple.amplitude)
    orders = main.values(lambda point: point.ripple.order)
    axes.plot(rpm, amplitude, color=FAINT, linewidth=1.4)
    for place, order in enumerate(np.unique(orders)):
        here = orders == order
        look: dict[str, Any] = {"marker": "osD^v"[place % 5], "color": colour(place), "label": f"order {order:g}"}
        axes.plot(rpm[here], amplitude[here], linestyle="", markersize=7, clip_on=False, zorder=4, **look)
    axes.set_ylim(0.0, 1.3 * float(amplitude.max()) or None)
    axes.legend(loc="upper left", fontsize=8.5, frameon=False, ncols=5, handletextpad=0.2)
