"""A claim about one crank position beside the whole revolution: explain.png."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from vibsim.inputs.models import Engine
from vibsim.show.balance_figures import hodograph, units
from vibsim.show.course_view import CourseView, couple_course, force_course, mark_claim, plain_size
from vibsim.show.front_view import FrontView
from vibsim.show.mechanism_parts import CLAIM, show_kinds
from vibsim.show.mechanism_scene import make_scene, present_kinds
from vibsim.show.style import INK, colour, cut, into_folder, new_figure, plain
from vibsim.studies.balance import NEGLIGIBLE, Balance
from vibsim.studies.position import ALIKE, OnePosition, angle_words, claim_words, listed, remaining_words

WIDTH, HEIGHT = 13.0, 7.0  # inches
LONGEST = 122  # characters the title holds
LETTERS = 190  # characters a line holds
LEAST, GREATEST = (colour(2), "v"), (colour(1), "^")


def draw_explanation(engine: Engine, balance: Balance, position: OnePosition, title: str, folder: Path) -> list[Path]:
    """Write explain.png into a folder, made if absent."""
    speed = balance.about_crank.speed * 30.0 / math.pi
    heading = f"Crank angle {angle_words(position.angle, 3)} against the whole revolution · {speed:.0f} rpm · {title}"
    figure = new_figure(WIDTH, HEIGHT, cut(heading, LONGEST))
    figure.text(
        0.01, 1.0 - 0.42 / HEIGHT, _sentences(balance, position), fontsize=9, color=INK, va="top", linespacing=1.35
    )
    scene = make_scene(engine, balance, np.array([position.angle]))
    front = figure.add_axes((0.005, 0.09, 0.42, 0.70))
    view = FrontView(front, scene)
    view.move(0)
    words = f"At {angle_words(position.angle, 3)}: sum {plain_size(abs(position.force_at))} N"
    front.set_title(words, fontsize=10, loc="left", color=INK)
    show_kinds(figure, present_kinds(scene))
    _courses(figure, balance, position)
    return into_folder({"explain.png": figure}, folder)


def _sentences(balance: Balance, position: OnePosition) -> str:
    """A line each for what remains: first order, the counterweight that would cancel it here, all else."""
    first, *rest = remaining_words(balance, position)
    lines = [first]
    if rest and claim_words(balance, position):
        lines.append(rest.pop(0))
    lines.append("; ".join([*rest, units(balance)]))
    return "\n".join(cut(line[0].upper() + line[1:], LETTERS) for line in lines)


def _courses(figure: Figure, balance: Balance, position: OnePosition) -> None:
    force = figure.add_axes((0.50, 0.52, 0.475, 0.27))
    _without_cursor(force_course(force, balance))
    _marks(force, balance, position)
    turning = figure.add_axes((0.475, 0.115, 0.24, 0.30))
    free = balance.about_crank
    hodograph(turning, free.force, free.turns, balance.unit, "Force on the block, N", "F")
    if abs(position.force_at) >= NEGLIGIBLE * balance.unit:
        turning.plot(position.force_at.imag, position.force_at.real, "*", color=INK, mfc=CLAIM, ms=13, zorder=5)
    last = figure.add_axes((0.775, 0.13, 0.20, 0.285))
    if position.backward < NEGLIGIBLE * balance.unit and balance.couple.major.max() > NEGLIGIBLE * balance.couple_unit:
        _without_cursor(couple_course(last, balance))
        at, size = math.degrees(position.angle), abs(position.couple_at)
        mark_claim(last, at, f"{plain_size(size)} N m")
        last.plot([at], [size], "*", color=INK, mfc=CLAIM, ms=13, zorder=5)
    else:
        _chosen_here(last, balance, position)


def _without_cursor(view: CourseView) -> None:
    for artist in view.artists:
        artist.remove()


def _marks(axes: Axes, balance: Balance, position: OnePosition) -> None:
    """The claimed angle, and where the force is least and greatest."""
    at, size = math.degrees(position.angle), abs(position.force_at)
    if position.force_greatest < NEGLIGIBLE * balance.unit:
        mark_claim(axes, at, f"claimed {angle_words(position.angle, 3)}")
        return
    mark_claim(axes, at, f"claimed {angle_words(position.angle, 3)}: {plain_size(size)} N")
    axes.plot([at], [size], "*", color=INK, mfc=CLAIM, ms=13, zorder=5)
    if position.force_greatest - position.force_least < ALIKE * position.force_greatest:
        return
    for angles, value, (tint, sign), word in (
        (position.least_angles, position.force_least, LEAST, "least"),
        ((position.greatest_angle,), position.force_greatest, GREATEST, "greatest"),
    ):
        places = [math.degrees(angle) for angle in angles]
        label = f"{word} {plain_size(value)} N at {listed(angles)}"
        axes.plot(
            places, [value] * len(places), sign, color=tint, mec=INK, ms=8, ls="", zorder=4, label=label, clip_on=False
        )
    axes.legend(fontsize=8, ncols=2, frameon=False, loc="lower right", bbox_to_anchor=(1.0, 0.99), borderpad=0.1)


def _chosen_here(axes: Axes, balance: Balance, position: OnePosition) -> None:
    """The first order with a counterweight chosen so that it vanishes here, and with the best one.

    Derived: the backward part Q stays; the chosen counterweight meets it head on here, so |2·Q·sin(θ − here)| is left.
    """
    plain(axes, "First order with a counterweight", "crank angle, °", "N")
    backward = position.backward
    angles = np.linspace(0.0, 360.0, 361)
    if backward < NEGLIGIBLE * balance.unit:
        axes.text(0.5, 0.55, "cancels at every angle", ha="center", transform=axes.transAxes, color=INK, fontsize=9)
        axes.set_yticks([0.0])
    else:
        left = 2.0 * backward * np.abs(np.sin(np.radians(angles) - position.angle))
        axes.plot(angles, left, color=colour(3), lw=1.8, label="chosen to cancel here")
        axes.axhline(backward, color=colour(5), lw=1.8, ls="--", label="best")
        axes.plot(
            [math.degrees(position.angle) % 360.0], [0.0], "*", color=INK, mfc=CLAIM, ms=13, zorder=5, clip_on=False
        )
        axes.set_ylim(0.0, 2.7 * backward)
        axes.legend(fontsize=8, frameon=False, ncols=2, loc="upper right", borderpad=0.1)
    axes.set_xlim(0.0, 360.0)
    axes.set_xticks([0, 90, 180, 270, 360])
