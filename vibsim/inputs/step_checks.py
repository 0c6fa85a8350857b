"""Keys of a load step: what it needs, and where else its keys would do nothing."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

Report = Callable[[tuple[str | int, ...], Any, str], None]
KEYS = ("load_after", "step_at", "throttle_response", "hold_speed")


def check_load_step(engine: dict[str, Any], run: dict[str, Any], report: Report) -> None:
    """Report what a load step lacks, and its keys in a run of another kind."""
    if run.get("kind", "steady") != "load_step":
        for key in KEYS:
            if key in run and not (key == "step_at" and run.get("kind") == "free" and run.get("clutch") is not None):
                report(("run", key), run[key], 'goes with kind = "load_step"')
        return
    if run.get("load_after") is None and run.get("clutch") is None:
        report(
            ("run", "load_after"),
            None,
            "is missing; a load step needs the load after it, or a [run.clutch]",
        )
    step_at, duration = run.get("step_at", 0.2), run.get("duration", 1.0)
    numbers = all(isinstance(value, int | float) for value in (step_at, duration))
    if numbers and not step_at < duration:
        report(("run", "step_at"), f"{step_at:g} s", f"must lie within the record, before {duration:g} s")
    gas = engine.get("gas")
    gas = gas if isinstance(gas, dict) else {}
    source, where = gas.get("source", "none"), ("engine", "gas", "source")
    if source != "cycle":
        report(where, source, 'a load step needs "cycle", which computes what a throttle does')
    elif gas.get("fuel") == "diesel":
        report(("engine", "gas", "fuel"), "diesel", "a load step is one of the throttle, which goes with a spark")
    if gas.get("intake_pressure") is not None:
        report(("engine", "gas", "intake_pressure"), gas["intake_pressure"], "goes without a load step, which finds it")
    if engine.get("strokes") == 2:
        report(("engine", "strokes"), 2, "a load step needs a four-stroke, which draws its charge by a throttle")
