"""Checks that span several keys of a case: names that must match, geometry that must close.

They work on the converted dictionaries, not on the finished model, so that one wrong key does not hide the others.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np

from vibsim.inputs.charging_checks import check_charging
from vibsim.inputs.clutch_checks import check_clutch
from vibsim.inputs.cycle_checks import check_cycle_gas
from vibsim.inputs.driveline_checks import check_drive
from vibsim.inputs.exposure_checks import check_exposure
from vibsim.inputs.flexible_checks import check_flexible
from vibsim.inputs.friction_checks import check_accessory, check_friction
from vibsim.inputs.holding_checks import check_holding
from vibsim.inputs.mount_checks import check_mount
from vibsim.inputs.mount_models import MOUNT_MODELS
from vibsim.inputs.programme_checks import STEPPED, check_steps
from vibsim.inputs.road_checks import check_road
from vibsim.inputs.rotor_checks import check_rotors
from vibsim.inputs.sizing_checks import check_size
from vibsim.inputs.statics_checks import check_statics
from vibsim.inputs.step_checks import check_load_step
from vibsim.inputs.together_checks import check_together
from vibsim.inputs.trace_checks import check_trace_gas
from vibsim.inputs.units import GREATEST
from vibsim.inputs.variation_checks import check_variation
from vibsim.inputs.vehicle_checks import check_vehicle, occupant_names

Report = Callable[[tuple[str | int, ...], Any, str], None]
GROUND = "ground"
MOST_POINTS = 5_000_000
FASTEST_RPM = 57_000  # beyond any reciprocating engine
SAME_BANK = math.radians(1.0)
SLOWEST_CYCLE = 5.0  # rad/s, below which a working cycle would take too long to compute


def check_case(clean: dict[str, Any], report: Report) -> None:
    """Report every mistake that a single key cannot show."""
    bodies = [entry.get("name") for _, entry in _entries(clean, "body")]
    for table in ("body", "mount", "sensor", "point", "load_case"):
        _check_unique(clean, table, report)
    for index, body in _entries(clean, "body"):
        if body.get("name") == GROUND:
            report(("body", index, "name"), GROUND, "is the fixed world; choose another name")
        _check_inertia(body, ("body", index, "inertia"), report)
    for index, mount in _entries(clean, "mount"):
        _check_between(mount, index, bodies, report)
        check_mount(mount, ("mount", index), report)
    for index, sensor in _entries(clean, "sensor"):
        _check_name(sensor.get("body"), [*bodies, *occupant_names(clean)], ("sensor", index, "body"), report)
    check_vehicle(clean, bodies, report)
    check_statics(clean, bodies, report)
    check_flexible(clean, report)
    check_drive(clean, bodies, report)
    check_size(clean, MOUNT_MODELS, report)
    check_exposure(clean, report)
    check_rotors(clean, bodies, report)
    _check_run(clean.get("run"), report)
    check_holding(clean, report)
    check_steps(clean, report)
    check_road(clean, report)
    check_clutch(clean, report)
    check_together(clean, report)
    if isinstance(clean.get("engine"), dict):
        _check_engine(clean["engine"], bodies, report)
        _check_engine_run(clean["engine"], clean.get("run"), report)


def _entries(table: Any, key: str) -> Iterator[tuple[int, dict[str, Any]]]:
    entries = table.get(key) if isinstance(table, dict) else None
    for index, entry in enumerate(entries if isinstance(entries, tuple) else ()):
        if isinstance(entry, dict):
            yield index, entry


def _number(table: Any, key: str) -> float | None:
    value = table.get(key) if isinstance(table, dict) else None
    good = isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < GREATEST
    return float(value) if good else None  # type: ignore[arg-type]


def _numbers(value: Any, size: int) -> np.ndarray | None:
    if not isinstance(value, tuple) or len(value) != size:
        return None
    if any(isinstance(item, bool) or not isinstance(item, int | float) or not abs(item) < GREATEST for item in value):
        return None
    return np.array(value, dtype=float)


def _check_unique(clean: dict[str, Any], table: str, report: Report, prefix: tuple[str, ...] = ()) -> None:
    seen: set[str] = set()
    for index, entry in _entries(clean, table):
        name = entry.get("name")
        if isinstance(name, str) and name in seen:
            report((*prefix, table, index, "name"), name, "this name is already taken; names must differ")
        seen.add(str(name))


def _check_name(name: Any, known: list, where: tuple[str | int, ...], report: Report) -> None:
    if not isinstance(name, str) or name in known or not any(known):
        return
    names = [str(item) for item in known if item is not None]
    near = difflib.get_close_matches(name, names, n=1)
    report(where, name, f"no such name; did you mean {near[0]!r}?" if near else "allowed: " + ", ".join(names))


def _check_between(mount: dict[str, Any], index: int, bodies: list, report: Report) -> None:
    between = mount.get("between")
    if not isinstance(between, tuple):
        return
    for name in between:
        _check_name(name, [*bodies, GROUND], ("mount", index, "between"), report)
    if len(between) == 2 and between[0] == between[1]:
        report(("mount", index, "between"), list(between), "must name two different bodies")


def inertia_matrix(entries: np.ndarray, integral_products: bool) -> np.ndarray:
    """Inertia matrix (3, 3) from Ixx, Iyy, Izz, Ixy, Ixz, Iyz; `integral_products`: products given as ∫xy dm."""
    sign = -1.0 if integral_products else 1.0
    xx, yy, zz, xy, xz, yz = entries
    return np.array([[xx, sign * xy, sign * xz], [sign * xy, yy, sign * yz], [sign * xz, sign * yz, zz]])


def why_not_an_inertia(matrix: np.ndarray) -> str | None:
    """Say what is wrong with an inertia matrix (3, 3), or None when a real body can have it."""
    principal = np.linalg.eigvalsh(matrix)
    if principal[0] <= 0.0:
        return f"principal moments must be positive, the least is {principal[0]:.4g} kg m^2"
    if principal[0] + principal[1] < principal[2] * (1.0 - 1e-9):
        a, b, c = principal
        return (
            f"no real body has principal moments {a:.4g}, {b:.4g}, {c:.4g} kg m^2 (two must sum to the third or more)"
        )
    return None


def _check_inertia(body: dict[str, Any], where: tuple[str | int, ...], report: Report) -> None:
    entries = _numbers(body.get("inertia"), 6)
    if entries is None:
        return
    reason = why_not_an_inertia(inertia_matrix(entries, body.get("inertia_products") == "integral"))
    if reason:
        report(where, entries.tolist(), reason)


def _check_engine(engine: dict[str, Any], bodies: list, report: Report) -> None:
    _check_name(engine.get("body"), bodies, ("engine", "body"), report)
    load = engine.get("load")
    if isinstance(load, dict):
        _check_name(load.get("reacted_by"), [*bodies, GROUND], ("engine", "load", "reacted_by"), report)
    check_friction(engine.get("friction"), report)
    _check_unique(engine, "accessory", report, ("engine",))
    for index, accessory in _entries(engine, "accessory"):
        where = ("engine", "accessory", index)
        _check_name(accessory.get("reacted_by"), [*bodies, GROUND], (*where, "reacted_by"), report)
        check_accessory(accessory, engine.get("body"), where, report)
    _check_directions(engine, report)
    _check_unique(engine, "cylinder", report, ("engine",))
    _check_firing_order(engine, report)
    for index, cylinder in _entries(engine, "cylinder"):
        _check_cylinder(engine, cylinder, ("engine", "cylinder", index), report)
        if cylinder.get("at") is None and len(engine["cylinder"]) > 1:
            report(("engine", "cylinder", index, "at_mm"), None, "is missing; several cylinders need their places")
    _check_rods(engine, report)
    _check_main_bearings(engine.get("crank"), report)
    _check_places(engine, report)
    if isinstance(engine.get("gas"), dict):
        _check_gas(engine, engine["gas"], report)
    check_charging(engine, report)


def _check_directions(engine: dict[str, Any], report: Report) -> None:
    crank = _numbers(engine.get("crank_direction"), 3)
    reference = _numbers(engine.get("reference_direction"), 3)
    for key, vector in (("crank_direction", crank), ("reference_direction", reference)):
        if vector is not None and not np.linalg.norm(vector) > 0.0:
            report(("engine", key), vector.tolist(), "must not be zero")
            return
    if crank is None or reference is None:
        return
    cosine = crank @ reference / (np.linalg.norm(crank) * np.linalg.norm(reference))
    if abs(cosine) > 1e-3:
        angle = math.degrees(math.acos(np.clip(cosine, -1.0, 1.0)))
        allowed = f"must be at right angles to crank_direction, is at {angle:.2f} deg"
        report(("engine", "reference_direction"), reference.tolist(), allowed)


def _check_firing_order(engine: dict[str, Any], report: Report) -> None:
    order = engine.get("firing_order", ())
    cylinders = [(cylinder.get("name"), cylinder.get("fires_at")) for _, cylinder in _entries(engine, "cylinder")]
    if not isinstance(order, tuple) or not cylinders:
        return
    where = ("engine", "firing_order")
    names = [name for name, _ in cylinders]
    if not all(isinstance(name, str) for name in order):
        return  # each is reported as no text
    for name in order:
        _check_name(name, names, where, report)
    gas = engine.get("gas")
    needed = isinstance(gas, dict) and gas.get("source", "none") != "none" and len(cylinders) > 1
    absent = [str(name) for name, fires_at in cylinders if name not in order and fires_at is None]
    left_out = ", ".join(absent) + " (or give each fires_at_deg)" if absent and (order or needed) else ""
    again = [name for name in dict.fromkeys(order) if order.count(name) > 1]
    if again:
        also = f", and it leaves out {left_out}" if left_out else ""
        report(where, list(order), f"each cylinder may stand in it once, not so: {', '.join(again)}{also}")
    elif left_out:
        report(where, list(order) or None, f"does not say when these cylinders fire: {left_out}")


def _check_cylinder(engine: dict, cylinder: dict, where: tuple[str | int, ...], report: Report) -> None:
    def own(key: str) -> float | None:
        return _number(cylinder, key) if cylinder.get(key) is not None else _number(engine, key)

    stroke, rod_length, offset = own("stroke"), own("rod_length"), _number(cylinder, "piston_pin_offset") or 0.0
    shown = (*where, "rod_length") if cylinder.get("rod_length") is not None else ("engine", "rod_length")
    if stroke and rod_length and rod_length <= 0.5 * stroke + abs(offset):
        least = 1e3 * (0.5 * stroke + abs(offset))
        report(shown, f"{1e3 * rod_length:g} mm", f"must be longer than throw plus pin offset, {least:g} mm")
    rod = cylinder.get("rod") if isinstance(cylinder.get("rod"), dict) else engine.get("rod")
    centre = _number(rod, "centre_of_mass")
    if rod_length and centre is not None and centre > rod_length:
        path = (*where, "rod", "centre_of_mass") if rod is cylinder.get("rod") else ("engine", "rod", "centre_of_mass")
        report(path, f"{1e3 * centre:g} mm", f"must lie on the rod, at most {1e3 * rod_length:g} mm from the big end")


def _check_places(engine: dict[str, Any], report: Report) -> None:
    """Cylinders of one bank must stand a bore apart; two in one place are told apart from two that overlap."""
    placed: list[tuple[Any, float, complex, float]] = []
    for index, cylinder in _entries(engine, "cylinder"):
        at, bore = _number(cylinder, "at"), _number(cylinder, "bore") or _number(engine, "bore")
        if at is None or bore is None:
            continue
        bank, centre = _number(cylinder, "bank") or 0.0, complex(at, _number(cylinder, "piston_pin_offset") or 0.0)
        name, where, got = cylinder.get("name"), ("engine", "cylinder", index, "at"), f"{1e3 * at:g} mm"
        for other, its_bank, its_centre, its_bore in placed:
            apart, least = abs(centre - its_centre), 0.5 * (bore + its_bore)
            if abs(math.remainder(bank - its_bank, 2.0 * math.pi)) > SAME_BANK or apart >= least * (1.0 - 1e-9):
                continue
            if apart < 1e-6:
                report(where, got, f"cylinder '{name}' stands in cylinder '{other}': one bank and one place")
            else:
                report(
                    where,
                    got,
                    f"cylinder '{name}' overlaps cylinder '{other}' of its bank: {1e3 * apart:g} mm apart, "
                    f"bores need at least {1e3 * least:g} mm",
                )
        placed.append((name, bank, centre, bore))


def _check_rods(engine: dict[str, Any], report: Report) -> None:
    """A rod with mass needs its centre of mass and inertia; only a massless one may leave them out."""
    places: list[tuple[tuple[str | int, ...], Any]] = [(("engine", "rod"), engine.get("rod"))]
    for index, cylinder in _entries(engine, "cylinder"):
        places.append((("engine", "cylinder", index, "rod"), cylinder.get("rod")))
    for where, rod in places:
        for key, shown in (("centre_of_mass", "centre_of_mass_mm"), ("inertia", "inertia_kg_mm2")):
            if _number(rod, "mass") and isinstance(rod, dict) and key not in rod:
                report((*where, shown), None, "is missing")


def _check_main_bearings(crank: Any, report: Report) -> None:
    places = crank.get("main_bearings_at") if isinstance(crank, dict) else None
    found = _numbers(places, len(places)) if isinstance(places, tuple) else None
    if found is not None and np.any(np.diff(found) <= 0.0):
        shown = ", ".join(f"{1e3 * place:g}" for place in found) + " mm"
        report(("engine", "crank", "main_bearings_at"), shown, "must rise from each bearing to the next")


def _check_shafts(engine: dict[str, Any], steady: bool, report: Report) -> None:
    """In a steady run everything repeats with the working cycle, so a shaft must turn whole turns in it."""
    turns = 1.0 if engine.get("strokes") == 2 else 2.0
    for index, shaft in _entries(engine, "balance_shaft"):
        ratio, where = _number(shaft, "ratio"), ("engine", "balance_shaft", index, "ratio")
        if steady and ratio is not None and abs(ratio * turns - round(ratio * turns)) > 1e-9:
            report(where, ratio, f"must give whole turns in a working cycle of {turns:g} crank turns in a steady run")


def _check_gas(engine: dict[str, Any], gas: dict[str, Any], report: Report) -> None:
    source = gas.get("source")
    cylinders = [cylinder for _, cylinder in _entries(engine, "cylinder")]
    if source in ("motored", "cycle") and engine.get("compression_ratio") is None:
        lacking = [str(cylinder.get("name")) for cylinder in cylinders if cylinder.get("compression_ratio") is None]
        if lacking:
            report(("engine", "compression_ratio"), None, f"is missing; gas source {source} needs it")
    closes, opens = _number(gas, "closes"), _number(gas, "opens")
    half = math.pi if engine.get("strokes") == 2 else 2.0 * math.pi
    if source == "motored":
        for key, angle, low, high in (("closes", closes, -half, 0.0), ("opens", opens, 0.0, half)):
            if angle is not None and not low < angle < high:
                span = f"{math.degrees(low):g} and {math.degrees(high):g} deg from firing top dead centre"
                report(("engine", "gas", key), f"{math.degrees(angle):g} deg", f"must lie between {span}")
    if source == "trace":
        check_trace_gas(engine, gas, cylinders, report)
    if source == "cycle":
        check_cycle_gas(gas, engine.get("strokes", 4), report)


def _check_engine_run(engine: dict[str, Any], run: Any, report: Report) -> None:
    steady = isinstance(run, dict) and run.get("kind", "steady") in ("steady", "misfire", "cyclic", "road")
    _check_shafts(engine, steady, report)
    check_variation(engine, run, report)
    gas, speed = engine.get("gas"), _number(run, "speed")
    if isinstance(gas, dict) and gas.get("source") == "cycle" and speed is not None and abs(speed) < SLOWEST_CYCLE:
        allowed = f"gas source cycle needs at least {SLOWEST_CYCLE * 30.0 / math.pi:.0f} rpm"
        report(("run", "speed"), f"{speed * 30.0 / math.pi:g} rpm", allowed)
    _check_targets(gas, run, report)
    if isinstance(run, dict):
        check_load_step(engine, run, report)


def _check_targets(gas: Any, run: Any, report: Report) -> None:
    given = [key for key in ("load", "bmep", "torque", "power") if isinstance(run, dict) and run.get(key) is not None]
    for key in given[1:]:
        report(("run", key), None, f"run.{given[0]} sets the load already; keep one")
    source = gas.get("source", "none") if isinstance(gas, dict) else "none"
    if source != "cycle" and given and given[0] != "load":
        report(("run", given[0]), None, f"needs engine.gas.source = 'cycle' to find a load for; got '{source}'")


def _check_run(run: Any, report: Report) -> None:
    duration, rate = _number(run, "duration") or 1.0, _number(run, "sample_rate") or 10000.0
    if not 1.0 <= duration * rate <= MOST_POINTS:
        allowed = f"run.duration times run.sample_rate must be 1 to {MOST_POINTS:,} points"
        report(("run", "duration"), f"{duration:g} s at {rate:g} Hz", allowed)
    if isinstance(run, dict) and run.get("solve") == "periodic":
        if run.get("kind", "steady") not in ("steady", "misfire", "road"):
            report(("run", "solve"), "periodic", f"is for kind = 'steady'; this is {run.get('kind')!r}")
        elif run.get("variation") is not None:
            report(("run", "solve"), "periodic", "with run.variation no two cycles are alike; allowed: settle")
    speed = _number(run, "speed")
    if speed is None:
        return
    if run.get("kind", "steady") not in ("free", *STEPPED) and speed <= 0.0:
        what = {"load_step": "load step"}.get(run.get("kind"), "steady run")
        report(("run", "speed"), f"{speed * 30.0 / math.pi:g} rpm", f"a {what} needs a speed greater than 0")
    if abs(speed) * 30.0 / math.pi >= FASTEST_RPM:
        report(("run", "speed"), f"{speed * 30.0 / math.pi:g} rpm", f"must be below {FASTEST_RPM} rpm")
