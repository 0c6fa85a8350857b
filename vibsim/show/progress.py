"""A progress bar with time left, shown once a run has taken two seconds."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from types import TracebackType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.progress import Progress

PATIENCE = 2.0  # s
COUNTED = "points"  # the phase whose rate is shown
_hidden = False


@contextmanager
def hidden() -> Iterator[None]:
    """No progress is shown meanwhile."""
    global _hidden
    _hidden = True
    try:
        yield
    finally:
        _hidden = False


class ProgressLine:
    """Progress sink for `simulate`: call with phase, done, total. Draws on a terminal's standard error alone."""

    def __init__(self, quiet: bool = False):
        self._shown = not (quiet or _hidden) and sys.stderr.isatty()
        self._begin = time.monotonic()
        self._bar: Progress | None = None
        self._tasks: dict[str, int] = {}

    def __enter__(self) -> ProgressLine:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._bar is not None:
            self._bar.stop()

    def __call__(self, phase: str, done: float, total: float) -> None:
        if not self._shown or time.monotonic() - self._begin < PATIENCE:
            return
        if self._bar is None:
            self._bar = _new_bar()
            self._bar.start()
        if phase not in self._tasks:
            # what a resumed sweep begins with counts for no rate
            self._tasks[phase] = self._bar.add_task(phase, total=total, completed=done)  # type: ignore[arg-type]
        self._bar.update(self._tasks[phase], completed=done)  # type: ignore[arg-type]


def _new_bar() -> Progress:
    from rich.console import Console
    from rich.progress import (
        BarColumn,
        Progress,
        ProgressColumn,
        Task,
        TaskProgressColumn,
        TextColumn,
        TimeRemainingColumn,
    )
    from rich.text import Text

    class Rate(ProgressColumn):
        """Points a second of a sweep; other phases count seconds, not things."""

        def render(self, task: Task) -> Text:
            if task.description != COUNTED or not task.speed:
                return Text("")
            return Text(f"{task.completed:.0f} of {task.total:.0f}, {task.speed:.3g} {COUNTED}/s")

    columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), Rate(), TimeRemainingColumn())
    return Progress(*columns, console=Console(stderr=True), transient=True)
