"""Keys of exposure that must go together."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import Any

Report = Callable[[tuple[str | int, ...], Any, str], None]
DAY = 24.0  # hours
FASTEST = 57_000  # rpm


def check_exposure(clean: dict[str, Any], report: Report) -> None:
    """Report a posture without feet, a day of more than 24 hours, and speeds past any engine."""
    for index, sensor in _entries(clean, "sensor"):
        if sensor.get("posture") is not None and sensor.get("contact") != "footrest":
            allowed = "goes with contact = 'footrest': feet of someone who sits, or stands on them"
            report(("sensor", index, "posture"), sensor["posture"], allowed)
    hours = 0.0
    for index, duty in _entries(clean, "duty"):
        speed, given = _number(duty.get("speed")) * 30.0 / math.pi, _number(duty.get("hours"))
        if speed >= FASTEST:
            report(("duty", index, "speed"), f"{speed:g} rpm", f"must be below {FASTEST} rpm")
        before, hours = hours, hours + max(given, 0.0)
        if before <= DAY < hours - 1e-9 and given <= DAY:
            report(("duty", index, "hours"), given, f"the day comes to {hours:g} h with it, at most {DAY:g} h")


def _number(value: Any) -> float:
    """A number, or zero for what is none and is reported elsewhere."""
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else 0.0


def _entries(table: dict[str, Any], key: str) -> Iterator[tuple[int, dict[str, Any]]]:
    entries = table.get(key)
    for index, entry in enumerate(entries if isinstance(entries, tuple) else ()):
        if isinstance(entry, dict):
            yield index, entry
