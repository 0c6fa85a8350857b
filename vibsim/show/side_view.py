"""The mechanism seen across the crank: every part's force at its place along it, their sum and couple."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.lines import Line2D

from vibsim.engine.layout import Layout
from vibsim.engine.mechanism import SHAFT as SHAFT_PART
from vibsim.show.front_view import HEAD, WEIGHT_PLACE
from vibsim.show.mechanism_parts import (
    COUPLE,
    CYLINDER,
    SHAFT,
    STEEL,
    SUM,
    WEIGHT,
    Arrows,
    fit,
    pairs,
    scale_bar,
    shape_ratio,
)
from vibsim.show.mechanism_scene import CROWN, SKIRT, Scene
from vibsim.show.style import FAINT, INK, cut
from vibsim.studies.balance import NEGLIGIBLE

SIDE, ABOVE = "side", "above"
TITLES = {SIDE: "From the side, reference direction up", ABOVE: "From above, against the reference direction"}
LOOKS: dict[str, Callable[[np.ndarray], np.ndarray]] = {SIDE: np.real, ABOVE: lambda values: -np.imag(values)}
WEB_WIDTH = 0.3  # of the bore, to either side of a pin
END_ON = 0.3  # cosine below which a cylinder is seen from its end


def best_look(layout: Layout) -> str:
    """From above for cylinders that lie flat, from the side for all others."""
    return ABOVE if sum(math.cos(2.0 * cylinder.bank) for cylinder in layout.cylinders) < -1e-9 else SIDE


class SideView:
    """Draws a scene on axes; `move` shows one of its crank angles, `artists` are what moves, in drawing order."""

    def __init__(self, axes: Axes, scene: Scene, look: str):
        self._scene, self._look = scene, LOOKS[look]
        found, layout = scene.mechanism, scene.balance.layout
        self._at = np.array([cylinder.at for cylinder in layout.cylinders])
        self._pin, self._wrist = self._look(found.pin), self._look(found.wrist)
        self._force = scene.per_newton * self._look(found.force)
        self._tilt = np.array([float(self._look(np.exp(1j * cylinder.bank))) for cylinder in layout.cylinders])
        self._bore = np.array([cylinder.bore for cylinder in layout.cylinders])
        self._half = np.minimum(0.48 * self._bore, 0.47 * _gap(self._at, np.sign(self._tilt)))
        is_shaft = np.array([kind == SHAFT_PART for kind in found.eccentric_kind], dtype=bool)
        self._on_crank, self._on_shaft = ~is_shaft, is_shaft
        self._heavy = np.abs(found.eccentric_force[0]) > NEGLIGIBLE * scene.balance.unit
        self._axis = self._look(found.eccentric_axis) if is_shaft.size else np.zeros(0)
        self._weight = self._axis + WEIGHT_PLACE * scene.radius * self._look(found.heading) * self._on_crank
        self._weight_force = scene.per_newton * self._look(found.eccentric_force)
        self._sum = scene.per_newton * self._look(found.total)
        self._crank_x, self._crank_pin = _crank_course(layout)
        self._span = self._ends()
        pair = self._look(scene.couple) * scene.per_newton_metre
        self._pair = np.stack([-pair, pair], axis=1)
        width = fit(axes, self._corners(), shape_ratio(axes))
        self._fixed(axes, width)
        self._make_moving(axes, HEAD * width)

    def _ends(self) -> tuple[float, float]:
        """Where the pair of forces is drawn: beyond the outermost cylinders, the same distance from the middle."""
        middle = self._scene.balance.middle
        half = float((np.abs(self._at - middle) + 0.9 * self._bore).max())
        return middle - half, middle + half

    def _corners(self) -> np.ndarray:
        tips = [self._at + 1j * self._wrist, self._at + 1j * (self._wrist + self._force)]
        tips += [self._scene.mechanism.eccentric_at + 1j * (self._weight + self._weight_force)]
        tips += [self._scene.balance.middle + 1j * self._sum, np.array(self._span) + 1j * self._pair]
        heads = 1.12 * np.abs(self._wrist).max(axis=0) + CROWN * self._bore * np.abs(self._tilt)
        tips += [self._at + 1j * heads * np.sign(self._tilt)]
        wide = self._at[:, None] + 0.6 * self._bore[:, None] * np.array([-1.0, 1.0])
        tips += [wide + 1.2j * self._scene.radius, wide - 1.2j * self._scene.radius]
        return np.concatenate([tip.ravel() for tip in tips])

    def _fixed(self, axes: Axes, width: float) -> None:
        scene = self._scene
        scale_bar(axes, scene.per_newton, width)
        if scene.per_newton_metre:
            scale_bar(axes, scene.per_newton_metre, width, "N m", 0.6, COUPLE.colour)
        look = next(name for name, way in LOOKS.items() if way is self._look)
        axes.set_title(TITLES[look], fontsize=10, loc="left", color=INK)
        axes.plot(self._span, (0.0, 0.0), color=FAINT, lw=0.8, ls="--", zorder=0)
        for place in sorted(set(self._axis[self._on_shaft].tolist())):
            axes.plot(self._span, (place, place), color=SHAFT.colour, lw=0.8, ls="-.", alpha=0.6, zorder=0)
        self._walls(axes)

    def _walls(self, axes: Axes) -> None:
        heads: dict[tuple[float, float], list[str]] = {}
        walls = []
        for index, cylinder in enumerate(self._scene.balance.layout.cylinders):
            tilt, half = self._tilt[index], self._half[index] + 0.02 * cylinder.bore
            if abs(tilt) < END_ON:
                continue
            top = (cylinder.top + (CROWN + 0.06) * cylinder.bore) * tilt
            low = max(cylinder.top - 2.0 * cylinder.radius - SKIRT * cylinder.bore, 0.0) * tilt
            left, right = cylinder.at - half, cylinder.at + half
            walls += [[(left, low), (left, top), (right, top), (right, low)]]
            heads.setdefault((round(left, 9), round(top, 9)), []).append(cylinder.name)
        axes.add_collection(LineCollection(walls, colors=FAINT, linewidths=1.1, zorder=1), autolim=False)
        for (left, top), names in heads.items():
            out = top + math.copysign(0.25 * self._scene.radius, top)
            axes.text(left, out, cut(", ".join(names), 8), fontsize=8, ha="left", va="center", color=INK)

    def _make_moving(self, axes: Axes, head: float) -> None:
        self._crank = Line2D(self._crank_x, np.zeros(len(self._crank_x)), color="#BFBFBF", lw=5.0, zorder=2)
        self._crank.set_solid_joinstyle("round")
        self._rods = LineCollection([], colors=STEEL, linewidths=2.6, capstyle="round", zorder=3)
        self._pistons = PolyCollection(
            [], facecolors=(0.93, 0.93, 0.93, 0.75), edgecolors=STEEL, linewidths=1.1, zorder=3
        )
        for collection in (self._pistons, self._rods):
            axes.add_collection(collection, autolim=False)
        self._joints = Line2D([], [], ls="", marker="o", ms=3.5, mfc="white", mec=STEEL, zorder=4)
        self._lumps = Line2D([], [], ls="", marker="s", ms=6.0, mfc="#D9D9D9", mec=STEEL, zorder=4)
        for artist in (self._crank, self._joints, self._lumps):
            axes.add_line(artist)
        self._arrows = [Arrows(axes, kind, head) for kind in (CYLINDER, WEIGHT, SHAFT, COUPLE, SUM)]
        still: list[Artist] = [self._crank, self._pistons, self._rods, self._lumps, self._joints]
        self.artists: list[Artist] = [*still, *(part for arrows in self._arrows for part in arrows.artists)]

    def move(self, n: int) -> None:
        """Show the scene's crank angle number n."""
        pin, wrist = self._at + 1j * self._pin[n], self._at + 1j * self._wrist[n]
        self._crank.set_ydata(np.where(self._crank_pin >= 0, self._pin[n][self._crank_pin], 0.0))
        self._rods.set_segments(pairs(np.stack([pin, wrist], axis=-1)))  # type: ignore[arg-type]
        self._pistons.set_verts(pairs(self._piston(wrist)))  # type: ignore[arg-type]
        self._joints.set_data(self._at, self._wrist[n])
        lumps = self._scene.mechanism.eccentric_at + 1j * self._weight[n]
        self._lumps.set_data(lumps.real[self._heavy], lumps.imag[self._heavy])
        push = 1j * self._weight_force[n]
        cylinder, weight, shaft, couple, total = self._arrows
        cylinder.move(wrist, 1j * self._force[n])
        weight.move(lumps[self._on_crank], push[self._on_crank])
        shaft.move(lumps[self._on_shaft], push[self._on_shaft])
        couple.move(np.array(self._span, dtype=complex), 1j * self._pair[n])
        total.move(np.array([complex(self._scene.balance.middle)]), 1j * self._sum[n : n + 1])

    def _piston(self, wrist: np.ndarray) -> np.ndarray:
        """Outlines (cylinders, 4) of the pistons, as high as their tilt leaves them."""
        high, half = self._bore * CROWN * np.maximum(np.abs(self._tilt), 0.1), self._half
        return np.stack(
            [wrist + sx * half + 1j * sy * high for sx, sy in ((-1, 1), (1, 1), (1, -1), (-1, -1))], axis=-1
        )


