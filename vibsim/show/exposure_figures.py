"""Exposure in pictures: the day against action and limit values, by operating point, and where in frequency it lies."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import NullLocator

from vibsim.post.exposure import Felt
from vibsim.post.third_octave import nominal_frequency
from vibsim.show.style import INK, LONGEST_TITLE, colour, cut, into_folder, new_figure, plain, short
from vibsim.studies.exposure import RPM, Day, Exposure

GROUPS = (("Hand and arm: grips", True), ("Whole body: seats, standing feet", False))
LEAST_SHARE = 4.0  # per cent: narrower parts go without their number
LIMIT, ACTION, RAW = "#B00020", "#8A5A00", "#C8C8C8"
FAINTEST = 1e-4  # of the strongest band: what is not drawn
HATCHES = ("", "//", "..", "xx", "\\\\", "++", "oo")


def draw_exposure(exposure: Exposure, folder: Path) -> list[Path]:
    """Write exposure.png and exposure-bands.png into a folder, made if absent. Raises VibsimError when it cannot."""
    figures = {"exposure-bands.png": bands_figure(exposure)}
    if exposure.days:
        figures = {"exposure.png": day_figure(exposure)} | figures
    return into_folder(figures, folder)


def day_figure(exposure: Exposure) -> Figure:
    """A(8) of every contact against action and limit value, and what share of it every operating point has."""
    rows = len(exposure.days) if len(exposure.points) > 1 else 0  # one point has it all
    figure = new_figure(11.0, 5.4 + 0.42 * rows, cut(_heading(exposure), LONGEST_TITLE))
    height = figure.get_figheight()
    shown = [(words, [day for day in exposure.days if (day.contact == "grip") == grip]) for words, grip in GROUPS]
    shown = [(words, days) for words, days in shown if days]
    grid = figure.add_gridspec(
        2 if rows else 1,
        len(shown),
        height_ratios=(3.4, 0.42 * rows + 0.3) if rows else None,
        width_ratios=[len(days) + 1 for _, days in shown],
        left=0.13,
        right=0.985,
        top=1.0 - 0.7 / height,
        bottom=0.5 / height,
        hspace=0.45,
        wspace=0.22,
    )
    for column, (words, days) in enumerate(shown):
        _levels(plain(figure.add_subplot(grid[0, column]), words, "", "A(8), m/s²"), days)
    if not rows:
        return figure
    shares = plain(figure.add_subplot(grid[1, :]), "", "share of the day's exposure, A(8)², %", "")
    _shares(shares, exposure)
    return figure


def _heading(exposure: Exposure) -> str:
    worst = exposure.days[0]
    words = f"{worst.name} at {100.0 * worst.level / worst.values.action:.0f} % of the action value"
    return f"Daily exposure, {exposure.hours:g} h: {words} · {exposure.title}"


def _levels(axes: Axes, days: list[Day]) -> None:
    values = days[0].values
    top = max(1.15 * values.limit, 1.12 * max(day.level for day in days))
    tints = {"below": colour(2), "above the action": "#DDB04E", "above the limit": "#D9727B"}
    for at, day in enumerate(days):
        tint = next(tint for words, tint in tints.items() if day.verdict.startswith(words))
        axes.bar(at, day.level, 0.55, color=tint)
        axes.text(at, day.level + 0.012 * top, f"{day.level:.3g}", ha="center", va="bottom", fontsize=9, color=INK)
    for value, tint, style, words in (
        (values.action, ACTION, "--", "action value"),
        (values.limit, LIMIT, "-", "limit value"),
    ):
        axes.axhline(value, color=tint, ls=style, lw=1.6)
        text = f"{words} {value:g} "
        across = axes.get_yaxis_transform()
        axes.text(1.0, value, text, color=tint, fontsize=8.5, ha="right", va="bottom", transform=across)
    axes.set_xticks(range(len(days)), _labels(days, "\n"))
    axes.set_xlim(-0.6, len(days) + 0.45)
    axes.set_ylim(0.0, top)
    axes.grid(False, axis="x")


def _labels(days: Sequence[Day], apart: str) -> list[str]:
    return [f"{short([day.name])[0]}{apart}({day.contact})" for day in days]


def _shares(axes: Axes, exposure: Exposure) -> None:
    foot = np.zeros(len(exposure.days))
    for number, point in enumerate(exposure.points):
        part = 100.0 * np.array([day.shares[number] for day in exposure.days])
        label = f"{cut(point.name, 30)}, {point.hours:g} h"
        look: dict[str, Any] = {
            "color": colour(number),
            "hatch": HATCHES[number % len(HATCHES)],
            "edgecolor": "white",
            "lw": 0.6,
        }
        axes.barh(np.arange(len(part)), part, 0.6, foot, label=label, **look)
        for at, value in enumerate(part):
            if value > LEAST_SHARE:
                box = {"boxstyle": "round,pad=0.15", "fc": "white", "ec": "none"}
                middle = float(foot[at] + 0.5 * value)
                axes.text(middle, at, f"{value:.0f}", ha="center", va="center", fontsize=8.5, color=INK, bbox=box)
        foot += part
    axes.set_yticks(range(len(exposure.days)), _labels(exposure.days, " "))
    axes.set_ylim(len(exposure.days) - 0.5, -0.5)
    axes.set_xlim(0.0, 100.0)
    axes.grid(False)
    axes.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=6, fontsize=9, frameon=False, borderaxespad=0.1)


def bands_figure(exposure: Exposure) -> Figure:
    """Third-octave bands of every contact, raw and weighted, at the operating point that counts most for it."""
    rows = [_loudest(exposure, number) for number in range(len(exposure.points[0].felt))]
    heading = f"Third-octave bands, X, Y, Z together · {exposure.title}"
    figure = new_figure(11.0, 2.3 * len(rows) + 1.2, cut(heading, LONGEST_TITLE))
    height = figure.get_figheight()
    room = {"left": 0.075, "right": 0.985, "top": 1.0 - 0.85 / height, "bottom": 0.6 / height, "hspace": 0.32}
    panels = figure.subplots(len(rows), 1, sharex=True, squeeze=False, gridspec_kw=room)[:, 0]
    numbers = rows[0][1].bands.number
    drawn = np.zeros(len(numbers), dtype=bool)
    for axes, (words, felt) in zip(panels, rows, strict=True):
        drawn |= _bars(axes, words, felt)
    first, last = np.flatnonzero(drawn)[[0, -1]] if drawn.any() else (0, len(numbers) - 1)
    panels[0].set_xlim(numbers[first] - 0.7, numbers[last] + 0.7)
    panels[-1].set_xticks(
        numbers[first : last + 1], [f"{nominal_frequency(int(n)):g}" for n in numbers[first : last + 1]]
    )
    panels[-1].set_xlabel("third-octave band, Hz", fontsize=9)
    handles, labels = panels[0].get_legend_handles_labels()
    top = 1.0 - 0.32 / height
    figure.legend(handles, labels, loc="upper left", bbox_to_anchor=(0.06, top), ncols=2, fontsize=9, frameon=False)
    return figure


def _loudest(exposure: Exposure, number: int) -> tuple[str, Felt]:
    """A contact at the point with the greatest weighted rms times root of hours."""
    point = max(exposure.points, key=lambda one: float(np.linalg.norm(one.felt[number].rms)) * one.hours**0.5)
    felt = point.felt[number]
    raw, weighted = (float(np.linalg.norm(values)) for values in (felt.raw, felt.rms))
    names = felt.rule.weightings
    used = (
        names[0]
        if len(set(names)) == 1
        else " ".join(f"{axis} {name}" for axis, name in zip("XYZ", names, strict=True))
    )
    name = short([felt.name])[0]
    where = f"{cut(point.name, 30)}, {point.speed * RPM:.0f} rpm"
    return f"{name} ({felt.contact}, {used}), {where}: {raw:.3g} m/s² raw, {weighted:.3g} m/s² weighted", felt


def _bars(axes: Axes, words: str, felt: Felt) -> np.ndarray:
    plain(axes, words, "", "m/s² rms")
    raw, weighted = (np.sqrt(bands.power.sum(axis=1)) for bands in (felt.bands, felt.weighted_bands))
    at = felt.bands.number
    top = float(raw.max()) if len(raw) else 0.0
    strong = raw > FAINTEST * top
    axes.bar(at, raw, 0.86, color=RAW, label="unweighted")
    axes.bar(at, weighted, 0.5, color=colour(0), label="weighted, as people feel it")
    if top > 0.0:
        axes.set_yscale("log")
        axes.set_ylim(3e-4 * top, 2.0 * top)
        axes.yaxis.set_minor_locator(NullLocator())
    axes.grid(False, axis="x")
    return strong & (raw > 3e-4 * top)
