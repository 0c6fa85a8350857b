"""Checks of wheels, anti-roll bars and occupants that span several keys. Values are in SI units."""

from __future__ import annotations

import difflib
from collections.abc import Callable
from typing import Any

Report = Callable[[tuple[str | int, ...], Any, str], None]
GROUND = "ground"
STOPS = ("bump_stop", "rebound_stop")
FASTEST = 1e4  # rad/s of a wheel or seat on its springs: beyond it is a rigid joint
HOLDING = {"X": "tyre_longitudinal_stiffness", "Y": "tyre_lateral_stiffness"}


def check_vehicle(clean: dict[str, Any], bodies: list, report: Report) -> None:
    """Report every mistake of the tables `wheel`, `anti_roll_bar` and `occupant` that a single key cannot show."""
    wheels = _entries(clean, "wheel")
    names = [wheel.get("name") for wheel in wheels]
    for table in ("wheel", "anti_roll_bar", "occupant"):
        _check_names(_entries(clean, table), table, bodies, report)
    for index, wheel in enumerate(wheels):
        _check_body(wheel, ("wheel", index, "body"), bodies, report)
        _check_wheel(wheel, ("wheel", index), report)
    for index, bar in enumerate(_entries(clean, "anti_roll_bar")):
        _check_bar(bar, ("anti_roll_bar", index, "between"), names, report)
    for index, occupant in enumerate(_entries(clean, "occupant")):
        _check_body(occupant, ("occupant", index, "body"), bodies, report)
        _check_seat(occupant, ("occupant", index), report)
    _check_held(clean, wheels, report)
    run = clean.get("run")
    if wheels and isinstance(run, dict) and run.get("gravity") is False:
        report(("run", "gravity"), False, "wheels stand on the road by weight alone; set it true")


def occupant_names(clean: dict[str, Any]) -> list[str]:
    """Names that a sensor may name as its body."""
    return [str(entry.get("name")) for entry in _entries(clean, "occupant")]


def _entries(clean: dict[str, Any], table: str) -> list[dict[str, Any]]:
    found = clean.get(table)
    return [entry if isinstance(entry, dict) else {} for entry in found] if isinstance(found, tuple) else []


def _number(table: dict[str, Any], key: str) -> float | None:
    value = table.get(key)
    good = isinstance(value, int | float) and not isinstance(value, bool)
    return float(value) if good else None  # type: ignore[arg-type]


def _check_names(entries: list[dict[str, Any]], table: str, bodies: list, report: Report) -> None:
    seen: set[str] = set()
    for index, entry in enumerate(entries):
        name = entry.get("name")
        if not isinstance(name, str):
            continue
        if name in seen:
            report((table, index, "name"), name, "this name is already taken; names must differ")
        if table == "occupant" and (name in bodies or name == GROUND):
            report((table, index, "name"), name, "is a body's name; a sensor could not tell them apart")
        seen.add(name)


def _check_body(entry: dict[str, Any], where: tuple[str | int, ...], bodies: list, report: Report) -> None:
    name, known = entry.get("body"), [str(body) for body in bodies if body is not None]
    if isinstance(name, str) and known and name not in known:
        report(where, name, _allowed("body", name, known))


def _allowed(what: str, name: str, known: list[str]) -> str:
    near = difflib.get_close_matches(name, known, n=1)
    return f"no such {what}; " + (f"did you mean {near[0]!r}?" if near else "allowed: " + ", ".join(known))


def _check_wheel(wheel: dict[str, Any], where: tuple[str | int, ...], report: Report) -> None:
    for stop in STOPS:
        gap, rate = f"{stop}_gap", f"{stop}_stiffness"
        if (gap in wheel) != (rate in wheel):
            absent, given = (rate, gap) if gap in wheel else (gap, rate)
            report(
                (*where, f"{absent}_{'N_per_mm' if absent == rate else 'mm'}"), None, f"is missing; {given} needs it"
            )
    mass = _number(wheel, "unsprung_mass")
    rates = [_number(wheel, key) for key in ("suspension_stiffness", "tyre_stiffness")]
    if mass and mass > 0.0 and all(rate is not None and rate > 0.0 for rate in rates):
        fastest = (sum(rate for rate in rates if rate) / mass) ** 0.5
        if fastest > FASTEST:
            allowed = f"on its springs it hops at {fastest / 6.283185307:.0f} Hz; give what moves with the wheel"
            report((*where, "unsprung_mass"), f"{mass:g} kg", allowed)
    for key in ("lateral", "longitudinal"):
        if _number(wheel, f"tyre_{key}_damping") and not _number(wheel, f"tyre_{key}_stiffness"):
            report((*where, f"tyre_{key}_stiffness_N_per_mm"), None, f"is missing; tyre_{key}_damping needs it")


def _check_seat(occupant: dict[str, Any], where: tuple[str | int, ...], report: Report) -> None:
    mass, rate = _number(occupant, "mass"), _number(occupant, "cushion_stiffness")
    if mass and rate and mass > 0.0 and rate > 0.0 and (rate / (0.1 * mass)) ** 0.5 > FASTEST:
        allowed = "the seat is as stiff as a rigid joint; a firm saddle has some hundreds of N/mm"
        report((*where, "cushion_stiffness"), f"{1e-3 * rate:g} N/mm", allowed)


def _check_bar(bar: dict[str, Any], where: tuple[str | int, ...], wheels: list, report: Report) -> None:
    between = bar.get("between")
    if not isinstance(between, tuple) or len(between) != 2 or not all(isinstance(name, str) for name in between):
        return
    if not wheels:
        report(where, list(between), "there is no [[wheel]] to join")
        return
    for name in between:
        if name not in wheels:
            report(where, name, _allowed("wheel", name, [str(wheel) for wheel in wheels]))
    if between[0] == between[1]:
        report(where, list(between), "must name two different wheels")


def _check_held(clean: dict[str, Any], wheels: list[dict[str, Any]], report: Report) -> None:
    """A vehicle on wheels alone must be held along X and Y by a tyre, in the frame that travels with it."""
    grounded = any(GROUND in (mount.get("between") or ()) for mount in _entries(clean, "mount"))
    if grounded or not wheels:
        return
    for axis, key in HOLDING.items():
        if all(not _number(wheel, key) for wheel in wheels):
            report(
                ("wheel", 0, f"{key}_N_per_mm"),
                None,
                f"is missing of every wheel, so nothing holds the vehicle along {axis}; give it for at least one wheel"
                + (", a driven or braked one" if axis == "X" else ""),
            )
