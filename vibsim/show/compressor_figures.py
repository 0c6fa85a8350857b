"""A compressor map with its speed lines, efficiency islands, surge line, and where the engine runs on it."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from vibsim.engine.charging.compressor import map_line
from vibsim.engine.charging.compressor_map import Compressor
from vibsim.show.style import FAINT, INK, LONGEST_TITLE, colour, cut, line, new_figure, plain, save

RPM = math.pi / 30.0
LINES, SHARES = 41, 81
LONGEST_LABEL = 40
LEVELS = np.array([0.5, 0.55, 0.6, 0.65, 0.68, 0.7, 0.72, 0.74, 0.76, 0.78, 0.8, 0.82, 0.84])
NOTE = (
    "Islands: isentropic efficiency, %. Ends of the lines: thousand rpm. "
    "Flow and speed corrected to {:.5g} K and {:.4g} kPa."
)
RING = " Ring: first point."

Point = tuple[str, np.ndarray, np.ndarray]


def draw_compressor_map(
    compressor: Compressor, points: list[Point], title: str, path: Path, top_speed: float | None = None
) -> Path:
    """Write the map as PNG with operating points: each a name, corrected mass flows (n) kg/s and pressure ratios (n),
    the first of them marked by a ring.

    Speed lines go up to `top_speed` (rad/s corrected), or to the map's own top line.
    """
    figure = new_figure(9.0, 6.6, cut(f"Compressor map · {title}", LONGEST_TITLE))
    axes = figure.add_axes((0.075, 0.13, 0.9, 0.77))
    plain(axes, "", "corrected mass flow, kg/s", "total pressure ratio")
    draw_map(axes, compressor, points, top_speed)
    figure.legend(*axes.get_legend_handles_labels(), loc="lower center", ncol=4, fontsize=9, frameon=False)
    note = NOTE.format(compressor.reference_temperature, 1e-3 * compressor.reference_pressure)
    figure.text(0.075, 0.915, note + (RING if points else ""), fontsize=8, color=INK)
    return save(figure, path)


def draw_map(axes: Axes, compressor: Compressor, points: list[Point], top_speed: float | None = None) -> None:
    """Draw the map and operating points (as for `draw_compressor_map`) on axes, its lines labelled for a legend."""
    top = top_speed or compressor.reference_speed
    low = compressor.lines[0] * compressor.reference_speed
    sheet = np.array([_along(compressor, speed) for speed in np.linspace(low, top, LINES)])
    _draw_islands(axes, sheet)
    _draw_speed_lines(axes, compressor, low, top)
    axes.plot(sheet[:, 0, 0], sheet[:, 0, 1], color=colour(1), lw=2.2, label="surge line")
    axes.plot(sheet[:, -1, 0], sheet[:, -1, 1], color=FAINT, lw=1.0, ls="--", label="choke line")
    for number, (name, flow, ratio) in enumerate(points):
        shade = colour((0, 2, 3, 6)[number % 4])
        axes.plot(flow, ratio, color=shade, lw=2.0, ls=line(number), marker="o", ms=4, label=cut(name, LONGEST_LABEL))
        axes.plot(flow[:1], ratio[:1], "o", ms=9, mfc="none", mec=shade, mew=1.6)
    ratios = [*(ratio for _, _, ratio in points), sheet[:, 0, 1]]
    flows = [*(flow for _, flow, _ in points), sheet[:, -1, 0]]
    axes.set_xlim(0.0, 1.06 * max(values.max() for values in flows))
    least, most = min(1.0, *(values.min() for values in ratios)), max(values.max() for values in ratios)
    axes.set_ylim(least - 0.02 * (most - least), most + 0.06 * (most - least))


def _along(compressor: Compressor, speed: float) -> np.ndarray:
    """Corrected flow, ratio and efficiency (SHARES, 3) along the line of a corrected speed (rad/s)."""
    out = np.empty((SHARES, 3))
    map_line(speed, np.linspace(0.0, 1.0, SHARES), compressor, out)
    return out


def _draw_islands(axes: Axes, sheet: np.ndarray) -> None:
    flow, ratio, efficiency = (sheet[:, :, column] for column in range(3))
    levels = LEVELS[(efficiency.min() < LEVELS) & (efficiency.max() > LEVELS)]
    if levels.size == 0:
        return
    axes.contourf(flow, ratio, efficiency, [*levels, 1.0], cmap="YlGn", alpha=0.45, zorder=0.5)
    curves = axes.contour(flow, ratio, efficiency, levels, colors="#66885f", linewidths=0.8, zorder=0.6)
    axes.clabel(curves, fmt=lambda value: f"{100.0 * value:.0f}", fontsize=8)


def _draw_speed_lines(axes: Axes, compressor: Compressor, low: float, top: float) -> None:
    """Round speeds, named at the choke end in thousands of rpm."""
    ticks = MaxNLocator(8, steps=[1, 2, 5, 10]).tick_values(low / RPM, top / RPM)
    speeds = [value for value in ticks if low / RPM < value < 0.97 * top / RPM]
    for rpm in [*speeds, top / RPM]:
        points = _along(compressor, rpm * RPM)
        axes.plot(points[:, 0], points[:, 1], color="#777777", lw=1.0, zorder=1.0)
        axes.annotate(
            f"{1e-3 * rpm:.0f}",
            (points[-1, 0], points[-1, 1]),
            (4, -4),
            textcoords="offset points",
            fontsize=8,
            color=INK,
        )
