"""Even and uneven firing in one picture: torque, orders, speed, what is felt, what is heard."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MultipleLocator

from vibsim.show.style import LONGEST_TITLE, colour, cut, into_folder, line, new_figure, plain, short
from vibsim.studies.evenness import RPM, FiringCase

HIGHEST_ORDER = 6.0
HEARD = 0.06  # s of sound drawn


def evenness_figure(found: list[FiringCase]) -> Figure:
    """Torque over a cycle; its orders and crank speed; sensors and sound."""
    mean = 1.0 / float(np.mean(1.0 / found[0].speed))
    names = " and ".join(case.name for case in found)
    figure = new_figure(12.0, 9.6, cut(f"Firing compared · {mean * RPM:.0f} rpm · {names}", LONGEST_TITLE))
    grid = figure.add_gridspec(3, 2, left=0.085, right=0.985, top=0.905, bottom=0.065, hspace=0.42, wspace=0.16)
    torque = plain(figure.add_subplot(grid[0, :]), "Net torque; ticks: firings", "crank angle, °", "torque, N m")
    _over_cycle(torque, found)
    _orders(plain(figure.add_subplot(grid[1, 0]), "Net torque per order", "engine order", "amplitude, N m"), found)
    speed = plain(figure.add_subplot(grid[1, 1]), "Crank speed", "crank angle, °", "speed, rpm")
    for index, case in enumerate(found):
        label = f"fluctuation {100.0 * case.cyclic['speed_fluctuation']:.2f} %"
        speed.plot(np.degrees(case.angle), case.speed * RPM, line(index), color=colour(index), lw=1.6, label=label)
    _finish(speed, found)
    _felt(figure.add_subplot(grid[2, 0]), found)
    _heard(figure.add_subplot(grid[2, 1]), found)
    return figure


def _over_cycle(axes: Axes, found: list[FiringCase]) -> None:
    low = min(float(case.torque.min()) for case in found)
    high = max(float(case.torque.max()) for case in found)
    for index, case in enumerate(found):
        intervals = "–".join(f"{np.degrees(angle):.0f}" for angle in case.intervals)
        label = f"{cut(case.name, 40)} ({intervals}°), rms {case.ripple.rms:.0f} N m"
        axes.plot(np.degrees(case.angle), case.torque, line(index), color=colour(index), lw=1.8, label=label)
        place = low - (0.10 + 0.09 * index) * (high - low)
        fired = [np.degrees(angle) for _, angle in case.firing]
        axes.plot(fired, [place] * len(fired), "|", color=colour(index), ms=11.0, mew=2.4)
    _finish(axes, found)


def _finish(axes: Axes, found: list[FiringCase]) -> None:
    axes.set_xlim(0.0, max(round(float(np.degrees(case.angle[-1] + case.angle[1]))) for case in found))
    axes.xaxis.set_major_locator(MultipleLocator(90.0))
    axes.legend(fontsize=8, ncols=3, frameon=False, loc="lower right", bbox_to_anchor=(1.0, 0.985))


def _orders(axes: Axes, found: list[FiringCase]) -> None:
    spacing = min(float(case.orders.order[1]) for case in found)
    width = 0.8 * spacing / len(found)
    for index, case in enumerate(found):
        shown = (case.orders.order > 0.0) & (case.orders.order <= HIGHEST_ORDER)
        place = case.orders.order[shown] + (index - 0.5 * (len(found) - 1)) * width
        axes.bar(place, case.orders.amplitude[shown], width, color=colour(index), label=cut(case.name, 30))
    axes.set_xlim(0.0, HIGHEST_ORDER + spacing)
    axes.xaxis.set_major_locator(MultipleLocator(0.5))
    axes.legend(fontsize=8, frameon=False)


def _felt(axes: Axes, found: list[FiringCase]) -> None:
    """Bars per sensor: pale unweighted, full weighted where people touch it."""
    names = list(dict.fromkeys(item.name for case in found for item in case.felt))
    plain(axes, "Felt: pale unweighted, full weighted for seat or grip", "rms, m/s²", "")
    if not names:
        axes.text(0.5, 0.5, "no sensors in the cases", ha="center", va="center", transform=axes.transAxes)
        return
    height = 0.8 / len(found)
    for index, case in enumerate(found):
        for item in case.felt:
            place = names.index(item.name) + (index - 0.5 * (len(found) - 1)) * height
            axes.barh(place, item.rms, height, color=colour(index), alpha=0.35)
            if item.weighted is not None:
                axes.barh(place, item.weighted, height, color=colour(index))
    contact = {item.name: item.contact for case in found for item in case.felt}
    labels = [name if contact[full] == "plain" else f"{name}\n({contact[full]})"
              for name, full in zip(short(names), names, strict=True)]  # fmt: skip
    axes.set_yticks(range(len(names)), labels)
    axes.invert_yaxis()


def _heard(axes: Axes, found: list[FiringCase]) -> None:
    """The same stretch of sound of every case, one below the other."""
    sounds = [next((sound for sound in case.sounds if sound.unit == "Pa"), None) for case in found]
    loudest = max((sound.peak for sound in sounds if sound is not None), default=1.0)
    plain(axes, "Firing pulses through a simple exhaust, at 1 m", "time, s", "sound pressure, Pa, shifted")
    for index, sound in enumerate(sounds):
        if sound is None:
            continue
        count = min(len(sound.samples), int(HEARD * sound.rate))
        shift = -2.8 * loudest * index
        axes.axhline(shift, color="#BBBBBB", lw=0.6)
        times = np.arange(count) / sound.rate
        axes.plot(times, shift + sound.samples[:count], color=colour(index), lw=1.1)
        words = f"{cut(found[index].name, 40)}: rms {sound.rms:.1f} Pa"
        axes.annotate(words, (0.0, shift + 1.08 * loudest), (4, 0), textcoords="offset points", fontsize=8,
                      color=colour(index), fontweight="bold")  # fmt: skip
    axes.set_xlim(0.0, HEARD)
    axes.set_ylim(-2.8 * loudest * (len(found) - 1) - 1.2 * loudest, 1.45 * loudest)


def draw_evenness(found: list[FiringCase], folder: Path) -> list[Path]:
    """evenness.png in a folder."""
    return into_folder({"evenness.png": evenness_figure(found)}, folder)
