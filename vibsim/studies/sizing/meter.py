"""A measure ready to be read from the bench's answers."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from vibsim.studies.sizing.bench import Answers

RPM = 30.0 / math.pi
Read = Callable[[Answers], np.ndarray]


@dataclass(frozen=True)
class Meter:
    """A measure ready to read: `sign` +1 where less is better, −1 where more is; shown value = value / scale `unit`.

    `target`, `most`, `least` in SI or None. `speeds` (n) rad/s and `orders` of one that is read over speeds, and
    `curve`, which gives its value at every speed (candidates, n); `alone(k)` the same of order k by itself.
    """

    name: str
    unit: str
    scale: float
    sign: float
    read: Read
    target: float | None = None
    most: float | None = None
    least: float | None = None
    speeds: tuple[float, ...] = ()
    orders: tuple[float, ...] = ()
    curve: Read | None = None
    alone: Callable[[int], Read] | None = None
    model: Any = None

    def broken(self, values: np.ndarray) -> np.ndarray:
        """By how much values break the limit, as a share of it; 0 where they keep it, 1000 where there is no value."""
        over = np.zeros(len(values))
        for bound, sign in ((self.most, 1.0), (self.least, -1.0)):
            if bound is not None:
                over = np.maximum(over, sign * (values - bound) / max(abs(bound), 1e-9))
        return np.where(np.isfinite(values), np.maximum(over, 0.0), 1e3)

    def holds(self, values: np.ndarray) -> np.ndarray:
        """Whether values reach the target and keep the bounds."""
        good = self.broken(values) == 0.0
        if self.target is not None:
            good &= self.sign * (values - self.target) <= 0.0
        return good
