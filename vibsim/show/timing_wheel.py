"""Firing events on a wheel of the working cycle: timing.png."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Wedge

from vibsim.engine.layout import Layout
from vibsim.show.style import FAINT, INK, colour, cut, into_folder, new_figure

SIZE = 6.4  # inches
LONGEST = 58  # characters the title holds
TOGETHER = math.radians(0.05)  # of crank angle: firings closer than this are one event
RING = (0.80, 0.92)  # inner and outer radius of the arcs
DISC, CLEAR = 1.07, 0.27  # radius of the first row of discs, and from the middle of one to that of the next
INTERVAL = 0.67  # radius of the intervals' numbers
NAME, AT_ONCE = 5, 30  # characters
GAP = 0.6  # degrees of the wheel left white before and after an event
CROWDED = 8  # events: with more, letters are smaller


@dataclass(frozen=True)
class Event:
    """Cylinders that fire together at a crank angle (rad) and the interval (rad) to the next event."""

    angle: float
    names: tuple[str, ...]
    interval: float


def events_of(layout: Layout) -> list[Event]:
    """Firing events in order; those within a twentieth of a degree are taken as one."""
    groups: list[tuple[float, list[str]]] = []
    for name, angle in layout.firing_sequence():
        if groups and angle - groups[-1][0] < TOGETHER:
            groups[-1][1].append(name)
        else:
            groups.append((angle, [name]))
    if len(groups) > 1 and groups[0][0] + layout.cycle - groups[-1][0] < TOGETHER:  # across the end of the cycle
        groups[0][1].extend(groups.pop()[1])
    angles = [angle for angle, _ in groups]
    following = [*angles[1:], angles[0] + layout.cycle]
    return [Event(angle, tuple(names), after - angle) for (angle, names), after in zip(groups, following, strict=True)]


def draw_timing(layout: Layout, title: str, folder: Path) -> list[Path]:
    """Write timing.png into a folder, made if absent."""
    figure = new_figure(SIZE, SIZE + 0.3, cut(f"Firing · {title}", LONGEST))
    axes = figure.add_axes((0.02, 0.01, 0.96, 0.93))
    events = events_of(layout)
    rows = disc_rows(events, layout.cycle)
    outermost = max(row + len(event.names) - 1 for row, event in zip(rows, events, strict=True))
    reach = DISC + CLEAR * (outermost + 0.6)
    axes.set_xlim(-reach, reach)
    axes.set_ylim(-reach, reach)
    axes.set_aspect("equal")
    axes.set_axis_off()
    _ring(axes, events, layout.cycle)
    _quarters(axes, events, layout.cycle)
    _discs(axes, events, rows, layout.cycle, 72.0 * SIZE * 0.93 * CLEAR / (2.0 * reach))
    lines = timing_words(events, layout)
    for n, line in enumerate(lines):
        weight = "bold" if n == 0 else "normal"
        y = 0.05 * (len(lines) - 1 - 2 * n)
        axes.text(0.0, y, line, ha="center", va="center", fontsize=9.5, fontweight=weight, color=INK)
    return into_folder({"timing.png": figure}, folder)


def place(angle: float, radius: float, cycle: float) -> tuple[float, float]:
    """Where a crank angle stands on the wheel: clockwise from the top, one cycle a turn."""
    turned = 2.0 * math.pi * angle / cycle
    return radius * math.sin(turned), radius * math.cos(turned)


def disc_rows(events: list[Event], cycle: float) -> list[int]:
    """The row, counted outwards, of each event's first disc: further out where it would hide a neighbour's."""
    rows: list[int] = []
    taken: list[tuple[float, float]] = []
    for event in events:
        row = 0
        while True:
            stack = [place(event.angle, DISC + CLEAR * (row + n), cycle) for n in range(len(event.names))]
            if all(math.dist(spot, other) > 0.9 * CLEAR for spot in stack for other in taken):
                break
            row += 1
        rows.append(row)
        taken += stack
    return rows


def _ring(axes: Axes, events: list[Event], cycle: float) -> None:
    """An arc from each event to the next with the interval; the longest and shortest stand out if they differ."""
    intervals = [event.interval for event in events]
    longest, shortest = max(intervals), min(intervals)
    for event in events:
        shade, hatch = FAINT, ""
        if longest - shortest > TOGETHER and longest - event.interval < TOGETHER:
            shade, hatch = colour(1), "//"
        elif longest - shortest > TOGETHER and event.interval - shortest < TOGETHER:
            shade = colour(5)
        start, end = (90.0 - 360.0 * angle / cycle for angle in (event.angle + event.interval, event.angle))
        gap = GAP if end - start > 4.0 * GAP else 0.0
        arc = Wedge((0.0, 0.0), RING[1], start + gap, end - gap, width=RING[1] - RING[0], facecolor=shade, hatch=hatch)
        arc.set(edgecolor="white", linewidth=0.0)
        axes.add_patch(arc)
        x, y = place(event.angle + 0.5 * event.interval, INTERVAL, cycle)
        size = 10 if len(events) <= CROWDED else 8
        axes.text(x, y, _degrees(event.interval), ha="center", va="center", fontsize=size, fontweight="bold", color=INK)


def _quarters(axes: Axes, events: list[Event], cycle: float) -> None:
    """Crank angles to read the wheel by, where no event stands."""
    for n in range(4):
        angle = 0.25 * n * cycle
        if all(abs(math.remainder(event.angle - angle, cycle)) > 0.05 * cycle for event in events):
            x, y = place(angle, DISC - 0.06, cycle)
            axes.text(x, y, _degrees(angle), ha="center", va="center", fontsize=8, color="#777777")


def _discs(axes: Axes, events: list[Event], rows: list[int], cycle: float, points: float) -> None:
    """A spoke for each event with its crank angle, and a disc for each cylinder; `points` from disc to disc."""
    for event, row in zip(events, rows, strict=True):
        outer = DISC + CLEAR * (row + len(event.names) - 1)
        spoke = [place(event.angle, radius, cycle) for radius in (RING[0] - 0.02, outer)]
        axes.plot(*np.transpose(spoke), color=INK, lw=1.4, zorder=2)
        for n, name in enumerate(event.names):
            x, y = place(event.angle, DISC + CLEAR * (row + n), cycle)
            axes.plot(x, y, "o", ms=0.85 * points, color=colour(0), mec="white", zorder=3)
            size = (0.38 if len(name) < 3 else 0.22) * points
            words = cut(name, NAME)
            axes.text(x, y, words, ha="center", va="center", fontsize=size, color="white", fontweight="bold", zorder=4)
        x, y = place(event.angle, 0.5 * (RING[0] + RING[1]), cycle)
        label = axes.text(x, y, _degrees(event.angle), ha="center", va="center", fontsize=8, color=INK, zorder=4)
        label.set_bbox({"facecolor": "white", "edgecolor": "none", "pad": 1.0, "alpha": 0.9})


def timing_words(events: list[Event], layout: Layout) -> list[str]:
    """What the wheel says: cycle, firings at once, longest and shortest interval against even ones."""
    intervals = [event.interval for event in events]
    cylinders, strokes = len(layout.cylinders), round(layout.cycle / math.pi)
    even = layout.cycle / cylinders
    longest, shortest = max(intervals), min(intervals)
    lines = [f"{strokes}-stroke, {_degrees(layout.cycle)} a cycle"]
    at_once = [" + ".join(event.names) for event in events if len(event.names) > 1]
    if at_once:
        lines.append(cut(f"at once: {', '.join(at_once)}", AT_ONCE))
    if longest - shortest < TOGETHER:
        words = "one firing a cycle" if len(events) == 1 else f"even: {_degrees(longest)} throughout"
        return [*lines, words] if not at_once else [*lines, words, f"singly it would be {_degrees(even)}"]
    return [
        *lines,
        f"longest {_degrees(longest)} (hatched),",
        f"{longest / even:.2f} × the even {_degrees(even)}",
        f"shortest {_degrees(shortest)} (plain), {shortest / even:.2f}",
        f"shortest / longest {shortest / longest:.2f}",
    ]


def _degrees(angle: float) -> str:
    return f"{round(math.degrees(angle), 1) + 0.0:g}°"
