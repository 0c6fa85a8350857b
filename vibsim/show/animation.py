"""The mechanism in motion: numbered pictures of whole crank turns and the same as an animated GIF."""

from __future__ import annotations

import math
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from matplotlib.artist import Artist
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from PIL import Image
from scipy.spatial import cKDTree

from vibsim.inputs.errors import VibsimError
from vibsim.inputs.models import Engine
from vibsim.show.course_view import couple_course, force_course, mark_claim, plain_size
from vibsim.show.front_view import FrontView
from vibsim.show.mechanism_parts import show_kinds
from vibsim.show.mechanism_scene import Scene, make_scene, present_kinds, wheel
from vibsim.show.side_view import SideView, best_look
from vibsim.show.style import COLOURS, INK, cut, new_figure
from vibsim.solver.simulate import Progress
from vibsim.studies.balance import Balance
from vibsim.studies.position import OnePosition, angle_words

MOST_TURNS = 2
SECONDS_PER_TURN = 3.6
SHADES = 8  # of each colour, towards white
GREYS = (0.5, 0.55, 0.73, 0.75, 0.85, 0.9, 0.925, 0.97)
WIDTH, HEIGHT = 13.0, 6.2  # inches
LONGEST = 95  # characters of the title, beside the crank angle


def animate(
    engine: Engine,
    balance: Balance,
    position: OnePosition | None,
    title: str,
    folder: Path,
    frames: int,
    progress: Progress,
    look: str | None = None,
) -> list[Path]:
    """Write mechanism.gif and frames/frame-000.png ... into a folder; all of them or none.

    Whole turns, as many as the balance shafts need and at most two, from the claimed position if there is one.
    Raises VibsimError when the folder cannot be written.
    """
    turns = min(balance.about_crank.turns, MOST_TURNS)
    start, claimed = (0.0, None) if position is None else (position.angle, (position.angle, position.force_at))
    angles = crank_angles(start, turns, frames)
    film = Film(make_scene(engine, balance, angles, claimed), title, look or best_look(balance.layout))
    duration = max(round(100.0 * SECONDS_PER_TURN * turns / frames), 2) * 10  # ms; viewers slow down below 20
    try:
        folder.mkdir(parents=True, exist_ok=True)
        beside = Path(tempfile.mkdtemp(prefix="frames-", suffix=".part", dir=folder))
        try:
            _write(film.pictures(progress), beside, duration)
            return _into_place(beside, folder)
        finally:
            shutil.rmtree(beside, ignore_errors=True)
    except OSError as error:
        raise VibsimError(f"{folder}: the animation cannot be written ({error.strerror or error})") from None


def crank_angles(start: float, turns: int, frames: int) -> np.ndarray:
    """The crank angle (rad) of each picture, evenly over whole turns."""
    return start + np.linspace(0.0, 2.0 * math.pi * turns, frames, endpoint=False)


class Film:
    """A figure whose still part is drawn once."""

    def __init__(self, scene: Scene, title: str, look: str):
        self._scene = scene
        balance = scene.balance
        self._figure = _figure(balance, title)
        front, side, force, couple = self._figure.axes
        self._front, self._side = FrontView(front, scene), SideView(side, scene, look)
        self._force, self._couple = force_course(force, balance), couple_course(couple, balance)
        if scene.claimed is not None:
            at = wheel(scene.claimed[0], scene.turns)
            words = f"claimed {angle_words(scene.claimed[0], 3)}: {plain_size(abs(scene.claimed[1]))} N"
            mark_claim(force, at, words)
        self._angle = self._figure.text(
            0.99, 1.0 - 0.12 / HEIGHT, "", fontsize=12, fontweight="bold", color=INK, va="top", ha="right"
        )
        show_kinds(self._figure, present_kinds(scene))
        views = (self._front, self._side, self._force, self._couple)
        self._moving: list[Artist] = [*(artist for view in views for artist in view.artists), self._angle]
        for artist in self._moving:
            artist.set_animated(True)
        canvas = self._figure.canvas
        assert isinstance(canvas, FigureCanvasAgg)
        self._canvas = canvas
        canvas.draw()
        self._still = canvas.copy_from_bbox(self._figure.bbox)

    def pictures(self, progress: Progress) -> Iterator[Image.Image]:
        """Every picture in turn, (height, width) of one palette."""
        total = len(self._scene.mechanism.angle)
        palette, table = _palette()
        for n in range(total):
            progress("drawing", n, total)
            yield _reduce(self._draw(n), palette, table)
        progress("drawing", total, total)

    def _draw(self, n: int) -> np.ndarray:
        """Red, green, blue (height, width, 3) of picture n."""
        scene = self._scene
        self._canvas.restore_region(self._still)
        at = wheel(scene.mechanism.angle[n], scene.turns)
        self._front.move(n)
        self._side.move(n)
        self._force.move(at, float(abs(scene.mechanism.total[n])))
        self._couple.move(at, float(abs(scene.couple[n])))
        self._angle.set_text(f"crank angle {at:.0f}°")
        for artist in self._moving:
            artist.draw(self._canvas.get_renderer())
        return np.asarray(self._canvas.buffer_rgba())[:, :, :3]


