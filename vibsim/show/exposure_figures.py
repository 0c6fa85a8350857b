"""Exposure in pictures: the day against action and limit values, by operating point, and where in frequency it lies."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import NullLocator

from vibsim.post.exposure import Felt
from vibsim.post.third_octave import nominal_frequency
from vibsim.show.style import INK, LONGEST_TITLE, colour, cut, into_folder, new_figure, plain, short
from vibsim.studies.exposure import RPM, Day, Exposure

GROUPS = (("hand and arm: grips", True), ("whole body: seats, standing feet", False))
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
    """A(8) of every contact as a bar, in shares of the operating points, against action and limit value."""
    figure = new_figure(11.0, 5.4, cut(f"Daily exposure, {exposure.hours:g} h · {exposure.title}", LONGEST_TITLE))
    shown = [(words, [day for day in exposure.days if (day.contact == "grip") == grip]) for words, grip in GROUPS]
    shown = [(words, days) for words, days in shown if days]
    room = {"left": 0.07, "right": 0.985, "top": 0.8, "bottom": 0.1, "wspace": 0.22}
    widths = [max(len(days), 2) for _, days in shown]
    panels = figure.subplots(1, len(shown), squeeze=False, gridspec_kw=room | {"width_ratios": widths})[0]
    for axes, (words, days) in zip(panels, shown, strict=True):
        _stack(plain(axes, words[0].upper() + words[1:], "", "A(8), m/s²"), days, exposure)
    handles, labels = panels[0].get_legend_handles_labels()
    figure.legend(handles, labels, loc="upper left", bbox_to_anchor=(0.06, 0.925), ncols=6, fontsize=9, frameon=False)
    return figure


def _stack(axes: Axes, days: list[Day], exposure: Exposure) -> None:
    place = np.arange(len(days))
    foot = np.zeros(len(days))
    for number, point in enumerate(exposure.points):
        part = np.array([day.level * day.shares[number] for day in days])
        label = f"{point.name}, {point.hours:g} h"
        hatch = HATCHES[number % len(HATCHES)]
        axes.bar(place, part, 0.55, foot, color=colour(number), hatch=hatch, edgecolor="white", lw=0.6, label=label)
        foot += part
    values = days[0].values
    for value, tint, style, words in (
        (values.action, ACTION, "--", "action value"),
        (values.limit, LIMIT, "-", "limit value"),
    ):
        axes.axhline(value, color=tint, ls=style, lw=1.6)
        axes.text(
            1.0, value, f"{words} {value:g} ", color=tint, fontsize=8.5, ha="right", va="bottom", transform=_right(axes)
        )
    top = max(1.15 * values.limit, 1.12 * float(foot.max()))
    for at, day in enumerate(days):
        axes.text(at, day.level + 0.012 * top, f"{day.level:.3g}", ha="center", va="bottom", fontsize=9, color=INK)
    axes.set_xticks(
        place, [f"{name}\n({day.contact})" for name, day in zip(short([d.name for d in days]), days, strict=True)]
    )
    axes.set_xlim(-0.6, max(len(days), 2) - 0.4)
    axes.set_ylim(0.0, top)
    axes.grid(False, axis="x")


def _right(axes: Axes):
    """Across by the axes, up by the data."""
    return axes.get_yaxis_transform()


def bands_figure(exposure: Exposure) -> Figure:
    """Third-octave bands of every contact, raw and weighted, at the operating point that counts most for it."""
    rows = [_loudest(exposure, number) for number in range(len(exposure.points[0].felt))]
    heading = f"Where the vibration lies: third-octave bands, root sum of squares of X, Y, Z · {exposure.title}"
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
