"""One line of the table of measured figures."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np


class Figure(NamedTuple):
    """One line of the table: `best` and `worst` of the repeats; `most` says whether the target is a ceiling."""

    key: str
    meaning: str
    unit: str
    best: float
    worst: float
    target: float | None = None
    most: bool = True

    @property
    def met(self) -> bool | None:
        if self.target is None:
            return None
        return self.best < self.target if self.most else self.best >= self.target


def ratio(key: str, meaning: str, other: np.ndarray, own: np.ndarray, target: float) -> Figure:
    """Best time over best time; the worst is the lowest ratio of any repeat."""
    return Figure(key, meaning, "x", other.min() / own.min(), (other / own).min(), target, False)
