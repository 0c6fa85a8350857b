"""Frequency weightings of human exposure: how much a vibration counts, by frequency and direction.

Band limits, transition and step as in ISO 8041-1 (parameters from a copy of its table; the formula from memory).
"""

from __future__ import annotations

import math
from typing import Literal, NamedTuple

import numpy as np

Contact = Literal["plain", "seat", "grip"]


class Weighting(NamedTuple):
    """Corner frequencies in Hz and resonant quotients; f5, f6 of the upward step, zero if there is none."""

    f1: float
    f2: float
    f3: float
    f4: float
    q4: float
    f5: float = 0.0
    q5: float = 0.0
    f6: float = 0.0
    q6: float = 0.0


WEIGHTINGS = {
    "Wk": Weighting(0.4, 100.0, 12.5, 12.5, 0.63, 2.37, 0.91, 3.35, 0.91),
    "Wd": Weighting(0.4, 100.0, 2.0, 2.0, 0.63),
    "Wh": Weighting(10.0**0.8, 10.0**3.1, 100.0 / (2.0 * math.pi), 100.0 / (2.0 * math.pi), 0.64),
}
# by direction X, Y, Z: whole body through a seat (ISO 2631-1), hand and arm through a grip (ISO 5349-1)
CONTACTS: dict[Contact, tuple[str, str, str] | None] = {
    "plain": None,
    "seat": ("Wd", "Wd", "Wk"),
    "grip": ("Wh", "Wh", "Wh"),
}


def weight_at(name: str, frequency: np.ndarray | float) -> np.ndarray:
    """Size of a weighting ("Wk", "Wd", "Wh") at frequencies (...) in Hz."""
    w, s = WEIGHTINGS[name], 2j * np.pi * np.asarray(frequency, dtype=float)
    w1, w2, w3, w4 = (2.0 * math.pi * corner for corner in (w.f1, w.f2, w.f3, w.f4))
    root = math.sqrt(2.0)
    band = s**2 / (s**2 + root * w1 * s + w1**2) * w2**2 / (s**2 + root * w2 * s + w2**2)
    transition = (1.0 + s / w3) / (1.0 + s / (w.q4 * w4) + (s / w4) ** 2)
    size = np.abs(band * transition)
    if w.f5:
        w5, w6 = 2.0 * math.pi * w.f5, 2.0 * math.pi * w.f6
        step = (1.0 + s / (w.q5 * w5) + (s / w5) ** 2) / (1.0 + s / (w.q6 * w6) + (s / w6) ** 2)
        size = size * np.abs(step) * (w.f5 / w.f6) ** 2
    return size


def axis_weights(contact: Contact, frequency: float) -> np.ndarray:
    """Weights (3) of X, Y, Z at a frequency in Hz; ones for "plain"."""
    names = CONTACTS[contact]
    return np.ones(3) if names is None else np.array([float(weight_at(name, frequency)) for name in names])
