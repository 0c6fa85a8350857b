"""Permissible residual unbalance of a rotor by balance quality grade, as ISO 21940-11 (formerly ISO 1940-1) has it.

A grade G is the speed of the rotor's centre of mass, e·ω, in mm/s.
"""

from __future__ import annotations

import math

from vibsim.inputs.errors import InputError

GRADES = (0.4, 1.0, 2.5, 6.3, 16.0, 40.0, 100.0, 250.0, 630.0, 1600.0, 4000.0)  # the standard's, from memory
CRANK_GRADES = (  # the standard's table as quoted on a public page
    "G16 crankshaft drives balanced by layout, rigidly mounted; G40 the same, elastically mounted; "
    "G250 and G630 those not balanced by layout; G100 complete car and truck engines"
)
LEAST_SHARE, MOST_SHARE = 0.3, 0.7  # of the whole, in one plane; from memory


def parse_grade(word: str) -> float:
    """A grade in mm/s from `40`, `G40` or `g6.3`.

    Raises InputError for anything but a positive number.
    """
    text = word.strip()
    try:
        grade = float(text[1:] if text[:1] in ("G", "g") else text)
    except ValueError:
        grade = math.nan
    if not (math.isfinite(grade) and grade > 0.0):
        standard = ", ".join(f"G{value:g}" for value in GRADES)
        raise InputError(
            f"--grade: got '{word}'; must be a positive number in mm/s or a grade of the standard: {standard} "
            f"({CRANK_GRADES})"
        )
    return grade


def permissible_eccentricity(grade: float, speed: float) -> float:
    """Permissible specific unbalance e = G/ω, m (kg m per kg), at the service speed (rad/s), `grade` in mm/s."""
    return 1e-3 * grade / speed


def permissible_unbalance(grade: float, mass: float, speed: float) -> float:
    """Permissible residual unbalance of a rotor of `mass` (kg), kg m: 1000·G·m/ω in g mm."""
    return mass * permissible_eccentricity(grade, speed)


def allot(unbalance: float, planes: tuple[float, float], centre: float) -> tuple[float, float]:
    """The permissible unbalance of each of two planes, their places and that of the centre of mass in m.

    Lever rule: each plane gets its share as a bearing its load, no less than 0.3 and no more than 0.7 of the whole;
    equal halves when the centre of mass is midway. From memory, ISO 21940-11, tolerances of inboard rotors.
    """
    first, second = planes
    share = (centre - first) / (second - first)
    share = min(max(share, LEAST_SHARE), MOST_SHARE)
    return unbalance * (1.0 - share), unbalance * share
