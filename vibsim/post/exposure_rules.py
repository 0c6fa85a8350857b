"""What the rules on human exposure to vibration say: weightings, factors, daily values and words, as plain data.

Hand and arm: ISO 5349-1. Whole body: ISO 2631-1:1997, 7.2.3 (health) and 8.2.2 (comfort), from memory but for what
stands in `weighting`; comfort words annex C; daily values and the standing worker Directive 2002/44/EC.
"""

from __future__ import annotations

import math
from typing import NamedTuple

Three = tuple[float, float, float]
HOURS = 8.0  # of the reference day
HOUR = 3600.0  # s
STANDING = "footrest standing"


class Rule(NamedTuple):
    """How a contact is judged, by direction X, Y, Z: weightings; factors for health and for comfort, None where the
    rules judge nothing; whether the axes are added as a vector for health, or the greatest counts."""

    weightings: tuple[str, str, str]
    health: Three | None
    comfort: Three | None
    vector_sum: bool
    standard: str


class Daily(NamedTuple):
    """Daily exposure action value and limit value: A(8) in m/s², vibration dose in m/s^1.75 (None: there is none)."""

    action: float
    limit: float
    dose_action: float | None = None
    dose_limit: float | None = None


RULES = {
    "grip": Rule(("Wh", "Wh", "Wh"), (1.0, 1.0, 1.0), None, True, "ISO 5349-1, hand and arm"),
    "seat": Rule(("Wd", "Wd", "Wk"), (1.4, 1.4, 1.0), (1.0, 1.0, 1.0), False, "ISO 2631-1, seat surface"),
    "backrest": Rule(("Wc", "Wd", "Wd"), None, (0.8, 0.5, 0.4), False, "ISO 2631-1, backrest, comfort alone"),
    "footrest": Rule(("Wk", "Wk", "Wk"), None, (0.25, 0.25, 0.4), False, "ISO 2631-1, feet, comfort alone"),
    STANDING: Rule(("Wd", "Wd", "Wk"), (1.4, 1.4, 1.0), (1.0, 1.0, 1.0), False, "ISO 2631-1, standing"),
}
HAND_ARM = Daily(2.5, 5.0)
WHOLE_BODY = Daily(0.5, 1.15, 9.1, 21.0)
# m/s² rms, total of the point; they overlap on purpose
COMFORT = (
    (0.0, 0.315, "not uncomfortable"),
    (0.315, 0.63, "a little uncomfortable"),
    (0.5, 1.0, "fairly uncomfortable"),
    (0.8, 1.6, "uncomfortable"),
    (1.25, 2.5, "very uncomfortable"),
    (2.0, math.inf, "extremely uncomfortable"),
)
# past these the rms alone says too little (ISO 2631-1, 6.3, from memory)
CREST_LIMIT, MTVV_LIMIT, DOSE_LIMIT = 9.0, 1.5, 1.75
CAUTION = (
    "Health: above the action value the exposure must be reduced as far as can be done, the limit value must not be "
    "passed (Directive 2002/44/EC); other countries have other values. Computed at the points as given, of the frame "
    "and not of the skin: cushions, hands and feet change it. Defer to local codes and competent persons."
)


def daily_values(contact: str) -> Daily:
    """Action and limit values for a contact that is judged for health."""
    return HAND_ARM if contact == "grip" else WHOLE_BODY


def comfort_words(total: float) -> str:
    """Annex C's words for a vibration total value (m/s²); all bands that it lies in, "to" between them."""
    found = [words for low, high, words in COMFORT if low <= total < high]
    return " to ".join(found)


def hours_until(value: float, level: float, hours: float = HOURS) -> float:
    """Hours after which a daily value is reached, where A(8) is `level` after `hours`; infinite if never."""
    return hours * (value / level) ** 2 if level > 0.0 else math.inf
