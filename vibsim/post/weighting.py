"""Frequency weightings of human exposure: how much a vibration counts, by frequency and direction.

Band limits, transition and step as in ISO 8041-1 (parameters from a copy of its table, those of Wc from a public filter
routine for BS 6841; the formula from memory). Every weighting is a chain of second-order sections.
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


class Section(NamedTuple):
    """One part of a weighting, (b2 s² + b1 s + b0)/(s² + a1 s + a0), s in rad/s; `corner` (Hz) that it is known by."""

    b2: float
    b1: float
    b0: float
    a1: float
    a0: float
    corner: float


WEIGHTINGS = {
    "Wk": Weighting(0.4, 100.0, 12.5, 12.5, 0.63, 2.37, 0.91, 3.35, 0.91),
    "Wd": Weighting(0.4, 100.0, 2.0, 2.0, 0.63),
    "Wc": Weighting(0.4, 100.0, 8.0, 8.0, 0.63),
    "Wh": Weighting(10.0**0.8, 10.0**3.1, 100.0 / (2.0 * math.pi), 100.0 / (2.0 * math.pi), 0.64),
}
# by direction X, Y, Z: whole body through a seat (ISO 2631-1), hand and arm through a grip (ISO 5349-1)
CONTACTS: dict[Contact, tuple[str, str, str] | None] = {
    "plain": None,
    "seat": ("Wd", "Wd", "Wk"),
    "grip": ("Wh", "Wh", "Wh"),
}


def sections_of(name: str) -> list[Section]:
    """High pass, low pass, transition and, where there is one, step of a weighting ("Wk", "Wd", "Wc", "Wh")."""
    w = WEIGHTINGS[name]
    w1, w2, w3, w4 = (2.0 * math.pi * corner for corner in (w.f1, w.f2, w.f3, w.f4))
    root = math.sqrt(2.0)
    found = [
        Section(1.0, 0.0, 0.0, root * w1, w1**2, w.f1),
        Section(0.0, 0.0, w2**2, root * w2, w2**2, w.f2),
        Section(0.0, w4**2 / w3, w4**2, w4 / w.q4, w4**2, w.f4),
    ]
    if w.f5:
        w5, w6 = 2.0 * math.pi * w.f5, 2.0 * math.pi * w.f6
        # (1 + s/(Q5 w5) + (s/w5)²)/(1 + s/(Q6 w6) + (s/w6)²)·(w5/w6)², times w6² above and below
        found.append(Section(1.0, w5 / w.q5, w5**2, w6 / w.q6, w6**2, w.f6))
    return found


def section_at(section: Section, frequency: np.ndarray | float) -> np.ndarray:
    """Complex transfer function of one section at frequencies (...) in Hz."""
    s = 2j * np.pi * np.asarray(frequency, dtype=float)
    above = section.b2 * s**2 + section.b1 * s + section.b0
    return above / (s**2 + section.a1 * s + section.a0)


def transfer_at(name: str, frequency: np.ndarray | float) -> np.ndarray:
    """Complex transfer function of a weighting at frequencies (...) in Hz."""
    return np.prod([section_at(section, frequency) for section in sections_of(name)], axis=0)


def weight_at(name: str, frequency: np.ndarray | float) -> np.ndarray:
    """Size of a weighting ("Wk", "Wd", "Wc", "Wh") at frequencies (...) in Hz."""
    return np.abs(transfer_at(name, frequency))


def axis_weights(contact: Contact, frequency: float) -> np.ndarray:
    """Weights (3) of X, Y, Z at a frequency in Hz; ones for "plain"."""
    names = CONTACTS[contact]
    return np.ones(3) if names is None else np.array([float(weight_at(name, frequency)) for name in names])
