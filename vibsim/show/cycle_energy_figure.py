"""Picture of where the energy of the fuel goes: one bar for each operating point."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from vibsim.engine.cycle_energy import Energy
from vibsim.show.cycle_parts import Shown, minus
from vibsim.show.style import INK, plain
from vibsim.studies.cycle_view import Point

PARTS = (  # words, attribute, colour, letters on it
    ("net work", "work", "#0072B2", "white"),
    ("delivering the charge", "scavenging", "#56B4E9", INK),
    ("heat to the cylinder's walls", "walls", "#D55E00", "white"),
    ("exhaust: lost in its port", "port", "#CC79A7", INK),
    ("exhaust: past the port", "exhaust", "#E69F00", INK),
    ("not burned", "unburned", "#555555", "white"),
)
NARROWEST = 4.5  # % that holds a label
LEAST = 0.05  # % that is drawn
THIN, BELOW = 0.16, 0.4  # height of the bar of work, and how far it lies below


def energy_figure(shown: Shown) -> Figure:
    """Stacked bars in % of the fuel's energy, with the work that gas exchange takes beneath."""
    points = [point for point in shown.points if point.cycle.fuel_heat > 0.0]
    height = 2.35 + 1.05 * len(points)
    figure = shown.figure("Energy per cycle", height)
    axes = figure.add_axes((0.14, 1.05 / height, 0.845, (height - 1.85) / height))
    plain(axes, "", "% of the fuel's lower heating value", "")
    used = set()
    for row, point in enumerate(points):
        used |= _bar(axes, -float(row), point.energy)
        _gas_exchange(axes, -float(row) - BELOW, point.energy)
    axes.set_yticks([-float(row) for row in range(len(points))], [_words(shown, point) for point in points], fontsize=9)
    axes.set_ylim(-len(points) + 0.38, 0.36)
    axes.grid(False, axis="y")
    axes.axvline(0.0, color=INK, lw=0.8)
    only = points[0].energy
    share = {key: f" {100.0 * getattr(only, key) / only.fuel:.1f} %" if shown.alone else "" for key in used}
    handles = [Patch(color=shade, label=minus(words + share[key])) for words, key, shade, _ in PARTS if key in used]
    handles.append(Patch(fill=False, hatch="////", ec="#0072B2", label="work of gas exchange"))
    figure.legend(handles=handles, loc="lower center", ncols=4, fontsize=8.5, frameon=False)
    return figure


def _words(shown: Shown, point: Point) -> str:
    parts = shown.view.label(point).split(", ", 2)
    return "\n".join([*parts, f"fuel {point.energy.fuel:.0f} J"])


def _bar(axes: Axes, level: float, energy: Energy) -> set[str]:
    """One bar: losses of work to the left of nothing, all else to the right; returns what is in it."""
    right, used = 0.0, set()
    for _, key, shade, letters in PARTS:
        value = getattr(energy, key)
        width = 100.0 * value / energy.fuel
        if abs(width) < LEAST:
            continue
        used.add(key)
        begin = right if width > 0.0 else 0.0
        axes.barh(level, width, 0.5, left=begin, color=shade, edgecolor="white", lw=0.8)
        right += max(width, 0.0)
        words = minus(f"{width:.1f} %\n{value:.0f} J")
        if abs(width) >= NARROWEST:
            axes.text(begin + 0.5 * width, level, words, ha="center", va="center", fontsize=8.5, color=letters)
        elif key == "unburned":
            axes.text(right + 0.5, level, words, va="center", fontsize=8.5, color=INK)
    return used


def _gas_exchange(axes: Axes, level: float, energy: Energy) -> None:
    """A thin bar under the work: that of compression and expansion, hatched what gas exchange takes or adds."""
    gross, net = (100.0 * value / energy.fuel for value in (energy.gross, energy.work))
    shade = "#0072B2"
    axes.barh(level, min(gross, net), THIN, color=shade, alpha=0.35, lw=0.0)
    axes.barh(level, abs(gross - net), THIN, left=min(gross, net), fill=False, hatch="////", ec=shade, lw=0.8)
    verb = "takes" if net < gross else "adds"
    words = f"compression and expansion {gross:.1f} %, gas exchange {verb} {abs(gross - net):.1f} %"
    axes.text(max(gross, net, 0.0) + 0.8, level, minus(words), va="center", fontsize=8.5, color=INK)
