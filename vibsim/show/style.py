"""One look for all figures: colours told apart by all eyes, and by line style too."""

from __future__ import annotations

from pathlib import Path

from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from vibsim.inputs.errors import VibsimError

# Okabe & Ito 2008, a published palette for colour-blind readers
COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9", "#000000")
LINES = ("-", "--", "-.", ":")
LONGEST_NAME, LONGEST_TITLE = 22, 105  # characters
INK, FAINT = "#222222", "#BBBBBB"


def new_figure(width: float, height: float, title: str) -> Figure:
    """An empty figure (inches) with its title; drawn without a screen."""
    figure = Figure(figsize=(width, height), dpi=100)
    FigureCanvasAgg(figure)
    figure.text(0.01, 1.0 - 0.12 / height, title, fontsize=12, fontweight="bold", color=INK, va="top")
    return figure


def save(figure: Figure, path: Path) -> Path:
    """Write a figure as PNG, drawn once (`savefig` draws twice); beside first, so that no half picture stays."""
    beside = path.with_suffix(".part")
    canvas = figure.canvas
    assert isinstance(canvas, FigureCanvasAgg)
    try:
        canvas.print_png(beside, pil_kwargs={"compress_level": 2, "format": "png"})
        return beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)


def into_folder(figures: dict[str, Figure], folder: Path) -> list[Path]:
    """Write figures by file name into a folder, made if absent. Raises VibsimError when that cannot be done."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        return [save(figure, folder / name) for name, figure in figures.items()]
    except OSError as error:
        raise VibsimError(f"{folder}: figures cannot be written ({error.strerror}); expected a folder") from None


def plain(axes: Axes, title: str, x: str, y: str) -> Axes:
    """Title, labels and quiet frame of one plot."""
    axes.set_title(title, fontsize=10, loc="left", color=INK)
    axes.set_xlabel(x, fontsize=9)
    axes.set_ylabel(y, fontsize=9)
    axes.tick_params(labelsize=8, length=0.0, bottom=False, left=False)
    axes.grid(True, color="#E5E5E5", linewidth=0.6)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    return axes


def cut(text: str, longest: int) -> str:
    """Text that fits, with a dollar sign taken as such and not as the start of a formula."""
    text = text if len(text) <= longest else text[: longest - 1] + "…"
    return text.replace("$", r"\$")


def short(names: list[str]) -> list[str]:
    """Names that fit beside an axis."""
    return [cut(name, LONGEST_NAME) for name in names]


def colour(index: int) -> str:
    return COLOURS[index % len(COLOURS)]


def line(index: int) -> str:
    return LINES[(index // len(COLOURS) + index) % len(LINES)]
