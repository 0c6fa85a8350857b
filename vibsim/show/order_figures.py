"""Figures of engine orders: amplitude and phase of an exact cycle, order cuts with the overall level of a run-up."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MultipleLocator

from vibsim.show.order_tables import how, strongest
from vibsim.show.style import FAINT, INK, LONGEST_TITLE, colour, cut, into_folder, line, new_figure, plain
from vibsim.studies.order_tracking import RPM, OrdersFound

MOST_PANELS, MOST_CURVES = 3, 4
LEAST_DRAWN, HIGHEST_DRAWN = 4.0, 8.0  # orders
MOST_TICKS = 8  # of phase
FAINTEST = 0.01  # of the strongest: less has no phase worth drawing
MARKS = "osD"


def draw_found(found: OrdersFound, orders: tuple[float, ...] | None, folder: Path) -> list[Path]:
    """Write orders.png (an exact cycle) or order-cuts.png (a record) into a folder, made if absent."""
    figure = new_figure(12.5, 6.8, cut(f"Engine orders · {found.channel.title} · {found.title}", LONGEST_TITLE))
    words = how(found)
    if found.steps:
        kinds = ", ".join(f"{n} {kind.replace('_', '-')}" for n, (_, _, kind) in enumerate(found.steps, start=1))
        words += f"\nsteps: {kinds}"
    figure.text(0.01, 1.0 - 0.42 / 6.8, words, fontsize=8.5, color=INK, va="top")
    size = found.size()[:, found.picked()]
    ranked = np.argsort(size.max(axis=(0, 1)))[::-1][:MOST_PANELS]
    room = {"left": 0.065, "right": 0.985, "top": 0.86, "bottom": 0.085, "wspace": 0.2, "hspace": 0.3}
    axes = figure.subplots(2, len(ranked), squeeze=False, gridspec_kw=room | {"height_ratios": (1.5, 1.0)})
    for column, n in enumerate(ranked):
        (_draw_cycle if found.exact else _draw_cuts)(found, int(n), orders, axes[0, column], axes[1, column], column)
    _one_scale(axes[0], 1.0 if found.exact else 1.2)
    return into_folder({"orders.png" if found.exact else "order-cuts.png": figure}, folder)


def _one_scale(row: np.ndarray, room: float) -> None:
    top = room * max(axes.get_ylim()[1] for axes in row)
    for axes in row:
        axes.set_ylim(0.0, top)


def _draw_cycle(found: OrdersFound, n: int, orders, top: Axes, low: Axes, column: int) -> None:
    """Bars of amplitude per axis, and their phase where there is any."""
    unit, axes = found.channel.unit, found.channel.axes
    place, felt = found.tracked.orders[1:], found.tracked.amplitude[0, 1:, n]
    strong = np.abs(felt) > FAINTEST * np.abs(felt).max()
    last = min(max(place[strong.any(axis=1)].max(initial=0.0), LEAST_DRAWN), HIGHEST_DRAWN)
    shown, step = place <= last, place[1] - place[0]
    plain(top, cut(found.channel.labels[n], 40), "", f"amplitude, {unit}" if column == 0 else "")
    plain(low, "Phase at crank angle zero", "engine order", "degrees" if column == 0 else "")
    width = 0.8 * step / len(axes)
    for a, axis in enumerate(axes):
        where = place[shown] + (a - 0.5 * (len(axes) - 1)) * width
        top.bar(where, np.abs(felt[shown, a]), width, color=colour(a), label=axis)
        seen = strong[shown, a]
        low.plot(where[seen], np.degrees(np.angle(felt[shown, a][seen])), MARKS[a], color=colour(a), ms=4.5)
    if len(axes) > 1 and column == 0:
        top.legend(fontsize=8.5, ncols=3, frameon=False)
    low.set(ylim=(-190.0, 190.0), yticks=(-180, -90, 0, 90, 180))
    for item in (top, low):
        item.set_xlim(0.0, last + step)
        item.xaxis.set_major_locator(MultipleLocator(1.0))


def _draw_cuts(found: OrdersFound, n: int, orders, top: Axes, low: Axes, column: int) -> None:
    """Levels of the strongest orders and the overall one; phase of their strongest axis."""
    data, unit = found.tracked, found.channel.unit
    x = data.speed * RPM if found.over_speed else data.time
    plain(top, cut(found.channel.labels[n], 40), "", f"rms, {unit}" if column == 0 else "")
    words = "crank speed, rpm" if found.over_speed else "time, s"
    plain(low, "Phase at crank angle zero, strongest axis", words, "degrees" if column == 0 else "")
    overall = np.linalg.norm(data.overall[:, n], axis=-1)
    top.plot(x, overall, color="#000000", lw=2.4, alpha=0.55, label="overall")
    size = found.size()[:, :, n] / np.sqrt(2.0)
    for k, o in enumerate(strongest(found, n, orders, MOST_CURVES)):
        axis = int(np.abs(data.amplitude[:, o, n]).max(axis=0).argmax())
        style: dict[str, Any] = {"color": colour(k), "ls": line(k), "lw": 1.7}
        top.plot(x, size[:, o], label=f"order {data.orders[o]:g}", **style)
        phase = np.degrees(np.unwrap(np.angle(data.amplitude[:, o, n, axis])))
        phase -= 360.0 * np.round(np.median(phase) / 360.0)
        low.plot(x, np.where(size[:, o] > FAINTEST * size[:, found.picked()].max(), phase, np.nan), **style)
    turns = float(np.ptp(low.get_ylim())) / 360.0
    low.yaxis.set_major_locator(MultipleLocator(90.0 if turns < 2.2 else 360.0 * np.ceil(turns / MOST_TICKS)))
    if found.steps and not found.over_speed:
        top.set_title(cut(found.channel.labels[n], 40), loc="left", fontsize=10, pad=17)
    for item in (top, low):
        item.set_xlim(float(x.min()), float(x.max()))
        if not found.over_speed:
            _mark_steps(item, found, named=item is top)
    top.legend(fontsize=8, ncols=3, frameon=False, loc="upper right", columnspacing=1.2)


def _mark_steps(axes: Axes, found: OrdersFound, named: bool) -> None:
    """Where the steps of a programme begin, with their numbers; kinds are in the table."""
    first, last = axes.get_xlim()
    for number, (begin, end, _) in enumerate(found.steps, start=1):
        if begin > first:
            axes.axvline(begin, color=FAINT, lw=1.0, zorder=0)
        middle = 0.5 * (max(begin, first) + min(end, last))
        if named and first < middle < last:
            axes.annotate(
                f"{number}", (middle, 1.0), (0, 3), xycoords=("data", "axes fraction"), textcoords="offset points",
                ha="center", fontsize=8.5, color=INK,
            )  # fmt: skip
