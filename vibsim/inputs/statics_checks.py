"""Checks of the tables for statics that a single key cannot show: gears and bodies that must be there."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from vibsim.inputs.driveline_checks import drive_of
from vibsim.inputs.errors import nearest

Report = Callable[[tuple[str | int, ...], Any, str], None]
GROUND = "ground"


def check_statics(clean: dict[str, Any], bodies: list, report: Report) -> None:
    """Report every mistake in driveline, points and load cases that a single key cannot show."""
    driveline = clean.get("driveline")
    engine = clean.get("engine")
    if isinstance(driveline, dict):
        _check_driveline(driveline, engine, report)
    known = [name for name in bodies if isinstance(name, str)]
    for index, point in enumerate(_tables(clean, "point")):
        _check_point(point, index, known, report)
    for index, load in enumerate(_tables(clean, "load_case")):
        _check_gear(load, index, driveline, report)


def _tables(clean: dict[str, Any], key: str) -> list[dict[str, Any]]:
    entries = clean.get(key)
    return [entry if isinstance(entry, dict) else {} for entry in entries] if isinstance(entries, tuple) else []


def _check_driveline(driveline: dict[str, Any], engine: Any, report: Report) -> None:
    if not isinstance(engine, dict):
        report(("driveline",), None, "needs an [engine] table; its torque is what it takes on")
        return
    load = engine.get("load")
    by = load.get("reacted_by") if isinstance(load, dict) else None
    if drive_of(load) is None and (by is None or by == engine.get("body")):
        report(
            ("engine", "load", "reacted_by"),
            by,
            "must name the body that takes what the driveline delivers, another than engine.body, or ground; or say "
            "how, in [engine.load.chain] or [engine.load.differential]",
        )
    direction = driveline.get("output_direction")
    if isinstance(direction, tuple) and all(entry == 0 for entry in direction):
        report(("driveline", "output_direction"), list(direction), "must not be zero")


def _check_point(point: dict[str, Any], index: int, bodies: list[str], report: Report) -> None:
    body, other = point.get("body"), point.get("relative_to")
    if isinstance(body, str) and bodies and body not in bodies:
        report(("point", index, "body"), body, f"no such body; {nearest(body, bodies)}")
    if isinstance(other, str) and bodies and other not in [*bodies, GROUND]:
        report(("point", index, "relative_to"), other, f"no such body; {nearest(other, [*bodies, GROUND])}")
    if isinstance(body, str) and body == other:
        report(("point", index, "relative_to"), other, "must be another body than the point's own")


def _check_gear(load: dict[str, Any], index: int, driveline: Any, report: Report) -> None:
    gear, where = load.get("gear", "neutral"), ("load_case", index, "gear")
    share = load.get("torque_share", 0.0)
    if gear == "neutral":
        if isinstance(share, int | float) and share != 0.0:
            report((*where[:2], "torque_share"), share, "must be 0 in neutral; say which gear")
        return
    if not isinstance(driveline, dict):
        report(where, gear, "a gear needs a [driveline] table with gear_ratios")
        return
    ratios = driveline.get("gear_ratios")
    if not isinstance(ratios, tuple):
        return
    allowed = ["neutral", f"1 to {len(ratios)}", *(["reverse"] if driveline.get("reverse_ratio") is not None else [])]
    wrong = isinstance(gear, int) and not isinstance(gear, bool) and not 1 <= gear <= len(ratios)
    if wrong or (isinstance(gear, str) and (gear != "reverse" or "reverse" not in allowed)):
        hint = "; reverse needs driveline.reverse_ratio" if gear == "reverse" else ""
        report(where, gear, "no such gear; allowed: " + ", ".join(allowed) + hint)
