"""Checks of chain and differential that a single key cannot show."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from vibsim.inputs.errors import nearest

Report = Callable[[tuple[str | int, ...], Any, str], None]
GROUND = "ground"
ENDS = {"chain": "wheel_torque_reacted_by", "differential": "axle_torque_reacted_by"}


def drive_of(load: Any) -> tuple[str, dict[str, Any]] | None:
    """Which of chain and differential a load has, and its table."""
    found = [(key, load[key]) for key in ENDS if isinstance(load, dict) and isinstance(load.get(key), dict)]
    return found[0] if found else None


def check_drive(clean: dict[str, Any], bodies: list, report: Report) -> None:
    """Report every mistake in `engine.load`'s chain, differential and gear."""
    engine = clean.get("engine")
    load = engine.get("load") if isinstance(engine, dict) else None
    if not isinstance(engine, dict) or not isinstance(load, dict):
        return
    where, drive, driveline = ("engine", "load"), drive_of(load), clean.get("driveline")
    if drive is None:
        if load.get("gear") is not None:
            report((*where, "gear"), load["gear"], "needs a [engine.load.chain] or [engine.load.differential]")
        return
    key, table = drive
    if load.get("chain") is not None and load.get("differential") is not None:
        report((*where, "differential"), None, "there is a chain already; keep one")
    if load.get("reacted_by") is not None:
        report((*where, "reacted_by"), load["reacted_by"], f"engine.load.{key} says where the torque goes; keep one")
    names = [str(name) for name in bodies if isinstance(name, str)]
    for name, known in (("body", names), (ENDS[key], [*names, GROUND])):
        given = table.get(name)
        if isinstance(given, str) and names and given not in known:
            report((*where, key, name), given, f"no such body; {nearest(given, known)}")
    if key == "chain":
        _check_chain(table, engine, where, report)
    for name in ("direction", "propshaft_direction", "axle_direction"):
        vector = table.get(name)
        if isinstance(vector, tuple) and not any(vector):
            report((*where, key, name), list(vector), "must not be zero")
    _check_gear(load, key, table, driveline, engine, report)


def _check_chain(table: dict[str, Any], engine: dict[str, Any], where: tuple[str, ...], report: Report) -> None:
    if table.get("body") == engine.get("body"):
        report((*where, "chain", "body"), table["body"], "must be another body than the engine's own")
    apart = _distance(table.get("sprocket"), table.get("driven_sprocket"))
    radii = [table.get(key) for key in ("sprocket_radius", "driven_sprocket_radius")]
    least = sum(radius for radius in radii if isinstance(radius, float))
    if apart is not None and apart <= least:
        allowed = f"the sprockets overlap; must be more than {1e3 * least:g} mm apart"
        report((*where, "chain", "driven_sprocket"), f"{1e3 * apart:g} mm apart", allowed)


def _distance(one: Any, other: Any) -> float | None:
    vectors = [v for v in (one, other) if isinstance(v, tuple) and len(v) == 3]
    if len(vectors) < 2 or not all(isinstance(x, int | float) for vector in vectors for x in vector):
        return None
    return math.dist(*vectors)


def _check_gear(
    load: dict[str, Any], key: str, table: dict[str, Any], driveline: Any, engine: dict[str, Any], report: Report
) -> None:
    gear, where = load.get("gear"), ("engine", "load", "gear")
    if table.get("ratio") is not None and gear is not None:
        report(where, gear, f"engine.load.{key}.ratio is given; keep one")
    if not isinstance(driveline, dict):
        for lacking in ("ratio", *(["final_drive_ratio"] if key == "differential" else [])):
            if table.get(lacking) is None:
                report(("engine", "load", key, lacking), None, "is missing; or give a [driveline] and engine.load.gear")
        return
    if table.get("ratio") is None:
        ratios = driveline.get("gear_ratios")
        count = len(ratios) if isinstance(ratios, tuple) else 0
        good = (isinstance(gear, int) and 1 <= gear <= count) or (
            gear == "reverse" and driveline.get("reverse_ratio") is not None
        )
        if not good:
            report(where, gear, f"must be a gear of [driveline], 1 to {count}; or give engine.load.{key}.ratio")
    own = key == "differential" and table.get("body") == engine.get("body")
    leaves = "final_drive" if own else "gearbox"
    if driveline.get("leaves_at", "final_drive") != leaves:
        got = driveline.get("leaves_at", "final_drive")
        report(("driveline", "leaves_at"), got, f"must be '{leaves}': that is what engine.load.{key} says")
