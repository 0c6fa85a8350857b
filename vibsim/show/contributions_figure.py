"""Contributions to a sensor as ranked bars: who is to blame, and who cancels."""

from __future__ import annotations

from pathlib import Path

from matplotlib.axes import Axes
from matplotlib.patches import Patch

from vibsim.show.contributions_tables import heading, shown
from vibsim.show.style import INK, LONGEST_TITLE, colour, cut, into_folder, new_figure, plain
from vibsim.studies.blame import blame
from vibsim.studies.contributions import EVERY, By, Contributions, Share

MOST_BARS, FEWEST_ROWS = 9, 4
TITLES: dict[By, str] = {
    "mount": "Through which mount",
    "cylinder": "From which cylinder",
    "source": "From which source",
    "order": "At which engine order",
}
ADDS, CANCELS = colour(0), colour(4)


def draw_contributions(found: Contributions, folder: Path, name: str = "contributions.png") -> list[Path]:
    """Write contributions.png into a folder, made if absent, or under another name."""
    figure = new_figure(12.0, 7.0, cut(f"Contributions · {heading(found)}", LONGEST_TITLE))
    words = f"{cut(found.title, 60)} · {found.rms:.3g} m/s² rms, unweighted, linear model"
    text = f"{cut(blame(found).words, 180)}\n{words}"
    figure.text(0.01, 1.0 - 0.42 / 7.0, text, fontsize=9, color=INK, va="top", linespacing=1.4)
    grid = figure.add_gridspec(2, 2, left=0.15, right=0.985, top=0.835, bottom=0.11, wspace=0.42, hspace=0.38)
    for n, what in enumerate(EVERY):
        bars = shown(found, what)
        axes = figure.add_subplot(grid[n // 2, n % 2])
        plain(axes, TITLES[what], "share in phase with the whole, %" if n > 1 else "", "")
        _bars(axes, _few(bars))
    entries = [
        Patch(color=ADDS, label="adds to the whole"),
        Patch(facecolor=CANCELS, hatch="///", edgecolor="white", label="cancels others; a panel adds up to 100 %"),
    ]
    figure.legend(handles=entries, loc="lower right", ncols=2, fontsize=9, frameon=False)
    return into_folder({name: figure}, folder)


def _few(items: list[Share]) -> list[Share]:
    """Those worth a bar, ranked; what is left in one."""
    if len(items) <= MOST_BARS:
        return items
    strong = sorted(items, key=lambda item: -abs(item.share))[: MOST_BARS - 1]
    rest = sum(item.share for item in items if item not in strong)
    ranked = sorted(strong, key=lambda item: -item.share)
    return [*ranked, Share(f"{len(items) - len(strong)} others", items[0].amplitude, 0.0, rest)]


def _bars(axes: Axes, items: list[Share]) -> None:
    place = range(len(items))[::-1]
    shares = [100.0 * item.share for item in items]
    low, high = min([0.0, *shares]), max([0.0, *shares])
    room = 0.3 * (high - low or 1.0)
    for y, share in zip(place, shares, strict=True):
        style = {"color": ADDS} if share >= 0.0 else {"color": CANCELS, "hatch": "///", "edgecolor": "white"}
        axes.barh(y, share, 0.66, **style)  # type: ignore[arg-type]
        side = 1.0 if share >= 0.0 else -1.0
        words = f"{share:.{1 if abs(share) < 1000.0 else 0}f} %".replace("-", "−")
        axes.text(share + side * 0.05 * room, y, words, va="center", ha="left" if side > 0 else "right", fontsize=8.5)
    axes.set_yticks(list(place), [cut(item.name, 24) for item in items], fontsize=8.5)
    axes.set_xlim(low - (room if low < 0.0 else 0.0), high + room)
    axes.set_ylim(len(items) - 0.4 - max(len(items), FEWEST_ROWS), len(items) - 0.4)
    axes.axvline(0.0, color=INK, lw=0.8)
    axes.grid(False, axis="y")
