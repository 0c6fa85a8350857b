"""One picture of a cure: the force's path before and after, and what mounts and sensors feel."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from vibsim.inputs.errors import VibsimError
from vibsim.inputs.loader import CaseFile
from vibsim.show.style import FAINT, LONGEST_TITLE, colour, cut, new_figure, plain, save, short
from vibsim.studies.balance import NEGLIGIBLE, Balance, find_balance
from vibsim.studies.cures.cure import Cure, cured


def draw_cure(case_file: CaseFile, cure: Cure, speed: float, found: dict[str, Any], folder: Path) -> list[Path]:
    """Write cure.png into a folder, made if absent."""
    title = f"Before and after · {speed * 30.0 / math.pi:.0f} rpm · {case_file.case.case.title or case_file.name}"
    figure = new_figure(11.0, 5.0, cut(title, LONGEST_TITLE))
    balances = find_balance(case_file, speed), find_balance(cured(case_file, cure), speed)
    felt = [row for row in found["felt"] if row["what"].endswith(", rms")]
    columns = 3 if felt else 2
    grid = figure.add_gridspec(2, columns, left=0.075, right=0.985, top=0.84, bottom=0.11, wspace=0.55, hspace=0.6)
    for column, (what, name) in enumerate((("force", "Force on the block, N"), ("couple", "Couple, mid-throws, N m"))):
        _paths(
            plain(figure.add_subplot(grid[:, column]), name, "a quarter turn ahead", "along the reference"),
            balances,
            what,
        )
    for row, (kind, unit) in enumerate((("mount", "N rms"), ("sensor", "m/s² rms"))):
        rows = [item for item in felt if item["what"].startswith(kind)]
        if rows:
            _bars(plain(figure.add_subplot(grid[row, 2]), f"Each {kind}, forecast", unit, ""), rows, kind)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        return [save(figure, folder / "cure.png")]
    except OSError as error:
        raise VibsimError(f"{folder}: figures cannot be written ({error.strerror}); expected a folder") from None


def _paths(axes: Axes, balances: tuple[Balance, Balance], what: str) -> None:
    axes.axhline(0.0, color=FAINT, lw=0.8)
    axes.axvline(0.0, color=FAINT, lw=0.8)
    size = 0.0
    for index, (balance, label) in enumerate(zip(balances, ("before", "after"), strict=True)):
        centred = balance.about_crank.about(np.array([balance.middle, 0.0, 0.0]))
        values = getattr(centred, what)
        scale = balance.unit if what == "force" else balance.couple_unit
        size = max(size, float(np.abs(values).max()))
        closed = np.append(values, values[0])
        axes.plot(closed.imag, closed.real, "-" if index else "--", color=colour(index), lw=1.8, label=label)
    if size < NEGLIGIBLE * scale:
        axes.text(0.5, 0.6, "none", ha="center", transform=axes.transAxes)
        size = scale
    axes.set_aspect("equal")
    axes.set_xlim(1.2 * size, -1.2 * size)
    axes.set_ylim(-1.2 * size, 1.2 * size)
    axes.legend(fontsize=8, frameon=False, loc="upper right")


def _bars(axes: Axes, rows: list[dict[str, Any]], kind: str) -> None:
    names = short([row["what"].removeprefix(f"{kind} ").removesuffix(", rms") for row in rows])
    place = np.arange(len(rows))
    for index, key in enumerate(("before", "after")):
        axes.barh(place + (index - 0.5) * 0.38, [row[key] for row in rows], 0.36, color=colour(index), label=key)
    axes.set_yticks(place, names)
    axes.invert_yaxis()
    if kind == "mount":
        axes.legend(fontsize=8, frameon=False)
