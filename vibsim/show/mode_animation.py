"""Modes in motion: bodies as boxes of their mass and inertia, mounts as springs, one animated GIF per mode."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import LineCollection
from PIL import Image

from vibsim.inputs.errors import VibsimError
from vibsim.inputs.loader import CaseFile
from vibsim.show.layout_scene import EDGES, Box, boxes_of, carried, ends_of, wheels_of
from vibsim.show.style import FAINT, INK, LONGEST_TITLE, colour, cut, new_figure
from vibsim.solver.simulate import Progress
from vibsim.studies.modes import ModesResult

FRAMES, DURATION = 24, 70  # ms each; viewers slow down below 20
LARGEST_MOVE = 0.14  # of its own box's longest diagonal, of the corner that moves most
COILS = 5
WIDTH, HEIGHT = 12.0, 4.4  # inches
SIDE = np.array([[-1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])  # from the left, forward to the left
REAR = np.array([[0.0, -1.0, 0.0], [0.0, 0.0, 1.0]])
TILT, TURN = math.radians(28.0), math.radians(-52.0)
SKEW = np.array(  # from the left, ahead and above: forward to the left
    [
        [-math.cos(TURN), -math.sin(TURN), 0.0],
        [-math.sin(TILT) * -math.sin(TURN), -math.sin(TILT) * math.cos(TURN), math.cos(TILT)],
    ]
)
VIEWS = (("from the left", SIDE), ("from behind", REAR), ("askew", SKEW))


def animate_modes(
    result: ModesResult, case_file: CaseFile, numbers: list[int], folder: Path, progress: Progress
) -> list[Path]:
    """Write mode-1.gif ... into a folder, made if absent, for modes counted from 1.

    Raises VibsimError when the folder cannot be written.
    """
    title = case_file.case.case.title or case_file.name
    try:
        folder.mkdir(parents=True, exist_ok=True)
        written = []
        for n, number in enumerate(numbers):
            progress("drawing modes", n, len(numbers))
            pictures = _Film(result, case_file, number - 1, title).pictures()
            path, beside = folder / f"mode-{number}.gif", folder / f"mode-{number}.gif.part"
            first, *rest = pictures
            first.save(beside, "GIF", save_all=True, append_images=rest, duration=DURATION, loop=0)
            written.append(beside.replace(path))
        progress("drawing modes", len(numbers), len(numbers))
        return written
    except OSError as error:
        raise VibsimError(f"{folder}: the animation cannot be written ({error.strerror or error})") from None


class _Film:
    """The bodies at the angles of one period of one mode; the figure's still part is drawn once."""

    def __init__(self, result: ModesResult, case_file: CaseFile, mode: int, title: str):
        case = case_file.case
        self._boxes = [*boxes_of(case), *wheels_of(case)]
        self._at = {box.body: box.centre for box in self._boxes}
        self._shape = dict(zip(result.bodies, result.modes.shape[mode], strict=True))
        self._mounts = [(np.array(mount.at), *ends_of(case, n)) for n, mount in enumerate(case.mount)]
        points = np.vstack([*(box.corners for box in self._boxes), *(place[None] for place, _, _ in self._mounts)])
        self._size = float((points.max(axis=0) - points.min(axis=0)).max())
        self._scale = LARGEST_MOVE / max(max(self._swing(box) for box in self._boxes), 1e-12)
        frequency, damping = result.modes.frequency[mode], result.modes.damping[mode]
        body, direction, share = result.dominant(mode)
        words = f"Mode {mode + 1} · {frequency:.2f} Hz · {100 * damping:.1f} % of critical · "
        words += f"{100 * share:.0f} % {body} {direction} · {title}"
        self._figure = new_figure(WIDTH, HEIGHT, cut(words, LONGEST_TITLE))
        self._views = [
            _View(self._figure.add_axes((0.005 + 0.332 * n, 0.1, 0.325, 0.72)), name, plane)
            for n, (name, plane) in enumerate(VIEWS)
        ]
        for n, box in enumerate(self._boxes):
            place = (0.012 + 0.12 * n, 0.035)
            self._figure.text(*place, cut(box.body, 16), fontsize=10, color=colour(n), fontweight="bold")
        for view in self._views:
            view.frame(points)
            view.still([box.corners for box in self._boxes])
        canvas = self._figure.canvas
        assert isinstance(canvas, FigureCanvasAgg)
        self._canvas = canvas
        canvas.draw()
        self._background = canvas.copy_from_bbox(self._figure.bbox)

    def pictures(self) -> list[Image.Image]:
        """Every picture of one period."""
        return [self._picture(2.0 * math.pi * n / FRAMES) for n in range(FRAMES)]

    def _swing(self, box: Box) -> float:
        """The greatest move of a corner, as a share of the box's longest diagonal, unscaled."""
        diagonal = float(np.linalg.norm(box.corners - box.corners[0], axis=1).max())
        moves = [np.linalg.norm(self._motion(box, box.corners, phase), axis=1) for phase in (0.0, 0.5 * math.pi)]
        return float(np.max(moves)) / diagonal

    def _motion(self, box: Box, points: np.ndarray, phase: float) -> np.ndarray:
        """How the points (n, 3) of a body move at a phase of the period, unscaled."""
        motion = np.real(self._shape.get(box.body, np.zeros(6)) * np.exp(1j * phase))
        return carried(points, box.centre, motion) - points

    def _end(self, place: np.ndarray, body: str | None, phase: float) -> np.ndarray:
        if body is None:
            return place
        box = next(box for box in self._boxes if box.body == body)
        return place + self._scale * self._motion(box, place[None], phase)[0]

    def _picture(self, phase: float) -> Image.Image:
        corners = [box.corners + self._scale * self._motion(box, box.corners, phase) for box in self._boxes]
        springs = [
            (self._end(place, first, phase), self._end(place, second, phase)) for place, first, second in self._mounts
        ]
        self._canvas.restore_region(self._background)
        for view in self._views:
            view.draw(corners, springs, 0.025 * self._size, self._canvas.get_renderer())
        picture = np.asarray(self._canvas.buffer_rgba())[:, :, :3]
        return Image.fromarray(picture).convert("P", palette=Image.Palette.ADAPTIVE, colors=64)


