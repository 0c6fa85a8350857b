"""From a solution to labelled results with full provenance."""

from __future__ import annotations

import datetime
import platform
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from typing import Any

import numpy as np

from vibsim import __version__
from vibsim.engine.air_path import AirPath
from vibsim.engine.air_seen import SEEN
from vibsim.engine.charging.pack import ELECTRIC, NONE, SOURCES
from vibsim.inputs.loader import CaseFile
from vibsim.inputs.models import Sensor
from vibsim.results.engine_facts import engine_facts
from vibsim.results.labelled import FORMAT_VERSION, Group
from vibsim.results.road_facts import road_attributes
from vibsim.solver.history import History
from vibsim.solver.observe import Observed
from vibsim.solver.outcome import Outcome
from vibsim.solver.parts_seen import SEEN_OF_PARTS
from vibsim.solver.solution import Solution

AXES = ("X", "Y", "Z")
PART_WORDS = {"mean": "mean", "square": "mean square", "least": "least", "greatest": "greatest"}
COEFFICIENTS = ("flow", "head", "work", "slope of flow", "slope of head", "slope of work")
# name: dimensions after the first, units, description
QUANTITIES: dict[str, tuple[tuple[str, ...], str, str]] = {
    "crank_angle": ((), "rad", "crank angle relative to the block, unwound"),
    "crank_speed": ((), "rad s-1", "crank speed relative to the block"),
    "gas_torque": ((), "N m", "torque of the gas on the crank, positive in the direction of rotation"),
    "inertia_torque": (
        (),
        "N m",
        "torque on the crank of pistons, rods and unbalance, by inertia and weight, positive with the rotation",
    ),
    "load_torque": ((), "N m", "output torque, positive takes power from the engine"),
    "friction_torque": ((), "N m", "friction torque, positive against the direction of rotation"),
    "accessory_torque": (
        (),
        "N m",
        "torque of the accessories at the crank, positive against the direction of rotation",
    ),
    "starter_torque": ((), "N m", "torque of the starter at the crank, positive in the direction of rotation"),
    "starter_current": ((), "A", "current of the starter"),
    "battery_voltage": ((), "V", "voltage at the starter's battery"),
    "cylinder_pressure": (("cylinder",), "Pa", "absolute cylinder pressure"),
    "mount_force": (("mount", "axis"), "N", "force of the mount on the second body of between, vehicle axes"),
    "mount_deflection": (
        ("mount", "axis"),
        "m",
        "place of the mount's point on the second body less that on the first, vehicle axes",
    ),
    "mount_moment": (
        ("mount", "axis"),
        "N m",
        "moment of the mount on the second body from the turn between its bodies, vehicle axes",
    ),
    "rotor_speed": (("rotor",), "rad s-1", "speed of a rotor relative to the body that carries it"),
    "shaft_torque": (("shaft",), "N m", "torque in a shaft, positive when its first rotor drives its second"),
    "shaft_twist": (("shaft",), "rad", "twist of a shaft, its first rotor ahead of its second"),
    "body_displacement": (("body", "axis"), "m", "centre of mass from where it is drawn, vehicle axes"),
    "body_velocity": (("body", "axis"), "m s-1", "velocity of the centre of mass, vehicle axes"),
    "body_acceleration": (
        ("body", "axis"),
        "m s-2",
        "acceleration of the centre of mass, without gravity, vehicle axes",
    ),
    "body_rotation": (("body", "axis"), "rad", "rotation vector from as drawn, vehicle axes"),
    "sensor_acceleration": (
        ("sensor", "axis"),
        "m s-2",
        "acceleration of the sensor's point, without gravity, vehicle axes",
    ),
}


def collect(solution: Solution, case_file: CaseFile) -> Group:
    """Everything a run returns, labelled; `cycle` holds the crank-angle grid, one working cycle if steady."""
    results = without_record(solution, case_file)
    results.add("time", ("time",), solution.time, "s", "time from the start of the record")
    if solution.step is not None:
        results.add("step", ("time",), solution.step, "1", "which step of the run, from 0")
    _add_quantities(results, solution.over_time, "time")
    if solution.angle is not None and solution.over_angle is not None:
        steady = solution.periodic
        name, words = ("cycle_angle", "crank angle within one working cycle") if steady else ("angle", "crank angle")
        over_angle = Group(
            attributes={
                "cycle_length_rad": solution.packed.period if steady else solution.packed.cycle,
                "first_crank_angle_rad": solution.first_angle,
            }
        )
        over_angle.add(name, (name,), solution.angle, "rad", words)
        _add_quantities(over_angle, solution.over_angle, name)
        results.groups["cycle" if steady else "crank_grid"] = over_angle
    return results


