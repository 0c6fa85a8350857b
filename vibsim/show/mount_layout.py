"""The mounts in three views, with elastic centre and axes, torque roll axis and the axes that the modes turn about."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from vibsim.inputs.loader import CaseFile
from vibsim.inputs.models import Case
from vibsim.inputs.mount_models import Mount, TorqueRodMount
from vibsim.show.layout_scene import EDGES, boxes_of, mounts_of
from vibsim.show.style import FAINT, INK, LONGEST_TITLE, colour, cut, into_folder, new_figure, plain
from vibsim.structure.rotation import turns_about_fixed_axes
from vibsim.structure.torque_roll_axis import screw_axis
from vibsim.studies.modes import ModesResult
from vibsim.studies.mount_curves import mount_rates

View = tuple[str, int, int, str, str]  # title, axis across (grows to the left), axis up, their labels
VIEWS: tuple[View, ...] = (
    ("From the left", 0, 2, "X, mm (forward to the left)", "Z, mm"),
    ("From behind", 1, 2, "Y, mm (left to the left)", "Z, mm"),
    ("From above", 0, 1, "X, mm (forward to the left)", "Y, mm"),
)
ROLL, ELASTIC, MODE, CRANK, MOUNT = colour(1), colour(0), colour(2), INK, colour(3)
TURNS = 0.5  # of a mode's energy in the body, turning: what has an axis worth drawing
LEAST_ENERGY = 0.5  # of a mode's energy in the body


def draw_layout(result: ModesResult, case_file: CaseFile, title: str, folder: Path) -> list[Path]:
    """Write mounts.png into a folder, made if absent: the engine's body and its mounts, as it stands."""
    figure = new_figure(13.5, 5.9, cut(f"Mounts and axes of the {result.axes.body} · {title}", LONGEST_TITLE))
    grid = figure.add_gridspec(1, 3, left=0.05, right=0.99, top=0.86, bottom=0.2, wspace=0.22)
    scene = _Scene(result, case_file)
    for column, view in enumerate(VIEWS):
        _draw_view(figure.add_subplot(grid[column]), scene, view)
    _legend(figure, scene)
    return into_folder({"mounts.png": figure}, folder)


class _Scene:
    """What the three views share, in mm; `bars` (3, 3) columns along each mount's axes, long as its tangent rates."""

    def __init__(self, result: ModesResult, case_file: CaseFile):
        case: Case = case_file.case
        self.result, self.axes = result, result.axes
        box = next(box for box in boxes_of(case) if box.body == result.axes.body)
        self.corners = 1e3 * box.corners
        shown = mounts_of(case_file, result.axes.body)
        self.mounts, self.rates = [case.mount[n] for n in shown], mount_rates(case_file)[shown]
        self.places = 1e3 * np.array([mount.at for mount in self.mounts]).reshape(-1, 3)
        everything = np.vstack([self.corners, self.places])
        self.middle = 0.5 * (everything.min(axis=0) + everything.max(axis=0))
        self.reach = 0.5 * float((everything.max(axis=0) - everything.min(axis=0)).max()) * 1.28
        stiffest = float(self.rates.max(initial=0.0)) or 1.0
        self.per_rate = 0.2 * self.reach / stiffest
        self.bars = [
            _along_axes(mount, self.per_rate * np.maximum(rates, 0.0))
            for mount, rates in zip(self.mounts, self.rates, strict=True)
        ]
        self.crank = None
        if case.engine is not None:
            direction = np.array(case.engine.crank_direction, dtype=float)
            self.crank = 1e3 * np.array(case.engine.origin), direction / np.linalg.norm(direction)
        self.modes = self._mode_axes()

    def _mode_axes(self) -> list[tuple[int, np.ndarray, np.ndarray]]:
        """Number, point and direction of the axis of each mode that turns the body more than it shifts it."""
        found, body = [], self.result.bodies.index(self.axes.body)
        for n, shares in enumerate(self.result.modes.energy[:, body]):
            whole = float(shares.sum())
            if whole < LEAST_ENERGY or float(shares[3:].sum()) < TURNS * whole:
                continue
            axis = screw_axis(self.result.modes.shape[n, body].real, self.result.places[body])
            found.append((n + 1, 1e3 * axis.point, axis.direction))
        return found


def _along_axes(mount: Mount, lengths: np.ndarray) -> np.ndarray:
    """Columns (3, 3) along a mount's axes; of a rod one along its line, as long as all three together: what the rod
    gives along axes that are not its own adds up to its rate."""
    if isinstance(mount, TorqueRodMount):
        line = np.array(mount.to) - np.array(mount.at)
        return np.outer(line / np.linalg.norm(line), [lengths.sum(), 0.0, 0.0])
    return turns_about_fixed_axes(np.array(mount.axes)) * lengths


