"""Pictures of mounts: load against deflection, dynamic stiffness and loss angle; data and fit of a law."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes

from vibsim.show.style import INK, LONGEST_TITLE, colour, cut, into_folder, line, new_figure, plain
from vibsim.structure.mount_fit import Fit
from vibsim.studies.mounts import Mounts, MountSeen, load_curve, sweep

AXES = ("x", "y", "z")


def draw_mounts(found: Mounts, folder: Path) -> list[Path]:
    """Write mount-<n>.png for each mount into a folder, made if absent."""
    figures = {f"mount-{n}.png": _mount_figure(found, seen) for n, seen in enumerate(found.mounts, start=1)}
    return into_folder(figures, folder)


def _mount_figure(found: Mounts, seen: MountSeen):
    law = seen.mount.law  # type: ignore[attr-defined]
    figure = new_figure(13.0, 4.6, cut(f"Mount '{seen.mount.name}', law {law} · {found.title}", LONGEST_TITLE))
    grid = figure.add_gridspec(1, 3, left=0.06, right=0.985, top=0.82, bottom=0.13, wspace=0.27)
    load, size, angle = (figure.add_subplot(grid[0, n]) for n in range(3))
    plain(load, "Load against slow deflection", "deflection, mm", "force that holds it, N")
    plain(size, "Dynamic stiffness at rest", "frequency, Hz", "N/mm")
    plain(angle, "Loss angle at rest", "frequency, Hz", "degrees")
    for k, axis in enumerate(AXES):
        places, force = load_curve(found, seen, k)
        load.plot(1e3 * places, force, color=colour(k), linestyle=line(k), label=axis)
        at = float(seen.deflection[k])
        held = force[0] if places[0] == at else np.interp(at, places, force)
        load.plot([1e3 * at], [held], "o", color=colour(k), markersize=6)
        curves = sweep(found, seen, k)
        for style, (label, frequency, values) in enumerate(curves):
            name = axis if label == "small motion" else f"{axis}, {label}"
            dash = line(k) if len(curves) == 1 else ("-", ":")[style]
            for axes, shown in ((size, 1e-3 * np.abs(values)), (angle, np.degrees(np.angle(values + 1e-9)))):
                axes.plot(frequency, shown, color=colour(k), linestyle=dash, label=name)
    for axes in (size, angle):
        _log_frequency(axes)
    size.set_ylim(bottom=0.0)
    load.legend(fontsize=8, frameon=False, title="axis, dot: at rest", title_fontsize=8)
    size.legend(fontsize=8, frameon=False)
    return figure


def _log_frequency(axes: Axes) -> None:
    axes.set_xscale("log")
    ticks = [tick for tick in (1, 2, 5, 10, 20, 50, 100, 200, 500) if axes.get_xlim()[0] <= tick <= axes.get_xlim()[1]]
    axes.set_xticks(ticks, [str(tick) for tick in ticks])
    axes.set_xticks([], minor=True)


def draw_fit(fit: Fit, folder: Path) -> list[Path]:
    """Write fit-<law>.png: data, fit and the error of every point."""
    worst = int(fit.error.argmax())
    rms = float(np.sqrt(np.mean(fit.error**2)))
    shown = f"rms error {100 * rms:.1f} %, greatest {100 * fit.error[worst]:.1f} %"
    title = f"{fit.law} fitted to {fit.data.path.name}: {shown}"
    figure = new_figure(13.0, 4.6, cut(title, LONGEST_TITLE))
    grid = figure.add_gridspec(1, 3, left=0.06, right=0.985, top=0.82, bottom=0.13, wspace=0.27)
    size, angle, error = (figure.add_subplot(grid[0, n]) for n in range(3))
    data = fit.data
    over = data.frequency if data.frequency is not None else 1e3 * data.amplitude  # type: ignore[operator]
    place = "frequency, Hz" if data.frequency is not None else "amplitude, mm"
    plain(size, "Dynamic stiffness", place, "N/mm")
    plain(angle, "Loss angle", place, "degrees")
    plain(error, "Distance of the fit from each point", place, "% of the measured stiffness")
    size.plot(over, 1e-3 * data.stiffness, "o", color=INK, markersize=4, label="measured")
    size.plot(over, 1e-3 * np.abs(fit.fitted), color=colour(0), label="fit")
    if data.loss_angle is not None:
        angle.plot(over, np.degrees(data.loss_angle), "o", color=INK, markersize=4, label="measured")
    angle.plot(over, np.degrees(np.angle(fit.fitted)), color=colour(0), label="fit")
    error.vlines(over, 0.0, 100.0 * fit.error, color=colour(1), linewidth=1.5)
    error.plot(over, 100.0 * fit.error, "o", color=colour(1), markersize=4)
    error.set_ylim(bottom=0.0)
    size.set_ylim(bottom=0.0)
    for axes in (size, angle):
        axes.legend(fontsize=8, frameon=False)
    return into_folder({f"fit-{fit.law}.png": figure}, folder)