def without_record(solution: Solution, case_file: CaseFile) -> Group:
    """Attributes, labels and groups that go with a record, not the record itself."""
    case = solution.case
    results = Group(attributes=provenance(solution, case_file))
    _add_labels(results, "axis", list(AXES), "vehicle axis (ISO 8855: X forward, Y left, Z up)")
    _add_labels(results, "body", [body.name for body in case.body], "body")
    _add_labels(results, "mount", [mount.name for mount in case.mount], "mount")
    _add_labels(results, "sensor", [sensor.name for sensor in case.sensor], "sensor")
    _add_contacts(results, case.sensor)
    _add_labels(results, "wheel", [wheel.name for wheel in case.wheel], "wheel")
    _add_labels(results, "occupant", [occupant.name for occupant in case.occupant], "occupant")
    contact = solution.contact if solution.driven is None else solution.driven.contact
    if contact is not None:
        words = "of the tyre on the road, over which it feels the road's mean height"
        results.add("contact_length", ("wheel",), contact, "m", words)
    cylinders = case.engine.cylinder if case.engine else ()
    _add_labels(results, "cylinder", [cylinder.name for cylinder in cylinders], "cylinder")
    if solution.packed.drivetrain is not None:
        _add_labels(results, "rotor", solution.packed.drivetrain.names, "rotor")
        words = "turns per crank turn"
        results.add("rotor_ratio", ("rotor",), solution.packed.drivetrain.ratios, "1", words)
        _add_labels(results, "shaft", solution.packed.drivetrain.shaft_names, "shaft")
    if solution.packed.model.air is not None:
        _add_air(results, solution.packed.model.air)
    facts = engine_facts(case, solution.packed)
    if facts is not None:
        results.groups["engine"] = facts
    if solution.history is not None:
        results.groups["history"] = history_group(solution.history)
        results.groups["steps"] = steps_group(solution.outcomes, solution.packed.cycle)
    return results


def history_group(history: History) -> Group:
    """Mean, mean square, least and greatest value of quantities over blocks of the record."""
    found = Group(attributes={"block_points": history.points, "sample_rate_Hz": history.rate})
    found.add("block", ("block",), np.array(history.time), "s", "middle of the block, from the start of the record")
    found.add("step", ("block",), np.array(history.step), "1", "which step of the run, from 0")
    for name in history.parts:
        dims, units, words = QUANTITIES.get(name) or SEEN_OF_PARTS.get(name) or ((), *SEEN[name][:2])
        for part, values in history.arrays(name).items():
            unit = f"({units})2" if part == "square" else units
            found.add(f"{name}_{part}", ("block", *dims), values, unit, f"{PART_WORDS[part]}: {words}")
    return found


def steps_group(outcomes: tuple[Outcome, ...], cycle: float) -> Group:
    """One group per step in their order, with what came of it as attributes and, on its `crank_grid`, the last whole
    working cycles (rad) of it."""
    found = Group(attributes={"count": len(outcomes)})
    for index, outcome in enumerate(outcomes):
        attributes = {"kind": outcome.kind, "begin_s": outcome.begin, "end_s": outcome.end, **outcome.figures}
        step = found.groups[f"{index + 1}"] = Group(attributes=attributes)
        if outcome.excerpt is not None:
            first = outcome.excerpt.first_angle
            over_angle = Group(attributes={"cycle_length_rad": cycle, "first_crank_angle_rad": first})
            over_angle.add("angle", ("angle",), outcome.excerpt.angle, "rad", "crank angle")
            _add_quantities(over_angle, outcome.excerpt.over_angle, "angle")
            step.groups["crank_grid"] = over_angle
    return found


def _add_air(results: Group, path: AirPath) -> None:
    """What the air path's quantities are to be read against: the target, limits, and the compressor's map."""
    if path.charger.kind == NONE:
        return
    parts, compressor = path.charger.parts[0], path.charger.compressor
    found = Group(
        attributes={
            "charging": {number: word for word, number in SOURCES.items()}[path.charger.kind],
            "target_boost_Pa": float(parts.air.target) - path.ambient,
            "ambient_pressure_Pa": path.ambient,
            "inlet_temperature_K": path.inlet_temperature,
            "reference_speed_rad_per_s": compressor.reference_speed,
            "reference_temperature_K": compressor.reference_temperature,
            "reference_pressure_Pa": compressor.reference_pressure,
        }
    )
    if path.charger.kind == ELECTRIC:
        limits = ("winding_start", "winding_limit", "inverter_start", "inverter_limit")
        found.attributes |= {f"{name}_K": float(parts.motor[name]) for name in limits}
    found.add("speed_line", ("speed_line",), compressor.lines, "1", "corrected speed over that of the top line")
    found.add("share", ("share",), compressor.shares, "1", "way along a line from surge to choke")
    found.add("coefficient", ("coefficient",), np.array(COEFFICIENTS, dtype=object), "1", "of the compressor map")
    found.add("map", ("speed_line", "share", "coefficient"), compressor.table, "1", "compressor map as tabulated")
    results.groups["charger"] = found


