"""What can be off in a crank train as built, and by how much. Plain data, so that the command line can list it fast."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Source:
    """One kind of error: its key, its option at the command line, what it is in words, its usual half-width in `unit`
    (common practice of car and motorcycle engines, no source) and the factor from `unit` to SI."""

    key: str
    option: str
    words: str
    usual: float
    unit: str
    factor: float


GRAM, GRAM_MM, DEGREE = 1e-3, 1e-6, math.pi / 180.0
SOURCES = (
    Source("piston", "--piston-g", "piston set", 2.0, "g", GRAM),
    Source("small_end", "--small-end-g", "rod small end", 1.5, "g", GRAM),
    Source("big_end", "--big-end-g", "rod big end", 2.0, "g", GRAM),
    Source("crank", "--counterweight-g-mm", "crank unbalance", 100.0, "g mm", GRAM_MM),
    Source("pin", "--pin-deg", "crankpin angle", 0.15, "°", DEGREE),
    Source("bank", "--bank-deg", "bank angle", 0.05, "°", DEGREE),
    Source("shaft", "--shaft-g-mm", "balance shaft unbalance", 10.0, "g mm", GRAM_MM),
    Source("shaft_angle", "--shaft-deg", "balance shaft timing", 0.5, "°", DEGREE),
)
KEYS = tuple(source.key for source in SOURCES)
MASSES, UNBALANCES = ("piston", "small_end", "big_end"), ("crank", "shaft")