def _gap(places: np.ndarray, sides: np.ndarray) -> np.ndarray:
    """Distance of each place to the nearest other one on its side of the crank."""
    apart = np.abs(places[:, None] - places)
    return np.where((apart > 1e-6) & (sides[:, None] == sides), apart, np.inf).min(axis=1)


def _crank_course(layout: Layout) -> tuple[np.ndarray, np.ndarray]:
    """Places along the crank of its drawn line and, for each, the cylinder on whose pin it is (−1: on the axis)."""
    throws = sorted(layout.throws, key=lambda throw: layout.cylinders[throw[0]].at)
    edges = [
        (
            min(layout.cylinders[i].at for i in throw) - WEB_WIDTH * layout.cylinders[throw[0]].bore,
            max(layout.cylinders[i].at for i in throw) + WEB_WIDTH * layout.cylinders[throw[0]].bore,
        )
        for throw in throws
    ]
    places, pins = [edges[0][0] - 0.2 * layout.cylinders[0].bore], [-1]
    for index, (throw, (left, right)) in enumerate(zip(throws, edges, strict=True)):
        if index and left < edges[index - 1][1]:  # webs would overlap: meet half way
            left = 0.5 * (left + edges[index - 1][1])
        if index + 1 < len(edges) and right > edges[index + 1][0]:
            right = 0.5 * (right + edges[index + 1][0])
        places += [left, left, right, right]
        pins += [-1, throw[0], throw[0], -1]
    return np.array([*places, edges[-1][1] + 0.2 * layout.cylinders[0].bore]), np.array([*pins, -1])
