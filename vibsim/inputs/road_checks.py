"""Checks of a run over a road that a single key cannot show."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

Report = Callable[[tuple[str | int, ...], Any, str], None]
KEYS = ("vehicle_speed", "road")


def check_road(clean: dict[str, Any], report: Report) -> None:
    """Report what a run over a road lacks, and its keys in a run of another kind."""
    run = clean.get("run")
    if not isinstance(run, dict):
        return
    if run.get("kind") != "road":
        for key in KEYS:
            if key in run:
                report(("run", key), None, 'goes with kind = "road"')
        return
    if not clean.get("wheel"):
        report(("wheel",), None, 'is missing; kind = "road" needs [[wheel]] tables to drive over it')
    if not isinstance(run.get("road"), dict):
        report(("run", "road"), None, 'is missing; kind = "road" needs a [run.road] table with a profile')
        return
    if run.get("vehicle_speed") is None:
        report(("run", "vehicle_speed_km_per_h"), None, 'is missing; kind = "road" needs it')
    longest, shortest = (run["road"].get(f"{which}_wave", default) for which, default in WAVES)
    if isinstance(longest, int | float) and isinstance(shortest, int | float) and longest <= shortest:
        report(("run", "road", "longest_wave"), f"{longest:g} m", f"must be longer than shortest_wave, {shortest:g} m")


WAVES = (("longest", 1.0 / 0.011), ("shortest", 1.0 / 2.83))
