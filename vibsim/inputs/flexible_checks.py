"""Checks of elastic modes that a single key cannot show."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from vibsim.inputs.driveline_checks import drive_of
from vibsim.inputs.errors import nearest

CHAIN = "chain"  # what the driven sprocket is called in a shape
Report = Callable[[tuple[str | int, ...], Any, str], None]


def check_flexible(clean: dict[str, Any], report: Report) -> None:
    """Report every mistake in the elastic modes of bodies."""
    engine = clean.get("engine")
    carrier = engine.get("body") if isinstance(engine, dict) else None
    for index, body in enumerate(_tables(clean, "body")):
        modes, table = _tables(body, "mode"), body.get("modes")
        where = ("body", index, "modes" if table is not None else "mode")
        if (modes or table is not None) and body.get("name") == carrier:
            report(where, None, "the body that carries the engine is taken as rigid; give modes to other bodies")
        if modes and table is not None:
            report(("body", index, "modes"), None, "this body has [[body.mode]] tables already; keep one")
        if modes or table is not None:
            _check_unladen(clean, body.get("name"), report)
        names = attached(clean, body.get("name"))
        for n, mode in enumerate(modes):
            _check_shape(mode.get("shape"), names, ("body", index, "mode", n, "shape"), report)
        if isinstance(table, dict):
            _check_table(table, names, ("body", index, "modes"), report)


def _check_unladen(clean: dict[str, Any], body: Any, report: Report) -> None:
    """Wheels and occupants follow the rigid motion of their body alone."""
    for key in ("wheel", "occupant"):
        for index, entry in enumerate(_tables(clean, key)):
            if entry.get("body") == body:
                report((key, index, "body"), body, f"has elastic modes; a {key} must sit on a body without")


def attached(clean: dict[str, Any], body: Any) -> list[str]:
    """Names of the mounts, sensors and points of a body, and "chain" where one pulls at it."""
    mounts = [mount for mount in _tables(clean, "mount") if body in _tuple(mount.get("between"))]
    others = [entry for key in ("sensor", "point") for entry in _tables(clean, key) if entry.get("body") == body]
    names = [str(entry.get("name")) for entry in (*mounts, *others)]
    engine = clean.get("engine")
    drive = drive_of(engine.get("load")) if isinstance(engine, dict) else None
    return [*names, CHAIN] if drive is not None and drive[0] == CHAIN and drive[1].get("body") == body else names


def _check_shape(shape: Any, names: list[str], where: tuple[str | int, ...], report: Report) -> None:
    if not isinstance(shape, dict):
        return
    for name, vector in shape.items():
        if name not in names:
            report((*where, name), None, f"no mount, sensor or point of this body; {nearest(str(name), names)}")
        elif isinstance(vector, tuple) and len(vector) != 3:
            report((*where, name), list(vector), "must have 3 entries: x, y, z")


def _check_table(table: dict[str, Any], names: list[str], where: tuple[str | int, ...], report: Report) -> None:
    given = [key for key in ("file", "frf_file") if table.get(key) is not None]
    if len(given) != 1:
        report(where, None, "must have one of file (CSV of modes) and frf_file (UFF of measured responses)")
    if given != ["frf_file"]:
        for key in ("node", "lowest_frequency"):
            if table.get(key):
                report((*where, key), None, "belongs to frf_file")
        return
    nodes = table.get("node")
    for name in nodes if isinstance(nodes, dict) else ():
        if name not in names:
            report((*where, "node", name), None, f"no mount, sensor or point of this body; {nearest(str(name), names)}")
    for key in ("lowest_frequency", "highest_frequency"):
        if table.get(key) is None:
            report((*where, f"{key}_Hz"), None, "is missing; measured responses are fitted between two frequencies")
    low, high = table.get("lowest_frequency"), table.get("highest_frequency")
    if isinstance(low, float) and isinstance(high, float) and low >= high:
        report((*where, "highest_frequency"), high, f"must be above lowest_frequency, {low:g} Hz")


def _tables(clean: dict[str, Any], key: str) -> list[dict[str, Any]]:
    entries = clean.get(key)
    return [entry if isinstance(entry, dict) else {} for entry in entries] if isinstance(entries, tuple) else []


def _tuple(value: Any) -> tuple:
    return value if isinstance(value, tuple) else ()
