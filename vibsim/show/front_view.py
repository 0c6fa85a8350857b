"""The mechanism seen along the crank, turning anticlockwise, with the force of every part and their sum."""

from __future__ import annotations

import cmath
import math

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, FancyArrowPatch

from vibsim.engine.layout import ResolvedCylinder
from vibsim.show.mechanism_parts import (
    CLAIM,
    COUPLE,
    CYLINDER,
    PALE,
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
from vibsim.show.mechanism_scene import CROWN, SKIRT, Scene, firsts, summed
from vibsim.show.style import FAINT, INK, cut

CASE, WEB = 1.5, 1.25  # radii of crankcase and counterweights, in throw radii
WEIGHT_PLACE = 0.8  # where a counterweight's arrow starts, in throw radii
SECTOR = np.concatenate([[0.25 * np.exp(-1.2j)], np.exp(1j * np.linspace(-0.65, 0.65, 13)), [0.25 * np.exp(1.2j)]])
HEAD = 0.03  # of the width shown
NAMES, LETTER = 24, 0.2  # characters; width of one in throw radii


def seen(values: np.ndarray) -> np.ndarray:
    """Complex of the engine to complex of the plot: the reference direction up, a quarter turn ahead to the left."""
    return 1j * values


class FrontView:
    """Draws a scene on axes; `move` shows one of its crank angles, `artists` are what moves, in drawing order."""

    def __init__(self, axes: Axes, scene: Scene):
        self._scene = scene
        found, scale = scene.mechanism, scene.per_newton
        self._pin, self._wrist = (seen(values[:, firsts(scene.together)]) for values in (found.pin, found.wrist))
        self._force = scale * seen(summed(found.force, scene.together))
        self._heading, self._weight_force = self._eccentrics(scene.weights)
        self._shaft_heading, self._shaft_force = self._eccentrics(scene.shafts)
        self._shaft_axis = seen(found.eccentric_axis[firsts(scene.shafts)])
        self._sum = scale * seen(found.total)
        self._couple = scene.per_newton_metre * seen(scene.couple)
        self._couple_trace = scene.per_newton_metre * seen(scene.balance.couple_course)
        self._trace_of = scale * seen(scene.balance.about_crank.force)
        self._fixed(axes)
        width = fit(axes, self._corners(), shape_ratio(axes))
        scale_bar(axes, scale, width)
        axes.set_title("Along the crank, turning anticlockwise", fontsize=10, loc="left", color=INK)
        self._make_moving(axes, HEAD * width)

    def _eccentrics(self, groups: list[tuple[int, ...]]) -> tuple[np.ndarray, np.ndarray]:
        found = self._scene.mechanism
        force = self._scene.per_newton * seen(summed(found.eccentric_force, groups))
        return seen(found.heading[:, firsts(groups)]), force

    def _cylinders(self) -> list[ResolvedCylinder]:
        return [self._scene.balance.layout.cylinders[index] for index in firsts(self._scene.together)]

    def _corners(self) -> np.ndarray:
        """Every place that has to be seen."""
        radius = self._scene.radius
        case = CASE * radius * np.exp(1j * np.linspace(0.0, 2.0 * math.pi, 24))
        heads = [np.array(_bore(cylinder)[2]) for cylinder in self._cylinders()]
        names = [place + math.copysign(LETTER * radius * len(words), place.real) for place, words in self._banks()]
        tips = [self._wrist + self._force, WEIGHT_PLACE * radius * self._heading + self._weight_force]
        tips += [self._shaft_axis + self._shaft_force, self._shaft_axis + 0.6 * radius * self._shaft_heading]
        return np.concatenate([case, *heads, names, *(tip.ravel() for tip in tips), self._trace_of, self._couple_trace])

    def _fixed(self, axes: Axes) -> None:
        radius = self._scene.radius
        axes.add_patch(Circle((0.0, 0.0), CASE * radius, facecolor="#F7F7F7", edgecolor=FAINT, lw=1.0, zorder=0))
        axes.add_patch(Circle((0.0, 0.0), radius, fill=False, edgecolor=FAINT, lw=0.8, ls=":", zorder=1))
        for axis in self._shaft_axis:
            axes.add_patch(Circle((axis.real, axis.imag), 0.6 * radius, facecolor="#F7F7F7", edgecolor=FAINT, zorder=0))
        walls = np.array([line for cylinder in self._cylinders() for line in _bore(cylinder)])
        drawn = LineCollection(list(pairs(walls)), colors=FAINT, linewidths=1.4, zorder=1)
        axes.add_collection(drawn, autolim=False)
        self._name_banks(axes)
        self._turning_arrow(axes)
        for trace, tint in ((self._trace_of, INK), (self._couple_trace, COUPLE.colour)):
            if np.abs(trace).max() > 0.02 * radius:
                closed = np.append(trace, trace[0])
                axes.plot(closed.real, closed.imag, color=tint, lw=1.0, alpha=0.4, zorder=2)

    def _banks(self) -> list[tuple[complex, str]]:
        """Names of the cylinders of each bank, with a place beside the outer corner of its head."""
        layout = self._scene.balance.layout
        banks: dict[complex, list[str]] = {}
        for cylinder in layout.cylinders:
            corners = [corner + 0.25 * self._scene.radius * corner / abs(corner) for corner in _bore(cylinder)[2]]
            place = max(corners, key=lambda corner: (round(abs(corner.real), 6), corner.real + corner.imag))
            banks.setdefault(complex(np.round(place, 6)), []).append(cylinder.name)
        return [(place, cut(", ".join(names), NAMES)) for place, names in banks.items()]

    def _name_banks(self, axes: Axes) -> None:
        for place, words in self._banks():
            side = "left" if place.real > 0.0 else "right"
            axes.text(place.real, place.imag, words, fontsize=9, ha=side, va="center", color=INK)

    def _turning_arrow(self, axes: Axes) -> None:
        """An arc on the crankcase, where no bank is."""
        banks = np.array([cmath.exp(1j * cylinder.bank) for cylinder in self._scene.balance.layout.cylinders])
        tries = seen(np.exp(1j * np.radians(np.arange(0.0, 360.0, 15.0))))
        free = tries[np.argmin(np.abs(tries[:, None] - seen(banks) * -1.0).max(axis=1))]
        start, end = (1.32 * self._scene.radius * free * np.exp(1j * turn) for turn in (-0.35, 0.35))
        arrow = FancyArrowPatch(
            (start.real, start.imag),
            (end.real, end.imag),
            connectionstyle=f"arc3,rad={math.tan(0.175):.4f}",
            arrowstyle="-|>",
            mutation_scale=10,
            color=STEEL,
            lw=1.4,
            zorder=1,
        )
        axes.add_patch(arrow)

    def _make_moving(self, axes: Axes, head: float) -> None:
        self._webs, self._shaft_webs = (
            PolyCollection([], facecolors="#D9D9D9", edgecolors=STEEL, linewidths=0.8, zorder=2) for _ in range(2)
        )
        self._arms = LineCollection([], colors="#BFBFBF", linewidths=7.0, capstyle="round", zorder=2)
        self._rods = LineCollection([], colors=STEEL, linewidths=3.2, capstyle="round", zorder=3)
        self._pistons = PolyCollection([], facecolors=PALE, edgecolors=STEEL, linewidths=1.2, zorder=3)
        for collection in (self._webs, self._shaft_webs, self._arms, self._pistons, self._rods):
            axes.add_collection(collection, autolim=False)
        self._joints = Line2D([], [], ls="", marker="o", ms=4.5, mfc="white", mec=STEEL, zorder=4)
        self._trace = Line2D([], [], color=INK, lw=1.8, zorder=4)
        star = Line2D([], [], ls="", marker="*", ms=13.0, mfc=CLAIM, mec=INK, zorder=4)
        if self._scene.claimed is not None:
            tip = seen(self._scene.per_newton * np.array([self._scene.claimed[1]]))
            star.set_data(tip.real, tip.imag)
        for artist in (self._joints, self._trace, star):
            axes.add_line(artist)
        kinds = (CYLINDER, WEIGHT, SHAFT, COUPLE, SUM)
        self._arrows = [Arrows(axes, kind, head) for kind in kinds]
        still: list[Artist] = [self._webs, self._shaft_webs, self._arms, self._pistons, self._rods, self._joints]
        arrows = [part for kind in self._arrows for part in kind.artists]
        self.artists: list[Artist] = [*still, self._trace, star, *arrows]

    def move(self, n: int) -> None:
        """Show the scene's crank angle number n, with the trace of the sum so far."""
        radius, pin, wrist = self._scene.radius, self._pin[n], self._wrist[n]
        self._webs.set_verts(pairs(WEB * radius * self._heading[n][:, None] * SECTOR))  # type: ignore[arg-type]
        spun = self._shaft_axis[:, None] + 0.55 * radius * self._shaft_heading[n][:, None] * SECTOR
        self._shaft_webs.set_verts(pairs(spun))  # type: ignore[arg-type]
        self._arms.set_segments(pairs(np.stack([np.zeros_like(pin), pin], axis=-1)))  # type: ignore[arg-type]
        self._rods.set_segments(pairs(np.stack([pin, wrist], axis=-1)))  # type: ignore[arg-type]
        self._pistons.set_verts(pairs(np.array([_piston(c, w) for c, w in zip(self._cylinders(), wrist, strict=True)])))  # type: ignore[arg-type]
        joints = np.concatenate([[0.0], pin, wrist])
        self._joints.set_data(joints.real, joints.imag)
        self._trace.set_data(self._sum[: n + 1].real, self._sum[: n + 1].imag)
        cylinder, weight, shaft, couple, total = self._arrows
        cylinder.move(wrist, self._force[n])
        weight.move(WEIGHT_PLACE * radius * self._heading[n], self._weight_force[n])
        shaft.move(self._shaft_axis, self._shaft_force[n])
        couple.move(np.zeros(1), self._couple[n : n + 1])
        total.move(np.zeros(1), self._sum[n : n + 1])


def _bore(cylinder: ResolvedCylinder) -> list[list[complex]]:
    """Two walls and the head of a cylinder on the plot."""
    axis = cmath.exp(1j * (cylinder.bank + 0.5 * math.pi))
    half = 0.5 * cylinder.bore
    top = cylinder.top + (CROWN + 0.06) * cylinder.bore
    low = max(cylinder.top - 2.0 * cylinder.radius - SKIRT * cylinder.bore, 0.0)
    left, right = (1j * (cylinder.offset + side * half) for side in (1.0, -1.0))
    return [[axis * (low + side), axis * (top + side)] for side in (left, right)] + [
        [axis * (top + left), axis * (top + right)]
    ]


def _piston(cylinder: ResolvedCylinder, wrist: complex) -> np.ndarray:
    """Corners of a piston about its wrist pin on the plot."""
    axis = cmath.exp(1j * (cylinder.bank + 0.5 * math.pi))
    half = 0.48 * cylinder.bore
    corners = np.array([CROWN * cylinder.bore + 1j * half, CROWN * cylinder.bore - 1j * half])
    lower = np.array([-SKIRT * cylinder.bore - 1j * half, -SKIRT * cylinder.bore + 1j * half])
    return wrist + axis * np.concatenate([corners, lower])