def _add_labels(results: Group, name: str, labels: list[str], long_name: str) -> None:
    if labels:
        results.add(name, (name,), np.array(labels, dtype=object), "1", long_name)


def _add_contacts(results: Group, sensors: tuple[Sensor, ...]) -> None:
    """How people touch the sensors, in words; nothing where nobody touches any."""
    if any(sensor.contact for sensor in sensors):
        words = [f"{item.contact or ''} {'standing' if item.posture == 'standing' else ''}".strip() for item in sensors]
        data = np.array(words, dtype=object)
        results.add("sensor_contact", ("sensor",), data, "1", "how people touch it; empty where they do not")


def _add_quantities(group: Group, observed: Observed, first: str) -> None:
    for name, (dims, units, long_name) in QUANTITIES.items():
        data = getattr(observed, name)
        if data is None or (data.shape[1:] and data.shape[1] == 0):
            continue  # nothing of this kind in the case
        group.add(name, (first, *dims), data, units, long_name)
    for name, data in observed.parts.items():
        dims, units, long_name = SEEN_OF_PARTS[name]
        group.add(name, (first, *dims), data, units, long_name)
    for name, data in (observed.air or {}).items():
        units, long_name, _ = SEEN[name]
        group.add(name, (first,), data, units, long_name)


def provenance(solution: Solution, case_file: CaseFile) -> dict[str, Any]:
    """Root attributes: case text and hash, versions, solver settings, residuals and counts; what was done to measured
    traces and what is doubtful, a line each."""
    run = solution.case.run
    assert run is not None
    attributes: dict[str, Any] = {
        "title": solution.case.case.title or case_file.name,
        "notes": solution.case.case.notes,
        "vibsim_format": FORMAT_VERSION,
        "vibsim_version": __version__,
        "versions": _versions(),
        "created": datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds"),
        "case_name": case_file.name,
        "case_text": case_file.text,
        "case_sha256": case_file.sha256,
        "run_kind": run.kind,
        "set_speed_rad_per_s": run.speed,
        "load": solution.packed.load,
        "strokes": solution.case.engine.strokes if solution.case.engine else 0,
        "solver": "Dormand-Prince 5(4), dense output of order 4",
        "relative_tolerance": run.relative_tolerance,
        "simulation_seconds": solution.seconds,
        "mount_notes": "\n".join(solution.packed.mount_notes),
        "gas_notes": "\n".join(solution.packed.remarks.notes),
        "warnings": "\n".join(solution.warnings),
        **{f"solver_{name}": count for name, count in solution.counts.items()},
    }
    if run.kind == "load_step":
        attributes |= {"load_after": run.load_after, "step_at_s": run.step_at, "speed_held": int(run.hold_speed)}
    if run.clutch is not None:
        attributes |= {"step_at_s": run.step_at, "clutch_shaft": run.clutch.shaft}
    attributes |= _variation(solution) | road_attributes(run)
    if solution.settling is not None:
        settling = solution.settling
        attributes |= {
            "solve": settling.solve,
            "settled": int(settling.settled),
            "settling_cycles": settling.cycles,
            "relative_tolerance": settling.relative_tolerance,
            "settling_residual": settling.residual,
            "settling_tolerance": settling.tolerance,
            "settling_slowest": settling.slowest,
            **({} if settling.departure is None else {"settling_departure": settling.departure}),
            "steady_load_torque_N_m": settling.load_torque,
            "steady_mean_speed_rad_per_s": settling.mean_speed,
        }
    if solution.floquet is not None:
        found = solution.floquet
        attributes |= {
            "floquet_multipliers_real": found.multipliers.real,
            "floquet_multipliers_imaginary": found.multipliers.imag,
            "floquet_largest": found.largest,
            "floquet_crank_speed": found.crank_speed,
            "settling_cycles_forecast": found.cycles_to(run.settle_tolerance),
        }
    return attributes


def _variation(solution: Solution) -> dict[str, Any]:
    """What differs from cycle to cycle: of the record, whole cycles of every cylinder."""
    run, found = solution.case.run, solution.variation
    attributes: dict[str, Any] = {}
    if run is not None and run.misfire is not None:
        attributes["misfire_cylinders"] = ", ".join(run.misfire.cylinders)
        attributes["misfire_pattern"] = " ".join(str(burns) for burns in run.misfire.burns)
    if found is not None:
        attributes["variation_seed"] = found.seed
        attributes["variation_asked"] = found.asked
        attributes["variation_cycles"] = found.cycles
        if found.found is not None and found.scatter is not None:
            attributes["variation_found"] = found.found
            attributes["variation_expected_scatter"] = found.scatter
    return attributes


@cache
def _versions() -> str:
    found = [f"python {platform.python_version()}"]
    for name in ("numpy", "scipy", "numba", "h5py", "pydantic", "pint"):
        try:
            found.append(f"{name} {version(name)}")
        except PackageNotFoundError:
            found.append(f"{name} unknown")
    return ", ".join(found)