def _draw_view(axes: Axes, scene: _Scene, view: View) -> None:
    title, i, j, across, up = view
    plain(axes, title, across, up)
    for a, b in EDGES:
        axes.plot(scene.corners[[a, b], i], scene.corners[[a, b], j], color=FAINT, lw=1.0, zorder=1)
    low, high = scene.middle - scene.reach, scene.middle + scene.reach
    for bars, place in zip(scene.bars, scene.places, strict=True):
        for bar in bars.T:
            ends = place + np.outer([-1.0, 1.0], bar)
            axes.plot(ends[:, i], ends[:, j], color=MOUNT, lw=3.0, solid_capstyle="butt", zorder=4)
        axes.plot(place[i], place[j], "s", ms=5, color=MOUNT, mec="white", zorder=5)
    _name_mounts(axes, scene, i, j)
    for number, point, direction in scene.modes:
        _line(axes, scene, point, direction, (i, j), MODE, (0, (4, 2)), 1.2, str(number))
    if scene.crank is not None:
        _line(axes, scene, scene.crank[0], scene.crank[1], (i, j), CRANK, ":", 1.4, "")
    roll = scene.axes.torque_roll
    if roll is not None:
        _line(axes, scene, 1e3 * roll.point, roll.direction, (i, j), ROLL, "-", 2.2, "")
    centre = 1e3 * scene.axes.centre
    axes.plot(centre[i], centre[j], "o", ms=9, mfc="white", mec=INK, mew=1.6, zorder=5)
    if scene.axes.elastic is not None:
        place = 1e3 * scene.axes.elastic.centre
        for direction in scene.axes.elastic.axes.T:
            ends = place + np.outer([-0.25, 0.25], scene.reach * direction)
            axes.plot(ends[:, i], ends[:, j], color=ELASTIC, lw=1.2, zorder=6)
        axes.plot(place[i], place[j], "D", ms=8, color=ELASTIC, mec="white", zorder=8)
    axes.set_xlim(high[i], low[i])
    axes.set_ylim(low[j], high[j])
    axes.set_aspect("equal")


def _name_mounts(axes: Axes, scene: _Scene, i: int, j: int) -> None:
    """Names of the mounts beyond the ends of their bars, those that lie on one another in this view together."""
    groups: list[list[int]] = []
    for n, place in enumerate(scene.places):
        flat = scene.places[:, [i, j]]
        near = next((g for g in groups if np.hypot(*(flat[g[0]] - place[[i, j]])) < 0.15 * scene.reach), None)
        if near is None:
            groups.append([n])
        else:
            near.append(n)
    for group in groups:
        at = scene.places[group].mean(axis=0)
        below = at[j] <= scene.middle[j]
        ends = [scene.places[n, j] + sign * np.abs(scene.bars[n][j]).max() for n in group for sign in (-1.0, 1.0)]
        height = min(ends) if below else max(ends)
        names = cut("\n".join(scene.mounts[n].name for n in group), 60)
        shift = (0.0, -3.0) if below else (0.0, 3.0)
        axes.annotate(
            names,
            (at[i], height),
            xytext=shift,
            textcoords="offset points",
            fontsize=8,
            color=INK,
            ha="center",
            va="top" if below else "bottom",
            zorder=9,
        )


def _line(axes: Axes, scene: _Scene, point, direction, plane, ink, style, width, label: str) -> None:
    """A line through the scene; seen end on, a cross."""
    i, j = plane
    flat = np.array([direction[i], direction[j]])
    if np.hypot(*flat) < 0.1:
        axes.plot(point[i], point[j], "x", ms=9, mew=width, color=ink, zorder=6)
        if label:
            axes.annotate(label, (point[i], point[j]), xytext=(6, 3), textcoords="offset points", fontsize=9, color=ink)
        return
    near = point + direction * float((scene.middle - point) @ direction)
    ends = near + np.outer([-1.0, 1.0], 0.95 * scene.reach * direction)
    axes.plot(ends[:, i], ends[:, j], color=ink, ls=style, lw=width, zorder=6)
    if label:
        at = ends[1]
        axes.annotate(label, (at[i], at[j]), fontsize=9, color=ink, fontweight="bold", clip_on=True)


def _legend(figure: Figure, scene: _Scene) -> None:
    entries = [
        Line2D([], [], color=MOUNT, marker="s", lw=3, label="mount: bars along its axes, as long as its rates"),
        Line2D(
            [], [], color=INK, marker="o", mfc="white", lw=0, label="centre of mass (grey: box of its mass, inertia)"
        ),
        Line2D([], [], color=CRANK, ls=":", label="crank"),
        Line2D([], [], color=ROLL, lw=2.2, label="torque roll axis"),
        Line2D([], [], color=ELASTIC, marker="D", label=_elastic_words(scene)),
        Line2D([], [], color=MODE, ls="--", label="axis of a mode that mostly turns, numbered (cross: end on)"),
    ]
    figure.legend(handles=entries, loc="lower left", bbox_to_anchor=(0.04, 0.0), ncols=3, fontsize=8.5, frameon=False)


def _elastic_words(scene: _Scene) -> str:
    if scene.axes.elastic is None:
        return "elastic centre: none"
    arm = 1e3 * scene.axes.elastic.lever_arm
    return "elastic centre and axes" + (f" (to within a lever arm of {arm:.0f} mm)" if arm >= 0.5 else "")
