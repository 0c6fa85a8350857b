"""Checks of rotors and shafts that span several keys of a case."""

from __future__ import annotations

import difflib
from collections.abc import Callable
from itertools import pairwise
from typing import Any

from vibsim.inputs.rotor_models import CRANK_PARTS, MOST_ROTORS

Report = Callable[[tuple[str | int, ...], Any, str], None]


def check_rotors(clean: dict[str, Any], bodies: list, report: Report) -> None:
    """Names that must match, shafts that must join every rotor to the crank, stages that must rise."""
    rotors, shafts, engine = _entries(clean, "rotor"), _entries(clean, "shaft"), clean.get("engine")
    names = _check_names(rotors, bodies, report)
    if (rotors or shafts) and not isinstance(engine, dict):
        report(("rotor" if rotors else "shaft",), None, "needs an [engine] table, whose crank drives it")
        return
    known = [*CRANK_PARTS, *names]
    for index, shaft in enumerate(shafts):
        _check_shaft(shaft, index, known, report)
    _check_joined(rotors, shafts, report)
    if isinstance(engine, dict):
        _check_load(engine.get("load"), known, report)
        _check_lists(engine.get("crank"), report)


def _entries(table: dict[str, Any], key: str) -> list[dict[str, Any]]:
    entries = table.get(key)
    return [entry if isinstance(entry, dict) else {} for entry in entries] if isinstance(entries, tuple) else []


def _positive(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and value > 0


def _check_names(rotors: list[dict[str, Any]], bodies: list, report: Report) -> list[str]:
    names: list[str] = []
    for index, rotor in enumerate(rotors):
        name, body = rotor.get("name"), rotor.get("body")
        if name in CRANK_PARTS or (isinstance(name, str) and name.startswith("throw ")):
            report(("rotor", index, "name"), name, "is a part of the crank; choose another name")
        elif isinstance(name, str) and name in names:
            report(("rotor", index, "name"), name, "this name is already taken; names must differ")
        elif isinstance(name, str):
            names.append(name)
        if isinstance(body, str) and any(bodies):
            _check_name(body, [*(str(item) for item in bodies if item), "ground"], ("rotor", index, "body"), report)
        heavy, radius = _positive(rotor.get("vehicle_mass")), rotor.get("rolling_radius")
        if heavy and radius is None:
            report(("rotor", index, "rolling_radius_mm"), None, "is missing; vehicle_mass acts at that radius")
        if not heavy and not _positive(rotor.get("inertia")) and "inertia" not in rotor:
            report(("rotor", index, "inertia_kg_m2"), None, "is missing")
        elif not heavy and rotor.get("inertia") == 0:
            report(("rotor", index, "inertia"), rotor.get("inertia"), "must be greater than 0")
        axis = rotor.get("axis_direction")
        if isinstance(axis, tuple) and not any(axis):
            report(("rotor", index, "axis_direction"), list(axis), "must not be zero")
        if rotor.get("ratio") == 0:
            report(("rotor", index, "ratio"), 0, "must not be zero; a rotor that the crank does not turn is no rotor")
    if len(rotors) > MOST_ROTORS:
        report(("rotor",), len(rotors), f"must have at most {MOST_ROTORS} entries")
    return names


def _check_name(name: Any, known: list[str], where: tuple[str | int, ...], report: Report) -> None:
    if not isinstance(name, str) or name in known:
        return
    near = difflib.get_close_matches(name, known, n=1)
    report(where, name, f"no such name; did you mean {near[0]!r}?" if near else "allowed: " + ", ".join(known))


def _check_shaft(shaft: dict[str, Any], index: int, known: list[str], report: Report) -> None:
    between = shaft.get("between")
    if isinstance(between, tuple) and len(between) == 2:
        for name in between:
            _check_name(name, known, ("shaft", index, "between"), report)
        if between[0] == between[1] or all(name in CRANK_PARTS for name in between):
            allowed = "must name two different rotors; shafts of the crank itself are engine.crank.torsion.stiffness"
            report(("shaft", index, "between"), list(between), allowed)
    twist, torque = shaft.get("stage_twist"), shaft.get("stage_torque")
    if twist is None and torque is None:
        if shaft.get("stiffness") is None:
            allowed = "is missing; or give stage_twist_deg and stage_torque_N_m"
            report(("shaft", index, "stiffness_N_m_per_rad"), None, allowed)
        if shaft.get("stiffness") == 0 and not _positive(shaft.get("damping")):
            report(("shaft", index, "stiffness"), 0, "must be greater than 0, or give damping_N_m_s_per_rad")
        return
    if shaft.get("stiffness") is not None:
        report(("shaft", index, "stiffness"), None, "stage_twist and stage_torque say how stiff it is; keep one")
    for key, mine, other in (("stage_twist_deg", twist, torque), ("stage_torque_N_m", torque, twist)):
        if mine is None and other is not None:
            report(("shaft", index, key), None, "is missing; stages need twist and torque")
    if isinstance(twist, tuple) and isinstance(torque, tuple):
        _check_stages(twist, torque, index, report)


def _check_stages(twist: tuple, torque: tuple, index: int, report: Report) -> None:
    if len(twist) != len(torque):
        report(("shaft", index, "stage_torque"), list(torque), f"must have {len(twist)} entries, one for each twist")
        return
    if not all(isinstance(value, int | float) for value in (*twist, *torque)):
        return
    for key, values in (("stage_twist", twist), ("stage_torque", torque)):
        if any(after <= before for before, after in pairwise(values)):
            report(("shaft", index, key), list(values), "must rise from each stage to the next")
            return
    through = [entry for entry in zip(twist, torque, strict=True) if entry == (0, 0)]
    if not through:
        report(("shaft", index, "stage_torque"), list(torque), "must be 0 at twist 0, which must be one of the twists")
    elif twist[-1] == 0:
        report(("shaft", index, "stage_twist"), list(twist), "must reach past 0")


def _check_joined(rotors: list[dict[str, Any]], shafts: list[dict[str, Any]], report: Report) -> None:
    """Every rotor must hang on the crank by shafts, or nothing says how fast it turns."""
    reached: set[Any] = set(CRANK_PARTS)
    pairs = [shaft["between"] for shaft in shafts if isinstance(shaft.get("between"), tuple)]
    for _ in pairs:
        for pair in pairs:
            if any(name in reached for name in pair):
                reached.update(pair)
    for index, rotor in enumerate(rotors):
        if isinstance(rotor.get("name"), str) and rotor["name"] not in reached:
            report(("rotor", index, "name"), rotor["name"], "no [[shaft]] joins it to the crank")


def _check_load(load: Any, known: list[str], report: Report) -> None:
    if isinstance(load, dict) and load.get("rotor") is not None:
        _check_name(load["rotor"], known, ("engine", "load", "rotor"), report)


def _check_lists(crank: Any, report: Report) -> None:
    torsion = crank.get("torsion") if isinstance(crank, dict) else None
    if not isinstance(torsion, dict):
        return
    stiffness, damping = torsion.get("stiffness"), torsion.get("damping")
    where = ("engine", "crank", "torsion")
    if isinstance(stiffness, tuple) and isinstance(damping, tuple) and len(damping) != len(stiffness):
        report((*where, "damping"), list(damping), f"must be one number or {len(stiffness)}, one for each stiffness")
