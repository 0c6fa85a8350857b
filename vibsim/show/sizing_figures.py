"""Pictures of a sizing: orders before and after, the front of goals, the tornado of sensitivities."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import MaxNLocator

from vibsim.show.style import FAINT, INK, colour, cut, into_folder, new_figure, plain
from vibsim.studies.sizing.meter import RPM, Meter
from vibsim.studies.sizing.robust import Matters
from vibsim.studies.sizing.size import Sized

BARS = 10  # parameters in a tornado
MOST_PANELS = 3
LONGEST_BESIDE = 78  # characters of a title with a legend beside it
MOST_ORDERS = 3
BEFORE, AFTER = colour(1), colour(0)


def draw_sizing(sized: Sized, title: str, folder: Path) -> list[Path]:
    """Write size-orders.png, size-front.png (several goals) and size-tornado.png into a folder, made if absent."""
    figures: dict[str, Figure] = {}
    over_speeds = [meter for meter in (*sized.problem.goals, *sized.problem.limits) if meter.curve is not None]
    if over_speeds and len(over_speeds[0].speeds) > 1:
        figures["size-orders.png"] = _orders(sized, over_speeds[:2], title)
    if len(sized.problem.goals) > 1:
        figures["size-front.png"] = _front(sized, title)
    if sized.robust is not None:
        figures["size-tornado.png"] = _tornado(sized, title)
    return into_folder(figures, folder)


def _orders(sized: Sized, meters: list[Meter], title: str) -> Figure:
    """Per measure over speeds: the level of all its orders, and of the strongest one by one, before and after."""
    figure = new_figure(12.0, 0.8 + 2.9 * len(meters), cut(f"Before and after sizing · {title}", LONGEST_BESIDE))
    height = 0.8 + 2.9 * len(meters)
    grid = figure.add_gridspec(
        len(meters), 1 + MOST_ORDERS, left=0.065, right=0.985, top=1.0 - 0.85 / height, bottom=0.5 / height,
        wspace=0.24, hspace=0.42,
    )  # fmt: skip
    for row, meter in enumerate(meters):
        parts = _by_order(sized, meter)
        whole = np.sqrt((parts**2).sum(axis=1))
        strongest = sorted(np.argsort(parts.max(axis=(0, 2)))[::-1][:MOST_ORDERS])
        panels = [("", whole), *((f"order {meter.orders[n]:g}", parts[:, n]) for n in strongest)]
        top = 1.1 * float(whole.max())
        for column, (words, level) in enumerate(panels):
            axes = figure.add_subplot(grid[row, column])
            name = meter.name.split(",")[0]
            words = cut(name, 34) if column == 0 else words
            plain(axes, words, "", meter.unit if column == 0 else "")
            axes.xaxis.set_major_locator(MaxNLocator(4))
            _pair(axes, meter, level)
            axes.set_ylim(0.0, top)
            if row == len(meters) - 1:
                axes.set_xlabel("rpm", fontsize=9)
            if column == 0:
                _bound(axes, meter)
    handles = [
        Line2D([], [], color=BEFORE, ls="--", lw=1.8, label="before"),
        Line2D([], [], color=AFTER, lw=2.2, label="after"),
        Line2D([], [], color=INK, ls=":", lw=1.0, label="target or limit"),
    ]
    figure.legend(handles=handles, loc="upper right", fontsize=9, frameon=False, ncols=3)
    return figure


def _by_order(sized: Sized, meter: Meter) -> np.ndarray:
    """Levels (before and after, orders, speeds) of a measure, order by order, by the linear model."""
    problem = sized.problem
    assert meter.alone is not None
    one_by_one = [meter.alone(number) for number in range(len(meter.orders))]
    answers = problem.bench.answer([problem.space.mounts, problem.space.mounts_at(sized.choice.x)])
    return np.stack([curve(answers) for curve in one_by_one], axis=1)


def _pair(axes: Axes, meter: Meter, level: np.ndarray) -> None:
    """Curves (2, speeds) with what was gained between them."""
    rpm = np.array(meter.speeds) * RPM
    axes.fill_between(rpm, level[0], level[1], color=FAINT, alpha=0.35, lw=0.0)
    axes.plot(rpm, level[0], "--", color=BEFORE, lw=1.8)
    axes.plot(rpm, level[1], "-", color=AFTER, lw=2.2)
    axes.set_xlim(rpm[0], rpm[-1])


def _bound(axes: Axes, meter: Meter) -> None:
    for value in (meter.target, meter.most):
        if value is not None:
            axes.axhline(value / meter.scale, color=INK, lw=1.0, ls=":")


def _front(sized: Sized, title: str) -> Figure:
    """The first goal against each of the others."""
    goals = sized.problem.goals
    panels = min(len(goals) - 1, MOST_PANELS)
    figure = new_figure(6.0 + 4.0 * (panels - 1) + 1.5, 5.2, cut(f"What each goal costs the other · {title}", 75))
    grid = figure.add_gridspec(1, panels, left=0.11, right=0.975, top=0.9, bottom=0.12, wspace=0.28)
    scale = np.array([meter.scale for meter in goals])
    front, before = sized.found.front / scale, sized.before[: len(goals)] / scale
    for panel in range(panels):
        up = panel + 1
        labels = [f"{cut(goals[n].name.split(',')[0], 40)}, {goals[n].unit}" for n in (0, up)]
        axes = plain(figure.add_subplot(grid[panel]), "", *labels)
        axes.plot(front[:, 0], front[:, up], "o", ms=5, mfc="#777777", mec="none", label="unbeaten sets of mounts")
        axes.plot(before[0], before[up], "D", ms=11, mfc="none", mec=BEFORE, mew=2.2, label="the case as given")
        for number, choice in enumerate(sized.found.choices, 1):
            place = choice.goals / scale
            taken = choice is sized.choice
            face, ink = (AFTER, "white") if taken else ("white", INK)
            label = "taken" if taken else None
            axes.plot(place[0], place[up], "o", ms=13, mfc=face, mec=INK, zorder=4, label=label)
            axes.text(
                place[0], place[up], str(number), ha="center", va="center", fontsize=8, color=ink, zorder=5,
                fontweight="bold",
            )  # fmt: skip
        for n, line in ((0, axes.axvline), (up, axes.axhline)):
            target = goals[n].target
            if target is not None:
                line(target / goals[n].scale, color=INK, lw=1.0, ls=":", label="target" if n == 0 else None)
        axes.margins(0.08)
        if panel == 0:
            axes.legend(fontsize=8, frameon=False, loc="best")
    return figure


def _tornado(sized: Sized, title: str) -> Figure:
    """Per goal: its value with each parameter at either end, the greatest on top; and its histogram."""
    robust = sized.robust
    assert robust is not None
    goals = min(len(sized.problem.goals), MOST_PANELS)
    figure = new_figure(5.0 * goals + 2.2, 5.6, cut(f"What scatter does · {title}", 25 + 40 * goals))
    grid = figure.add_gridspec(
        2, goals, height_ratios=(2.2, 1.0), left=0.24 if goals == 1 else 0.165, right=0.98, top=0.88, bottom=0.1,
        wspace=0.62, hspace=0.5,
    )  # fmt: skip
    for column in range(goals):
        item, sure = robust.matters[column], robust.sure[column]
        meter = item.meter
        _bars(figure.add_subplot(grid[0, column]), item, robust.parameters)
        axes = figure.add_subplot(grid[1, column])
        held = "" if meter.target is None else f": {100.0 * sure.holds:.3g} % hold the target"
        plain(axes, f"{robust.samples} as built, aged, hot, cold{held}", meter.unit, "%")
        values = sure.values[np.isfinite(sure.values)] / meter.scale
        axes.hist(values, 40, weights=np.full(len(values), 100.0 / len(values)), color=AFTER, alpha=0.6)
        if meter.target is not None:
            axes.axvline(meter.target / meter.scale, color=INK, lw=1.6, ls="--")
    return figure


def _bars(axes: Axes, item: Matters, parameters: list[str]) -> None:
    meter = item.meter
    reach = np.maximum(np.abs(item.at_high - item.nominal), np.abs(item.at_low - item.nominal))
    order = np.argsort(reach)[::-1][:BARS]
    plain(axes, cut(meter.name.split(",")[0], 45), meter.unit, "")
    for place, n in enumerate(order):
        ends = ((item.at_low[n], colour(5), "at its least", -0.19), (item.at_high[n], BEFORE, "at its most", 0.19))
        for end, tint, words, up in ends:
            width = (end - item.nominal) / meter.scale
            label = words if place == 0 else None
            axes.barh(place + up, width, 0.38, left=item.nominal / meter.scale, color=tint, label=label)
    axes.axvline(item.nominal / meter.scale, color=INK, lw=1.2)
    axes.set_yticks(np.arange(len(order)), [cut(parameters[n], 30) for n in order])
    axes.invert_yaxis()
    axes.legend(fontsize=8, frameon=False, loc="lower right")
