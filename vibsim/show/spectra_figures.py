"""Spectra of a run in pictures: density with its interval, third-octave bands, short-time spectra."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import NullLocator

from vibsim.results.labelled import Group
from vibsim.show.style import INK, LONGEST_TITLE, colour, cut, into_folder, line, new_figure, plain, short

HIGHEST = 500.0  # Hz drawn
DEPTH = 60.0  # dB below the strongest that are drawn
SEEN = 45.0  # dB below the strongest: what the frequencies drawn must reach
FAINTEST = 1e-3  # of the strongest band


def draw_spectra(found: Group, folder: Path) -> list[Path]:
    """Write density.png, third-octave.png and short-time.png into a folder, made if absent. Raises VibsimError when
    that cannot be done."""
    figures = {"density.png": density_figure(found), "short-time.png": short_time_figure(found)}
    if "third_octave" in found.groups:
        figures["third-octave.png"] = bands_figure(found)
    return into_folder(figures, folder)


def _panels(found: Group, heading: str, words: str, right: float = 0.985) -> tuple[Figure, list[Axes]]:
    """A panel per sensor below a heading and how it was made."""
    names = found.labels("sensor")
    title = cut(f"{heading} · {found.attributes['title']}", LONGEST_TITLE)
    figure = new_figure(11.0, 2.3 * len(names) + 1.4, title)
    height = figure.get_figheight()
    room = {"left": 0.075, "right": right, "top": 1.0 - 0.9 / height, "bottom": 0.55 / height, "hspace": 0.28}
    figure.text(0.01, 1.0 - 0.4 / height, words, fontsize=8.5, color=INK, va="top")
    panels = figure.subplots(len(names), 1, sharex=True, sharey=True, squeeze=False, gridspec_kw=room)[:, 0]
    return figure, list(panels)


def density_figure(found: Group) -> Figure:
    """Density at every sensor by axis, shaded within what a random signal's is known."""
    group = found.groups["density"]
    settings = group.attributes
    shown = (group["frequency"] > 0.0) & (group["frequency"] <= HIGHEST)
    words = f"one-sided, mean of {settings['segments']} Hann segments of {settings['segment_s']:.3g} s that overlap by "
    words += (
        f"half · shaded: where a random signal's lies, {settings['confidence']:.0%} ({settings['lower_factor']:.2f} "
    )
    words += f"to {settings['upper_factor']:.2f} times); lines of orders are sharper than it tells"
    figure, panels = _panels(found, "Density of acceleration", words)
    frequency, density = group["frequency"][shown], group["acceleration_density"][shown]
    top = float(density.max()) or 1.0
    for index, (axes, name) in enumerate(zip(panels, short(found.labels("sensor")), strict=True)):
        plain(axes, name, "frequency, Hz" if index == len(panels) - 1 else "", "(m/s²)²/Hz")
        for axis, letter in enumerate("XYZ"):
            level = density[:, index, axis]
            axes.semilogy(frequency, level, line(axis), color=colour(axis), lw=1.2, label=letter)
            low, high = settings["lower_factor"] * level, settings["upper_factor"] * level
            axes.fill_between(frequency, low, high, color=colour(axis), alpha=0.2, lw=0.0)
        axes.yaxis.set_minor_locator(NullLocator())
    panels[0].set_ylim(1e-7 * top, 5.0 * top)
    panels[0].set_xlim(0.0, min(HIGHEST, float(frequency[-1])))
    panels[0].legend(fontsize=8, ncols=3, frameon=False, loc="lower right", bbox_to_anchor=(1.0, 0.99))
    return figure


def bands_figure(found: Group) -> Figure:
    """Rms per third-octave band at every sensor, by axis."""
    group = found.groups["third_octave"]
    figure, panels = _panels(found, "Third-octave bands, unweighted", f"IEC 61260-1; {group.attributes['from']}")
    rms, names = group["acceleration_rms"], group["nominal"]
    strong = np.flatnonzero(rms.max(axis=(1, 2)) >= FAINTEST * rms.max())
    kept = np.arange(strong[0], strong[-1] + 1) if len(strong) else np.arange(len(rms))
    for index, (axes, name) in enumerate(zip(panels, short(found.labels("sensor")), strict=True)):
        words = f"{name}: {found['sensors/resultant_rms'][index]:.3g} m/s² rms in all"
        plain(axes, words, "third-octave band, Hz" if index == len(panels) - 1 else "", "m/s² rms")
        for axis, letter in enumerate("XYZ"):
            place = np.arange(len(kept)) + 0.27 * (axis - 1)
            axes.bar(place, rms[kept, index, axis], 0.25, color=colour(axis), label=letter)
        axes.grid(False, axis="x")
    panels[0].set_yscale("log")
    panels[0].set_ylim(0.5 * FAINTEST * rms.max(), 2.0 * rms.max())
    panels[0].yaxis.set_minor_locator(NullLocator())
    panels[-1].set_xticks(np.arange(len(kept)), [str(names[n]) for n in kept])
    panels[0].legend(fontsize=8, ncols=3, frameon=False, loc="lower right", bbox_to_anchor=(1.0, 0.99))
    return figure


def short_time_figure(found: Group) -> Figure:
    """Density over time and frequency at every sensor, all axes together."""
    group = found.groups["short_time"]
    segment = float(group.attributes["segment_s"])
    words = f"Hann segments of {segment:.3g} s, every {float(group.attributes['step_s']):.3g} s; one-sided density"
    figure, panels = _panels(found, "Short-time spectra, X, Y, Z together", words, 0.9)
    frequency = group["frequency"]
    whole = group["acceleration_density"].sum(axis=3).max(axis=(0, 2))
    strong = frequency[whole >= 10.0 ** (-0.1 * SEEN) * whole.max()]
    shown = frequency <= min(HIGHEST, 1.2 * float(strong[-1]))
    level = group["acceleration_density"][:, shown].sum(axis=3)
    top = float(level.max()) or 1.0
    decibels = 10.0 * np.log10(np.maximum(level / top, 1e-30))
    drawn = None
    for index, (axes, name) in enumerate(zip(panels, short(found.labels("sensor")), strict=True)):
        plain(axes, name, "time, s" if index == len(panels) - 1 else "", "frequency, Hz")
        drawn = axes.pcolormesh(
            group["moment"],
            frequency[shown],
            decibels[:, :, index].T,
            cmap="cividis",
            vmin=-DEPTH,
            vmax=0.0,
            shading="nearest",
        )
        axes.grid(False)
    assert drawn is not None
    height = figure.get_figheight()
    room = figure.add_axes((0.915, 0.55 / height, 0.015, 1.0 - 1.45 / height))
    bar = figure.colorbar(drawn, cax=room)
    bar.set_label(f"dB, 0 is {top:.2g} (m/s²)²/Hz", fontsize=8.5)
    room.tick_params(labelsize=8)
    return figure