class _View:
    """One look at the bodies: a plane (2, 3) that places are projected on."""

    def __init__(self, axes: Axes, name: str, plane: np.ndarray):
        self._axes, self._plane = axes, plane
        axes.set_axis_off()
        axes.set_aspect("equal")
        axes.set_title(name, fontsize=9, color=INK)
        self._boxes: list[LineCollection] = []
        self._springs = LineCollection([], colors=INK, linewidths=1.3)
        self._springs.set_animated(True)
        axes.add_collection(self._springs)

    def frame(self, points: np.ndarray) -> None:
        """Fit the places (n, 3) with room to move."""
        flat = points @ self._plane.T
        low, high = flat.min(axis=0), flat.max(axis=0)
        room = 0.1 * float((high - low).max())
        self._axes.set_xlim(low[0] - room, high[0] + room)
        self._axes.set_ylim(low[1] - room, high[1] + room)

    def still(self, corners: list[np.ndarray]) -> None:
        """The bodies at rest in grey, and what will move."""
        for n, points in enumerate(corners):
            self._axes.add_collection(LineCollection(self._edges(points), colors=FAINT, linewidths=0.8))
            moving = LineCollection([], colors=colour(n), linewidths=2.0)
            moving.set_animated(True)
            self._axes.add_collection(moving)
            self._boxes.append(moving)

    def draw(self, corners: list[np.ndarray], springs: list[tuple], least: float, renderer) -> None:
        for box, points in zip(self._boxes, corners, strict=True):
            box.set_segments(self._edges(points))
        self._springs.set_segments([self._plane_spring(first, second, least) for first, second in springs])
        for artist in (self._springs, *self._boxes):
            self._axes.draw_artist(artist) if renderer is None else artist.draw(renderer)

    def _edges(self, points: np.ndarray) -> list[np.ndarray]:
        flat = points @ self._plane.T
        return [flat[[a, b]] for a, b in EDGES]

    def _plane_spring(self, first: np.ndarray, second: np.ndarray, size: float) -> np.ndarray:
        """A zigzag of `size` about the mount's drawn place that stretches and leans as its two ends move."""
        away = np.array([0.0, size])
        start, end = self._plane @ first - away, self._plane @ second + away
        across = np.array([0.6 * size, 0.0])
        steps = np.linspace(0.0, 1.0, 2 * COILS + 2)
        swing = np.where(np.arange(steps.size) % 2 == 0, -1.0, 1.0)
        swing[0] = swing[-1] = 0.0
        return start + np.outer(steps, end - start) + np.outer(swing, across)
