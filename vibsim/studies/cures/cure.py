"""A cure from question to case file: what to add, what it leaves, and what mounts and sensors will feel of it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import tomlkit

from vibsim.engine.layout import Layout, resolve_layout
from vibsim.inputs.errors import InputError, nearest
from vibsim.inputs.loader import CaseFile, parse_case
from vibsim.post.weighting import Contact
from vibsim.solver.crank_torque import losses_at
from vibsim.solver.motion import gas_torque
from vibsim.solver.order_response import OrderResponse, order_response
from vibsim.solver.packed import Packed, pack
from vibsim.studies.balance import find_balance
from vibsim.studies.cures.counterweights import default_planes, find_counterweights
from vibsim.studies.cures.goals import Eccentric, FreeGoal, Goal, Kind, SensorGoal
from vibsim.studies.cures.masses import find_masses
from vibsim.studies.cures.shafts import Box, block_length, find_shafts

HIGHEST_FELT = 6.0  # order up to which levels are summed
GAS_POINTS = 720
LEAST = 1e-4  # of the unbalance of one cylinder: less is not worth drilling
MOST_ADDED = 3.0  # of what the first cylinder reciprocates


@dataclass(frozen=True)
class Cure:
    """What to add: `counterweights`, `shafts`, and reciprocating `masses` in kg by cylinder name."""

    counterweights: tuple[Eccentric, ...] = ()
    shafts: tuple[Eccentric, ...] = ()
    masses: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True)
class Aim:
    """What shall become small: free `force` or `couple`, or what a `sensor` feels, weighted by `contact`, at `speeds`
    (rad/s); the first speed is that of the free forces."""

    kind: Kind
    speeds: tuple[float, ...]
    sensor: str | None = None
    contact: Contact = "plain"


def by_counterweights(
    case_file: CaseFile, aim: Aim, planes: np.ndarray | None = None, most: float | None = None
) -> Cure:
    """Crank counterweights in planes (k) m along the crank, the outermost throws unless given; for what a sensor feels
    each of at most `most` kg m."""
    balance = find_balance(case_file, aim.speeds[0])
    where = default_planes(balance) if planes is None else planes
    goal = sensor_goal(case_file, aim, 1.0) if aim.kind == "sensor" else None
    found = find_counterweights(balance, aim.kind, where, goal, most)
    least = LEAST * balance.unit / balance.about_crank.speed**2
    return Cure(counterweights=tuple(weight for weight in found if weight.unbalance > least))


def by_shafts(
    case_file: CaseFile, aim: Aim, order: float, count: int, box: Box | None = None, most: float | None = None
) -> Cure:
    """One or two balance shafts for an order, within a box (default along the block, on the crank's axis)."""
    balance = find_balance(case_file, aim.speeds[0])
    goal: Goal = FreeGoal(balance, order, aim.kind)
    if aim.kind == "sensor":
        goal = sensor_goal(case_file, aim, order)
    return Cure(shafts=tuple(find_shafts(goal, order, count, box or Box(block_length(balance)), most)))


def by_mass(case_file: CaseFile, aim: Aim, names: list[str], most: float | None = None) -> Cure:
    """Heavier reciprocating parts on named cylinders, each by at most `most` kg (three times what the
    first reciprocates unless given), with counterweights.

    Raises InputError for a name no cylinder has, or a goal at a sensor, which does not fix a mass.
    """
    if aim.kind == "sensor":
        raise InputError("--goal: got sensor; must be force or couple where mass is the cure")
    balance = find_balance(case_file, aim.speeds[0])
    known = [cylinder.name for cylinder in balance.layout.cylinders]
    for name in names:
        if name not in known:
            raise InputError(f"--cylinders: got '{name}'; {nearest(name, known)}")
    first = balance.layout.cylinders[0]
    most = MOST_ADDED * (first.piston_mass + first.small_end_mass) if most is None else most
    added = find_masses(balance, aim.kind, [known.index(name) for name in names], most)
    heavier = Cure(masses=tuple((name, float(mass)) for name, mass in zip(names, added, strict=True) if mass > 1e-9))
    weighed = cured(case_file, heavier)
    return Cure(counterweights=by_counterweights(weighed, aim).counterweights, masses=heavier.masses)


def sensor_goal(case_file: CaseFile, aim: Aim, order: float) -> SensorGoal:
    """What the aim's sensor feels of an order. Raises InputError when there is no such sensor."""
    sensors = [sensor.name for sensor in case_file.case.sensor]
    if not sensors:
        raise InputError("sensor: is missing; the goal is what a [[sensor]] feels")
    name = aim.sensor if aim.sensor is not None else sensors[0]
    if name not in sensors:
        raise InputError(f"--sensor: got '{name}'; {nearest(name, sensors)}")
    responses = tuple(response_of(case_file, speed) for speed in aim.speeds)
    return SensorGoal(responses, sensors.index(name), aim.contact, order)


def response_of(case_file: CaseFile, speed: float) -> OrderResponse:
    """The linear model at a speed (rad/s), about the equilibrium under the mean output torque there."""
    packed = pack(_at_speed(case_file, speed).case, case_file.folder)
    return order_response(packed, case_file.case.sensor, speed, _mean_torque(packed, speed), case_file.case.mount)


def _at_speed(case_file: CaseFile, speed: float) -> CaseFile:
    case = case_file.case
    if case.run is None:
        raise InputError("run: is missing; what mounts and sensors feel is asked at its load")
    run = case.run.model_copy(update={"kind": "steady", "speed": speed})
    return CaseFile(case.model_copy(update={"run": run}), case_file.text, case_file.folder, case_file.name)


def _mean_torque(packed: Packed, speed: float) -> float:
    angles = np.linspace(0.0, packed.cycle, GAS_POINTS, endpoint=False)
    gas = np.mean([gas_torque(angle, speed, packed.model) for angle in angles])
    return float(gas) - losses_at(packed, speed)


def cured_text(text: str, cure: Cure, layout: Layout) -> str:
    """The case file's text with a cure entered, comments and order kept."""
    document = tomlkit.parse(text)
    engine: Any = document["engine"]
    _extend(engine["crank"], "counterweight", [_counterweight(weight) for weight in cure.counterweights])
    _extend(engine, "balance_shaft", [_shaft(shaft) for shaft in cure.shafts])
    by_name = {cylinder.name: (n, cylinder) for n, cylinder in enumerate(layout.cylinders)}
    for name, mass in cure.masses:
        index, cylinder = by_name[name]
        piston = tomlkit.inline_table()
        piston["mass_g"] = round(1e3 * (cylinder.piston_mass + mass), 6)
        engine["cylinder"][index]["piston"] = piston
    return tomlkit.dumps(document)


def _extend(table: Any, key: str, rows: list[dict[str, Any]]) -> None:
    if not rows:
        return
    tables = tomlkit.aot()
    for row in [dict(old) for old in table.get(key, [])] + rows:
        tables.append(tomlkit.item(row))
    tables[-1].add(tomlkit.nl())
    table[key] = tables


def _counterweight(weight: Eccentric) -> dict[str, Any]:
    return {
        "at_mm": round(1e3 * weight.place[0], 6),
        "angle_deg": round(math.degrees(weight.angle), 7),
        "unbalance_kg_mm": round(1e3 * weight.unbalance, 9),
    }


def _shaft(shaft: Eccentric) -> dict[str, Any]:
    place = [round(1e3 * value, 6) for value in shaft.place[1:]]
    return {"ratio": shaft.ratio, "position_mm": place} | _counterweight(shaft)


def cured(case_file: CaseFile, cure: Cure) -> CaseFile:
    """The case with a cure in it, read back from its text like any other."""
    assert case_file.case.engine is not None
    text = cured_text(case_file.text, cure, resolve_layout(case_file.case.engine))
    return parse_case(text, case_file.folder, case_file.name)


def felt(case_file: CaseFile, speed: float) -> dict[str, dict[str, float]]:
    """Forecast by the linear model at a speed (rad/s): rms of the resultant over all orders up to 6, unweighted, of
    every mount (N) and sensor (m/s²), by name; empty without mounts or a run to take the load from."""
    case = case_file.case
    if not case.mount or case.run is None:
        return {"mounts": {}, "sensors": {}}
    response = response_of(case_file, speed)
    square = {"mounts": np.zeros(len(case.mount)), "sensors": np.zeros(len(case.sensor))}
    for step in range(1, int(HIGHEST_FELT * response.turns) + 1):
        order = step / response.turns
        moved = response.displacement(order, response.excitation(order))
        for what, found in (("mounts", response.mounts(order, moved)), ("sensors", response.sensors(order, moved))):
            square[what] += 0.5 * np.sum(np.abs(found) ** 2, axis=1)
    names = {"mounts": [mount.name for mount in case.mount], "sensors": [sensor.name for sensor in case.sensor]}
    return {what: dict(zip(names[what], np.sqrt(square[what]).tolist(), strict=True)) for what in square}
