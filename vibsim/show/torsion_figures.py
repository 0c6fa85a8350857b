"""Torsion in pictures: shapes of modes, orders against modes, twist and shaft torque over speed, dampers."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from vibsim.show.damper_tables import damper_words
from vibsim.show.style import FAINT, INK, LONGEST_TITLE, colour, cut, into_folder, line, new_figure, plain, short
from vibsim.studies.damper_runs import DamperRuns
from vibsim.studies.torsion import RPM, Answer, Torsion
from vibsim.studies.torsion_damper import DamperSizing

MOST_MODES, MOST_ORDERS, MOST_SHAFTS = 6, 6, 7
MARKED = 12  # crossings that get a circle


def draw_torsion(
    result: Torsion, sizing: DamperSizing | None, runs: DamperRuns | None, title: str, folder: Path
) -> list[Path]:
    """Write the figures into a folder, made if absent. Raises VibsimError when that cannot be done."""
    figures = {"torsion-modes.png": modes_figure(result, title)}
    if result.answer is not None:
        figures["torsion-speeds.png"] = speeds_figure(result, title)
        figures["torsion-over-speed.png"] = answer_figure(result, result.answer, title)
    if sizing is not None:
        figures["torsion-damper.png"] = damper_figure(result, sizing, runs, title)
    return into_folder(figures, folder)


def modes_figure(result: Torsion, title: str) -> Figure:
    """Angle of every rotor in the elastic modes, times its gearing, so that a line without a kink is no twist."""
    elastic = [n for n, value in enumerate(result.modes.frequency) if value > 0.0][:MOST_MODES]
    rows = max((len(elastic) + 1) // 2, 1)
    figure = new_figure(12.5, 1.2 + 2.6 * rows, cut(f"Torsional modes · {title}", LONGEST_TITLE))
    grid = figure.add_gridspec(
        rows, 2, left=0.05, right=0.985, top=1.0 - 0.75 / (1.2 + 2.6 * rows), bottom=0.8 / (1.2 + 2.6 * rows),
        hspace=0.75, wspace=0.12,
    )  # fmt: skip
    order = result.found.chain
    names = short([result.found.parts[n].name for n in order])
    for place, n in enumerate(elastic):
        axes = figure.add_subplot(grid[place // 2, place % 2])
        link = result.found.links[int(result.modes.strain[n].argmax())].name
        plain(axes, f"mode {n + 1}: {result.modes.frequency[n]:.1f} Hz, most twist in {link}", "", "angle at the crank")
        felt = result.modes.shape[n][order] / result.found.ratios[order]
        felt = felt / np.abs(felt).max()
        axes.axhline(0.0, color=INK, lw=0.7)
        axes.plot(range(len(order)), felt, "-o", color=colour(0), lw=1.8, ms=5)
        axes.set_xticks(range(len(order)), names, rotation=35, ha="right", fontsize=8)
        axes.set_ylim(-1.15, 1.15)
    return figure


def speeds_figure(result: Torsion, title: str) -> Figure:
    """Orders as rays, modes as level lines, circles where the strongest meet."""
    assert result.answer is not None
    figure = new_figure(12.5, 6.8, cut(f"Orders against torsional modes · {title}", LONGEST_TITLE))
    figure.text(
        0.01, 1.0 - 0.42 / 6.8, "Circles: torque by that order in the shaft the mode twists most, area in proportion · "
        "frequency scale logarithmic", fontsize=8.5, color=INK, va="top",
    )  # fmt: skip
    axes = plain(figure.add_axes((0.06, 0.09, 0.68, 0.79)), "", "crank speed, rpm", "frequency, Hz")
    speeds, frequencies = result.answer.speeds * RPM, result.modes.frequency
    shown = [n for n, value in enumerate(frequencies) if value > 0.0]
    top = 1.3 * 12.0 * speeds[-1] / 60.0
    axes.set_yscale("log")
    bottom = max(min([*(0.7 * frequencies[shown]), 0.5 * speeds[0] / 60.0]), 1.0)
    axes.set_ylim(bottom, top)
    axes.set_xlim(speeds[0], speeds[-1])
    for order in (0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0, 10.0, 12.0):
        axes.plot(
            speeds, order * speeds / 60.0, color=colour(0), lw=1.3 if order in (2.0, 4.0, 6.0, 8.0) else 0.7, zorder=2
        )
        axes.annotate(f"{order:g}×", (speeds[0], order * speeds[0] / 60.0), (5, 4), textcoords="offset points",
            fontsize=8, color=colour(0), va="bottom", bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.5},
        )  # fmt: skip
    last = 0.0
    for n in shown:
        if not bottom <= frequencies[n] <= top:
            continue
        axes.axhline(frequencies[n], color=FAINT, lw=1.4, zorder=1)
        link = result.found.links[int(result.modes.strain[n].argmax())].name
        last = max(float(frequencies[n]), last * 1.09)
        axes.annotate(
            f"{n + 1}  {frequencies[n]:.1f} Hz  {cut(link, 26)}", (1.0, frequencies[n]), (1.02, last),
            xycoords=("axes fraction", "data"), textcoords=("axes fraction", "data"), fontsize=8.5, va="center",
            annotation_clip=False, color=INK,
        )  # fmt: skip
    _circles(axes, result)
    return figure


def _circles(axes: Axes, result: Torsion) -> None:
    strongest = result.crossings[0].felt if result.crossings else 1.0
    for rank, row in enumerate(result.crossings[:MARKED]):
        speed, frequency = row.speed * RPM, float(result.modes.frequency[row.mode - 1])
        axes.scatter(speed, frequency, s=500.0 * row.felt / strongest, color=colour(1), alpha=0.65, zorder=3)
        if rank < 4:
            axes.annotate(
                f"{row.order:g}× {speed:.0f} rpm\n±{row.torque:.0f} N m",
                (speed, frequency), (0, -14 if rank % 2 else 14),
                textcoords="offset points", fontsize=8, color=INK, ha="center", zorder=4,
                va="top" if rank % 2 else "bottom",
                bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 1.0},
            )  # fmt: skip


def answer_figure(result: Torsion, answer: Answer, title: str) -> Figure:
    """Nose against flywheel by order, and the greatest torque in the shafts, over speed."""
    figure = new_figure(12.5, 7.6, cut(f"Torsion over speed · {title}", LONGEST_TITLE))
    grid = figure.add_gridspec(2, 1, left=0.065, right=0.8, top=0.89, bottom=0.075, hspace=0.3)
    speeds = answer.speeds * RPM
    if result.found.throws:
        twist = np.degrees(answer.twist(result.found.nose, 0))
        upper = plain(figure.add_subplot(grid[0]), "Amplitude of nose against flywheel by order", "rpm", "amplitude, °")
    else:
        twist, names = np.degrees(np.abs(answer.angle[:, :, 0])), "Amplitude of the crank by order"
        upper = plain(figure.add_subplot(grid[0]), names, "rpm", "amplitude, °")
    for rank, k in enumerate(np.argsort(-twist.max(axis=0))[:MOST_ORDERS]):
        upper.plot(speeds, twist[:, k], line(rank), color=colour(rank), lw=1.8, label=f"order {answer.orders[k]:g}")
    lower = plain(figure.add_subplot(grid[1]), "Greatest torque in a shaft over a cycle, mean included", "rpm", "N m")
    extreme = np.maximum(np.abs(answer.greatest), np.abs(answer.least))
    for rank, n in enumerate(np.argsort(-extreme.max(axis=0))[:MOST_SHAFTS]):
        lower.plot(
            speeds, extreme[:, n], line(rank), color=colour(rank), lw=1.6, label=cut(result.found.links[n].name, 24)
        )
    for axes in (upper, lower):
        axes.set_xlim(speeds[0], speeds[-1])
        axes.set_ylim(bottom=0.0)
        axes.legend(fontsize=8, frameon=False, loc="upper left", bbox_to_anchor=(1.005, 1.0))
    return figure


def damper_figure(result: Torsion, sizing: DamperSizing, runs: DamperRuns | None, title: str) -> Figure:
    """The worst order's amplitude over speed without a damper, the formula's and those found; circles: runs."""
    figure = new_figure(12.5, 6.2, cut(f"Damper at the crank's nose · {title}", LONGEST_TITLE))
    axes = figure.add_axes((0.07, 0.1, 0.9, 0.74))
    words = f"Nose against flywheel, worst order from {sizing.least_order:g} up; mode at {sizing.frequency:.0f} Hz"
    plain(axes, words, "rpm", "amplitude, °")
    assert sizing.bare.answer is not None
    speeds = sizing.bare.answer.speeds * RPM
    best = sizing.sized[0]
    axes.plot(speeds, np.degrees(best.curve[0]), color=INK, lw=1.6, label="no damper")
    if sizing.replaced is not None and result.answer is not None:
        counts = result.answer.orders >= sizing.least_order - 1e-9
        present = np.degrees(result.answer.twist(result.found.nose, 0)[:, counts].max(axis=1))
        axes.plot(result.answer.speeds * RPM, present, "--", color=FAINT, lw=2.2, label=f"'{sizing.replaced}' as it is")
    label = f"{best.start.form} by formula: {damper_words(best.start)}"
    axes.plot(speeds, np.degrees(best.curve[1]), ":", color=colour(0), lw=1.8, label=label)
    for rank, sized in enumerate(sizing.sized[:4]):
        label = f"{sized.found.form}, {sized.found.inertia:.3g} kg m²: {damper_words(sized.found)}"
        axes.plot(speeds, np.degrees(sized.curve[2]), line(rank), color=colour(rank), lw=2.2 - 0.3 * rank, label=label)
    if runs is not None:
        _mark_runs(axes, sizing, runs)
    axes.set_xlim(speeds[0], speeds[-1])
    axes.set_ylim(0.0, 1.25 * math.degrees(best.worst[0]))
    axes.legend(fontsize=8.5, frameon=False, loc="best")
    return figure


def _mark_runs(axes: Axes, sizing: DamperSizing, runs: DamperRuns) -> None:
    """The same worst order as runs have it, without a damper, as it is and as found."""
    counts = runs.orders >= sizing.least_order - 1e-9
    colours = [INK, *([FAINT] if len(runs.ran) > 2 else []), colour(0)]
    for n, (ran, ink) in enumerate(zip(runs.ran, colours, strict=True)):
        label = f"by run at {runs.speed * RPM:.0f} rpm" if n == 0 else None
        value = math.degrees(float(np.abs(ran.twist[1][counts]).max()))
        axes.plot(runs.speed * RPM, value, "o", mfc="white", mec=ink, mew=2.0, ms=9, zorder=5, label=label)