def _palette() -> tuple[bytes, np.ndarray]:
    """The colours in use and their way to white, where edges are smoothed, and the nearest of them (32, 32, 32) for
    every colour at five bits a channel."""
    used = np.array([to_rgb(name) for name in (*COLOURS, INK, *(f"{grey}" for grey in GREYS))])
    steps = np.linspace(1.0, 0.0, SHADES, endpoint=False)[:, None, None]
    blends = np.concatenate([(1.0 - steps * (1.0 - used)).reshape(-1, 3), np.ones((1, 3))])
    values = np.unique(np.round(255.0 * blends).astype(np.uint8), axis=0)
    centres = np.stack(np.meshgrid(*[np.arange(4.0, 256.0, 8.0)] * 3, indexing="ij"), axis=-1)
    table = cKDTree(values.astype(float)).query(centres)[1].astype(np.uint8)
    cell = values >> 3
    table[cell[:, 0], cell[:, 1], cell[:, 2]] = np.arange(len(values))  # what is in the palette stays itself
    return values.tobytes(), table


def _reduce(picture: np.ndarray, palette: bytes, table: np.ndarray) -> Image.Image:
    cell = picture >> 3
    image = Image.fromarray(table[cell[..., 0], cell[..., 1], cell[..., 2]])
    image.putpalette(palette)  # makes it one of a palette
    return image


def _figure(balance: Balance, title: str) -> Figure:
    speed = balance.about_crank.speed * 30.0 / math.pi
    turns = balance.about_crank.turns
    cut_off = f"{MOST_TURNS} of {turns} turns · " if turns > MOST_TURNS else ""
    figure = new_figure(WIDTH, HEIGHT, cut(f"{speed:.0f} rpm · {cut_off}{title}", LONGEST))
    figure.add_axes((0.005, 0.11, 0.35, 0.77))
    figure.add_axes((0.365, 0.11, 0.34, 0.77))
    figure.add_axes((0.755, 0.57, 0.225, 0.31))
    figure.add_axes((0.755, 0.15, 0.225, 0.27))
    return figure


def _write(pictures: Iterator[Image.Image], folder: Path, duration: int) -> None:
    def kept() -> Iterator[Image.Image]:
        for n, picture in enumerate(pictures):
            picture.save(folder / f"frame-{n:03d}.png", compress_level=4)
            yield picture

    rest = kept()
    first = next(rest)
    with (folder / "mechanism.gif").open("wb") as file:
        first.save(file, "GIF", save_all=True, append_images=rest, duration=duration, loop=0, optimize=False)


def _into_place(beside: Path, folder: Path) -> list[Path]:
    """Move the finished files in; pictures of an earlier and longer film do not stay."""
    frames = folder / "frames"
    frames.mkdir(exist_ok=True)
    new = {picture.name for picture in beside.glob("frame-*.png")}
    for name in sorted(new):
        (beside / name).replace(frames / name)
    for old in frames.glob("frame-[0-9][0-9][0-9].png"):
        if old.name not in new:
            old.unlink()
    return [(beside / "mechanism.gif").replace(folder / "mechanism.gif"), frames]
