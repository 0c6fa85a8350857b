"""Checks of a run over a road that a single key cannot show."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from vibsim.inputs.programme_checks import STEPPED

Report = Callable[[tuple[str | int, ...], Any, str], None]
KEYS = ("vehicle_speed", "road")


def check_road(clean: dict[str, Any], report: Report) -> None:
    """Report what a run, or a step of a programme, over a road lacks, and its keys in a run of another kind."""
    run = clean.get("run")
    if not isinstance(run, dict):
        return
    kind = run.get("kind")
    if kind == "programme":
        for index, step in enumerate(run.get("step") or ()):
            if isinstance(step, dict) and step.get("kind") == "road":
                _check_driven(clean, step, ("run", "step", index), report)
        return
    if kind == "road":
        _check_driven(clean, run, ("run",), report)
        return
    for key in KEYS:
        if key in run and kind not in STEPPED:
            report(("run", key), None, 'goes with kind = "road"')


def _check_driven(clean: dict[str, Any], over: dict[str, Any], where: tuple[str | int, ...], report: Report) -> None:
    if not clean.get("wheel"):
        report(("wheel",), None, 'is missing; kind = "road" needs [[wheel]] tables to drive over it')
    table = "[run.road]" if len(where) == 1 else "[run.step.road]"
    if not isinstance(over.get("road"), dict):
        report((*where, "road"), None, f'is missing; kind = "road" needs a {table} table with a profile')
        return
    if over.get("vehicle_speed") is None:
        report((*where, "vehicle_speed_km_per_h"), None, 'is missing; kind = "road" needs it')
    longest, shortest = (over["road"].get(f"{which}_wave", default) for which, default in WAVES)
    if isinstance(longest, int | float) and isinstance(shortest, int | float) and longest <= shortest:
        report((*where, "road", "longest_wave"), f"{longest:g} m", f"must be longer than shortest_wave, {shortest:g} m")


WAVES = (("longest", 1.0 / 0.011), ("shortest", 1.0 / 2.83))
