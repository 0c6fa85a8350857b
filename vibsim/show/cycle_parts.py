"""What the pictures of the working cycle share: their points, headings, legends and bands of open valves."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, LogLocator, MultipleLocator, NullLocator

from vibsim.engine.course import Valve
from vibsim.show.style import INK, LONGEST_TITLE, colour, cut, new_figure
from vibsim.studies.cycle_view import RPM, CycleView, Point

MOST_POINTS = 6
ANGLE = "crank angle from firing top dead centre, °"
BANDS = (("intake", 5), ("exhaust", 4))  # name, colour
LABELS = (
    (0.98, 0.98),
    (0.91, 0.98),
)  # heights of their labels in a four-stroke and a two-stroke, where one is in the other


@dataclass(frozen=True)
class Shown:
    """The points that the pictures show, in colours 0, 1, ... and the name of the case."""

    view: CycleView
    points: tuple[Point, ...]
    title: str

    @property
    def alone(self) -> bool:
        return len(self.points) == 1

    def label(self, point: Point) -> str:
        return cut(self.view.label(point), 44)

    def figure(self, what: str, height: float = 6.6) -> Figure:
        """An empty figure under what it shows, the operating points, the case and its cylinders."""
        speeds = sorted({round(point.speed * RPM) for point in self.points})
        loads = sorted({point.load for point in self.points})
        place = f"{_span([f'{speed}' for speed in speeds])} rpm, load {_span([f'{load:g}' for load in loads])}"
        figure = new_figure(11.0, height, cut(f"{what} · {place} · {self.title}", LONGEST_TITLE))
        words = "" if self.view.which(self.points[0]) else _cylinders(self.points[0].gas.cylinders)
        if len(self.points) < len(self.view.points):
            words += f"{' · ' if words else ''}the first {len(self.points)} of {len(self.view.points)} operating points"
        figure.text(0.01, 1.0 - 0.36 / height, cut(words, LONGEST_TITLE), fontsize=9, color=INK, va="top")
        return figure


def _span(values: list[str]) -> str:
    if len(values) < 3:
        return " and ".join(values)
    return f"{values[0]} to {values[-1]}"


def _cylinders(names: tuple[str, ...]) -> str:
    return f"cylinder {names[0]}" if len(names) == 1 else f"each of cylinders {', '.join(names)}"


def minus(text: str) -> str:
    return text.replace("-", "−")


def legend(axes: Axes, **where: Any) -> None:
    handles, labels = axes.get_legend_handles_labels()
    if handles:
        axes.legend(handles, labels, fontsize=8, frameon=True, framealpha=0.85, edgecolor="none", **where)


def whole_cycle(axes: Axes, shown: Shown) -> None:
    """The angles of one cycle."""
    half = math.degrees(0.5 * shown.view.cycle)
    axes.set_xlim(-half, half)
    axes.xaxis.set_major_locator(MultipleLocator(90.0 if half > 200.0 else 45.0))


def valve_bands(axes: Axes, shown: Shown, named: bool = True) -> None:
    """Where intake and exhaust are open."""
    heights = LABELS[shown.view.cycle < 3.0 * math.pi]
    for (name, number), valve, height in zip(BANDS, shown.view.valves, heights, strict=True):
        parts = open_parts(valve, shown.view.cycle)
        for low, high in parts:
            axes.axvspan(low, high, color=colour(number), alpha=0.14, lw=0.0, zorder=0.4)
        if named:
            low, high = max(parts, key=lambda part: part[1] - part[0])
            _name_band(axes, shown, (low, high), valve, f"{name} open", height)


def _name_band(axes: Axes, shown: Shown, band: tuple[float, float], valve: Valve, words: str, height: float) -> None:
    """Name of a valve with the angles at which it opens and closes, counted as on the axis where its band is widest."""
    turn, opens = math.degrees(shown.view.cycle), _from_top(valve.opens, shown.view.cycle)
    opens -= turn if opens > band[1] else 0.0
    closes = opens + math.degrees(valve.closes - valve.opens) % turn
    text = minus(f"{words}\n{opens:.0f}° to {closes:.0f}°")
    where: dict[str, Any] = {"transform": axes.get_xaxis_transform(), "ha": "center", "va": "top"}
    axes.text(0.5 * (band[0] + band[1]), height, text, fontsize=8, color=INK, **where)


def _from_top(angle: float, cycle: float) -> float:
    """Degrees, from half a cycle before firing top dead centre on."""
    return math.degrees((angle + 0.5 * cycle) % cycle - 0.5 * cycle)


def open_parts(valve: Valve, cycle: float) -> list[tuple[float, float]]:
    """Where a valve is open, degrees, from half a cycle before firing top dead centre to half a cycle after."""
    half = math.degrees(0.5 * cycle)
    low = _from_top(valve.opens, cycle)
    high = low + math.degrees((valve.closes - valve.opens) % cycle)
    return [(low, min(high, half))] + ([(-half, high - 2.0 * half)] if high > half else [])


def plain_logarithms(axes: Axes) -> None:
    """Both axes with plain numbers; the shorter one, of volume, with more of them."""
    for axis, subs in ((axes.xaxis, (1.0, 1.5, 2.0, 3.0, 5.0, 7.0)), (axes.yaxis, (1.0, 2.0, 5.0))):
        axis.set_major_locator(LogLocator(subs=subs))
        axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
        axis.set_minor_locator(NullLocator())


def degrees(angle: np.ndarray) -> np.ndarray:
    return np.asarray(np.degrees(angle))
