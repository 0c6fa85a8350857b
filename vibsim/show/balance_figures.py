"""Pictures of the free forces: hodographs of force and couple, bars per order."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from vibsim.engine.balance import Phasors
from vibsim.inputs.errors import VibsimError
from vibsim.show.style import FAINT, INK, LONGEST_TITLE, colour, cut, new_figure, plain, save
from vibsim.studies.balance import NEGLIGIBLE, Balance

DRAWN_ORDERS = 6.0
MARKS = (0, 90, 180, 270)


def draw_balance(balance: Balance, title: str, folder: Path) -> list[Path]:
    """Write balance.png into a folder, made if absent."""
    speed = balance.about_crank.speed * 30.0 / math.pi
    figure = new_figure(11.0, 5.0, cut(f"Free forces and couples · {speed:.0f} rpm · {title}", LONGEST_TITLE))
    grid = figure.add_gridspec(
        2, 3, width_ratios=(1.0, 1.0, 1.1), left=0.075, right=0.985, top=0.84, bottom=0.11, wspace=0.36, hspace=0.6
    )
    couple = balance.about_crank.about(np.array([balance.middle, 0.0, 0.0])).couple
    drawn = (
        (balance.about_crank.force, balance.force, balance.unit, "Force on the block", "N"),
        (couple, balance.couple, balance.couple_unit, "Couple Σ x·force, mid-throws", "N m"),
    )
    for column, (values, phasors, scale, name, unit) in enumerate(drawn):
        _hodograph(figure.add_subplot(grid[:, column]), values, balance.about_crank.turns, scale, f"{name}, {unit}")
        _bars(figure.add_subplot(grid[column, 2]), phasors, scale, f"{name.split()[0]} per order", unit)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        return [save(figure, folder / "balance.png")]
    except OSError as error:
        raise VibsimError(f"{folder}: figures cannot be written ({error.strerror}); expected a folder") from None


def _bars(axes: Axes, phasors: Phasors, scale: float, title: str, unit: str) -> None:
    plain(axes, title, "engine order", f"amplitude, {unit}")
    shown = phasors.order <= DRAWN_ORDERS
    width = 0.36 * (phasors.order[1] - phasors.order[0])
    for index, (values, label) in enumerate(((phasors.forward, "with the crank"), (phasors.backward, "against it"))):
        place = phasors.order[shown] + (index - 0.5) * width
        axes.bar(place, np.abs(values[shown]), width, color=colour(index), label=label)
    axes.set_ylim(0.0, 1.1 * max(float(phasors.major[shown].max()), NEGLIGIBLE * scale))
    axes.legend(fontsize=8, frameon=False)


def _hodograph(axes: Axes, values: np.ndarray, turns: int, scale: float, title: str) -> None:
    """The vector's path over the revolution, looked at so that the crank turns anticlockwise."""
    plain(axes, title, "a quarter turn ahead of it", "along the reference direction")
    size = float(np.abs(values).max())
    axes.axhline(0.0, color=FAINT, lw=0.8)
    axes.axvline(0.0, color=FAINT, lw=0.8)
    axes.set_aspect("equal")
    if size < NEGLIGIBLE * scale:
        axes.text(0.5, 0.6, "none", ha="center", transform=axes.transAxes)
        size = NEGLIGIBLE * scale
    else:
        closed = np.append(values, values[0])
        axes.plot(closed.imag, closed.real, color=colour(0), lw=1.8)
        for mark in MARKS:
            value = values[round(mark / 360.0 * len(values) / turns) % len(values)]
            axes.plot(value.imag, value.real, "o", color=colour(1), ms=5.0)
            place, words = (value.imag, value.real), f"{mark}°"
            axes.annotate(words, place, (5, 4), textcoords="offset points", fontsize=8, color=INK)
    axes.set_xlim(1.25 * size, -1.25 * size)
    axes.set_ylim(-1.25 * size, 1.25 * size)
    axes.xaxis.set_major_locator(MaxNLocator(5))
