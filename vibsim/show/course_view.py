"""Size of the free force and couple over crank angle, with a cursor that moves and the marks of a claim."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.ticker import MultipleLocator

from vibsim.show.style import FAINT, INK, colour, plain
from vibsim.studies.balance import NEGLIGIBLE, Balance

ROOM = 1.1  # above the greatest value


class CourseView:
    """One size over crank angle; `move` sets the cursor, `artists` are what moves."""

    def __init__(self, axes: Axes, angles: np.ndarray, sizes: np.ndarray, smallest: float, title: str, unit: str):
        """Angles (n), rad, over whole turns and sizes (n); sizes below `smallest` count as none."""
        plain(axes, title, "crank angle, °", unit)
        self._unit, self._none = unit, float(sizes.max()) < smallest
        whole = math.degrees(angles[-1] + angles[1])
        top = ROOM * max(float(sizes.max()), smallest)
        axes.set_xlim(0.0, whole)
        axes.set_ylim(0.0, top)
        axes.xaxis.set_major_locator(MultipleLocator(90.0 * max(round(whole / 360.0), 1)))
        degrees = np.append(np.degrees(angles), whole)
        if not self._none:
            axes.plot(degrees, np.append(sizes, sizes[0]), color=colour(0), lw=1.8)
        else:
            axes.text(0.5, 0.5, "none", ha="center", transform=axes.transAxes, fontsize=10, color=INK)
            axes.set_yticks([0.0])
        self._cursor = axes.axvline(0.0, color=INK, lw=1.2)
        (self._dot,) = axes.plot([], [], "o", color=INK, ms=6.0)
        self._words = axes.text(
            1.0, 1.03, "", transform=axes.transAxes, ha="right", va="bottom", fontsize=10, fontweight="bold", color=INK
        )
        self.artists: list[Artist] = [self._cursor, self._dot, self._words]

    def move(self, degrees: float, size: float) -> None:
        """Cursor to a crank angle (°) with its value."""
        self._cursor.set_xdata([degrees, degrees])
        self._dot.set_data([degrees], [0.0 if self._none else size])
        self._words.set_text("" if self._none else f"{plain_size(size)} {self._unit}")


def plain_size(value: float) -> str:
    """Three digits at least, no exponent."""
    digits = 0 if value >= 99.5 else 1 if value >= 9.95 else 2
    return f"{value:.{digits}f}"


def mark_claim(axes: Axes, degrees: float, words: str) -> None:
    """A dashed line where a claim is made."""
    axes.axvline(degrees, color=INK, lw=1.0, ls="--", zorder=1)
    side, place = ("right", -4) if degrees > 0.5 * axes.get_xlim()[1] else ("left", 4)
    axes.annotate(
        words,
        (degrees, 0.0),
        (place, 5),
        textcoords="offset points",
        ha=side,
        va="bottom",
        fontsize=8,
        color=INK,
        bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 1.0},
    )


def unit_line(axes: Axes, value: float, words: str) -> None:
    """A measure to read sizes against, where it is in sight."""
    high = axes.get_ylim()[1]
    if not 0.05 * high < value < 0.95 * high:
        return
    axes.axhline(value, color=FAINT, lw=1.2, ls="--", zorder=1)
    axes.annotate(
        words,
        (1.0, value),
        (3, 0),
        xycoords=("axes fraction", "data"),
        textcoords="offset points",
        fontsize=9,
        va="center",
    )


def force_course(axes: Axes, balance: Balance) -> CourseView:
    """Size of the free force."""
    free = balance.about_crank
    smallest = NEGLIGIBLE * balance.unit
    view = CourseView(axes, free.angle, np.abs(free.force), smallest, "Free force", "N")
    unit_line(axes, balance.unit, "F")
    return view


def couple_course(axes: Axes, balance: Balance) -> CourseView:
    """Size of the free couple about the middle of the throws."""
    smallest = NEGLIGIBLE * balance.couple_unit
    sizes = np.abs(balance.couple_course)
    return CourseView(axes, balance.about_crank.angle, sizes, smallest, "Couple about mid-throws", "N m")
