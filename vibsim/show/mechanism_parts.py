"""What moving pictures of a mechanism are made of: artists that are moved and not made anew.

Places and vectors on a plot are complex numbers, real to the right and imaginary upwards.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patheffects import withStroke

from vibsim.show.style import INK, colour

HEAD_HALF_WIDTH = 0.42  # of an arrow head's length
SHORTEST = 1e-3  # of a head's length: below it an arrow is not drawn
CLAIM = colour(4)  # the star at a claimed position
STEEL, PALE = "#8C8C8C", "#ECECEC"


@dataclass(frozen=True)
class Kind:
    """How arrows of one kind look: told apart by colour, line style and width."""

    label: str
    colour: str
    line: str
    width: float

    def key(self) -> Line2D:
        """Its entry in a legend."""
        return Line2D([], [], color=self.colour, ls=self.line, lw=self.width, marker=(3, 0, -90), ms=7, markevery=[-1])


CYLINDER = Kind("cylinder: piston and rod", colour(0), "-", 2.0)
WEIGHT = Kind("counterweight", colour(1), (0, (3, 1)), 2.0)  # type: ignore[arg-type]
SHAFT = Kind("balance shaft", colour(2), "-.", 2.0)
SUM = Kind("sum", "#000000", "-", 3.4)
COUPLE = Kind("couple as a pair of forces at the ends (front: the near one), own scale", colour(3), (0, (1, 1)), 2.6)  # type: ignore[arg-type]


def show_kinds(figure: Figure, kinds: list[Kind]) -> None:
    """A legend of the kinds of arrow along the lower edge."""
    figure.legend(
        [kind.key() for kind in kinds],
        [kind.label for kind in kinds],
        title="inertia force on the block",
        title_fontsize=9,
        fontsize=9,
        ncols=len(kinds),
        loc="lower left",
        bbox_to_anchor=(0.005, 0.0),
        frameon=False,
        handlelength=3.2,
        alignment="left",
    )


def pairs(values: np.ndarray) -> np.ndarray:
    """Complex places (...) as x and y (..., 2)."""
    return np.stack([values.real, values.imag], axis=-1)


class Arrows:
    """Arrows of one kind on one plot; `head` the length of a head in the plot's units."""

    def __init__(self, axes: Axes, kind: Kind, head: float):
        self._head = head
        self._shafts = LineCollection([], colors=kind.colour, linestyles=[kind.line], linewidths=kind.width, zorder=5)
        self._heads = PolyCollection([], facecolors=kind.colour, edgecolors="none", zorder=5)
        if kind is SUM:  # read it over everything else
            for part in (self._shafts, self._heads):
                part.set_path_effects([withStroke(linewidth=kind.width + 2.5, foreground="white")])
            self._heads.set_edgecolor(kind.colour)
        self.artists: list[Artist] = [self._shafts, self._heads]
        for artist in (self._shafts, self._heads):
            axes.add_collection(artist, autolim=False)

    def move(self, tails: np.ndarray, vectors: np.ndarray) -> None:
        """Tails and vectors (k), complex, in the plot's units."""
        length = np.abs(vectors)
        seen = length > SHORTEST * self._head
        tails, vectors, length = tails[seen], vectors[seen], length[seen]
        along = vectors / length
        head = np.minimum(self._head, 0.75 * length)
        tips = tails + vectors
        bases = tips - along * head
        side = 1j * along * head * HEAD_HALF_WIDTH
        self._shafts.set_segments(pairs(np.stack([tails, bases + 0.1 * along * head], axis=-1)))  # type: ignore[arg-type]
        self._heads.set_verts(pairs(np.stack([tips, bases + side, bases - side], axis=-1)))  # type: ignore[arg-type]


def nice(value: float) -> float:
    """The greatest of 1, 2, 5 times a power of ten that is not above a positive value."""
    power = 10.0 ** math.floor(math.log10(value))
    return next(step * power for step in (5.0, 2.0, 1.0) if step * power <= value * (1.0 + 1e-9))


def scale_bar(axes: Axes, per_unit: float, width: float, unit: str = "N", at: float = 0.03, tint: str = INK) -> None:
    """A bar at the lower edge that says how long so many units are drawn; `at` its place as a share of the width."""
    left, bottom = axes.get_xlim()[0], axes.get_ylim()[0]
    size = nice(0.3 * width / per_unit)
    length, x, y = size * per_unit, left + at * width, bottom + 0.03 * width
    axes.plot([x, x + length], [y, y], color=tint, lw=1.4, marker="|", ms=6, zorder=6)
    axes.text(x + 0.5 * length, y + 0.012 * width, f"{size:g} {unit}", fontsize=8, ha="center", va="bottom", color=tint)


def fit(axes: Axes, corners: np.ndarray, ratio: float, margin: float = 0.04) -> float:
    """Show a drawing whole and undistorted: limits about its places (complex), `ratio` the plot's height over width.

    Returns the width shown.
    """
    low = complex(corners.real.min(), corners.imag.min())
    high = complex(corners.real.max(), corners.imag.max())
    span, middle = high - low, 0.5 * (low + high)
    width = (1.0 + 2.0 * margin) * max(span.real, span.imag / ratio)
    axes.set_xlim(middle.real - 0.5 * width, middle.real + 0.5 * width)
    axes.set_ylim(middle.imag - 0.5 * width * ratio, middle.imag + 0.5 * width * ratio)
    axes.set_axis_off()
    return width


def shape_ratio(axes: Axes) -> float:
    """Height over width of a plot on its figure."""
    box, size = axes.get_position(), axes.get_figure(root=True).get_size_inches()  # type: ignore[union-attr]
    return float(box.height * size[1] / (box.width * size[0]))
