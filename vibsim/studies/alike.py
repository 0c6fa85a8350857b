"""Engines made alike before they are compared: one displacement, or one power at every speed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vibsim.engine.layout import resolve_layout
from vibsim.engine.load_target import at_load
from vibsim.inputs.errors import InputError
from vibsim.inputs.friction_models import Friction, SimpleFriction
from vibsim.inputs.loader import CaseFile
from vibsim.inputs.models import Counterweight, Crank, CycleGas, Cylinder, Engine, Piston, Rod, Run
from vibsim.solver.crank_torque import mean_torque
from vibsim.solver.packed import pack

LOAD_TOLERANCE = 1e-7  # of full load


def similar_engine(engine: Engine, factor: float) -> Engine:
    """The geometrically similar engine, every length times `factor`, of the same materials and pressures.

    Derived: masses and volumes grow with the cube, unbalances (mass × length) with the fourth and inertias with the
    fifth power, flow areas with the square; friction torques go with the displacement, mean effective pressures and
    angles stay. The place of the crank in the vehicle, the accessories and the load, which belong to the vehicle, stay.
    """
    crank = engine.crank
    weights = tuple(
        weight.model_copy(update={"at": factor * weight.at, "unbalance": factor**4 * weight.unbalance})
        for weight in crank.counterweight
    )
    shafts = tuple(
        shaft.model_copy(
            update={
                "position": (factor * shaft.position[0], factor * shaft.position[1]),
                "at": factor * shaft.at,
                "unbalance": factor**4 * shaft.unbalance,
                "inertia": factor**5 * shaft.inertia,
            }
        )
        for shaft in engine.balance_shaft
    )
    update = {
        "bore": factor * engine.bore,
        "stroke": factor * engine.stroke,
        "rod_length": factor * engine.rod_length,
        "piston": _piston(engine.piston, factor),
        "rod": _rod(engine.rod, factor),
        "crank": _crank(crank, factor, weights),
        "cylinder": tuple(_cylinder(cylinder, factor) for cylinder in engine.cylinder),
        "balance_shaft": shafts,
        "friction": _friction(engine.friction, factor),
    }
    if isinstance(engine.gas, CycleGas):
        areas = {"intake_flow_area": engine.gas.intake_flow_area, "exhaust_flow_area": engine.gas.exhaust_flow_area}
        given = {name: factor**2 * area for name, area in areas.items() if area is not None}
        update["gas"] = engine.gas.model_copy(update=given)
    return engine.model_copy(update=update)


def _crank(crank: Crank, factor: float, weights: tuple[Counterweight, ...]) -> Crank:
    places = crank.main_bearings_at
    update = {
        "inertia": factor**5 * crank.inertia,
        "unbalance": _unbalance(crank, factor),
        "counterweight": weights,
        "main_bearings_at": None if places is None else tuple(factor * place for place in places),
    }
    return crank.model_copy(update=update)


def _friction(friction: Friction, factor: float) -> Friction:
    if not isinstance(friction, SimpleFriction):
        return friction
    return friction.model_copy(update={"torque": factor**3 * friction.torque, "viscous": factor**3 * friction.viscous})


def _piston(piston: Piston, factor: float) -> Piston:
    return Piston(mass=factor**3 * piston.mass)


def _rod(rod: Rod, factor: float) -> Rod:
    return Rod(
        mass=factor**3 * rod.mass,
        centre_of_mass=factor * rod.centre_of_mass,
        inertia=factor**5 * rod.inertia,
    )


def _unbalance(crank: Crank, factor: float) -> float | tuple[float, ...] | None:
    if isinstance(crank.unbalance, tuple):
        return tuple(factor**4 * value for value in crank.unbalance)
    return None if crank.unbalance is None else factor**4 * crank.unbalance


def _cylinder(cylinder: Cylinder, factor: float) -> Cylinder:
    names = ("at", "piston_pin_offset", "bore", "stroke", "rod_length")
    values = {name: getattr(cylinder, name) for name in names}
    update = {name: factor * value for name, value in values.items() if value is not None}
    own = {
        "piston": cylinder.piston and _piston(cylinder.piston, factor),
        "rod": cylinder.rod and _rod(cylinder.rod, factor),
    }
    return cylinder.model_copy(update=update | own)


def same_displacement(case_files: list[CaseFile]) -> tuple[list[CaseFile], list[float]]:
    """The cases with their engines scaled to the first one's swept volume, and the factors of length.

    Bodies, mounts, sensors and the rest of the vehicle stay as given. Raises InputError when a case has no engine, or
    when the scaled moving parts no longer fit into the body that was weighed with them.
    """
    volumes = [resolve_layout(_engine(case_file)).swept_volume for case_file in case_files]
    factors = [float(volumes[0] / volume) ** (1.0 / 3.0) for volume in volumes]
    factors[0] = 1.0
    return [_scaled(case_file, factor) for case_file, factor in zip(case_files, factors, strict=True)], factors


def _scaled(case_file: CaseFile, factor: float) -> CaseFile:
    if factor == 1.0:
        return case_file
    engine = similar_engine(_engine(case_file), factor)
    scaled = replace(case_file, case=case_file.case.model_copy(update={"engine": engine}))
    try:
        pack(scaled.case, scaled.folder)
    except InputError as error:
        words = f"{case_file.name}: with its engine scaled by {factor:.3f} in length"
        raise InputError([f"{words}: {problem}" for problem in error.problems]) from None
    return scaled


def _engine(case_file: CaseFile) -> Engine:
    engine = case_file.case.engine
    if engine is None:
        raise InputError(f"{case_file.name}: engine: is missing; compare needs an [engine] table")
    return engine


def run_at(case_file: CaseFile, speed: float, load: float | None = None, **changes: object) -> CaseFile:
    """The case as a steady run at a speed (rad/s) and a load (0 to 1, as given if None)."""
    run = case_file.case.run
    if run is None:
        raise InputError(f"{case_file.name}: run: is missing; compare takes load and tolerances from it")
    new: Run = run.model_copy(update={"kind": "steady", "speed": speed, **changes})
    new = new if load is None else at_load(new, load)
    return replace(case_file, case=case_file.case.model_copy(update={"run": new}))


def brake_torque(case_file: CaseFile, speed: float, load: float | None = None) -> float:
    """Mean of gas less friction torque (N m) at constant speed (rad/s) on a still block."""
    case_file = run_at(case_file, speed, load)
    return mean_torque(pack(case_file.case, case_file.folder), speed)


def loads_of_same_power(case_files: list[CaseFile], speeds: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Loads (cases, speeds) at which every engine gives the first one's brake torque, hence power, and what is missing.

    The first keeps its own load. `missing` (cases, speeds) is +1 where even full load gives too little, −1 where load 0
    gives too much, else 0. Raises InputError unless every case has gas source "cycle" and a load to turn.
    """
    _require_throttle(case_files)
    loads, missing = np.empty((len(case_files), len(speeds))), np.zeros((len(case_files), len(speeds)), dtype=int)
    for column, speed in enumerate(map(float, speeds)):
        wanted = brake_torque(case_files[0], speed)
        first = case_files[0]
        loads[0, column] = pack(run_at(first, speed).case, first.folder).load
        for row, case_file in enumerate(case_files[1:], start=1):
            loads[row, column], missing[row, column] = _load_for(case_file, speed, wanted)
    return loads, missing


def _load_for(case_file: CaseFile, speed: float, wanted: float) -> tuple[float, int]:
    from scipy.optimize import brentq

    def over(load: float) -> float:
        return brake_torque(case_file, speed, load) - wanted

    if over(1.0) < 0.0:
        return 1.0, 1
    if over(0.0) > 0.0:
        return 0.0, -1
    return float(brentq(over, 0.0, 1.0, xtol=LOAD_TOLERANCE)), 0


def _require_throttle(case_files: list[CaseFile]) -> None:
    problems = []
    for index, case_file in enumerate(case_files):
        gas = _engine(case_file).gas
        if not isinstance(gas, CycleGas):
            problems.append(
                f"{case_file.name}: engine.gas.source: got '{gas.source}'; --same power needs 'cycle', whose power "
                "follows run.load"
            )
        elif index and gas.intake_pressure is not None:
            problems.append(
                f"{case_file.name}: engine.gas.intake_pressure: got {1e-3 * gas.intake_pressure:g} kPa; leave it out "
                "for --same power, which finds the intake pressure by run.load"
            )
    if problems:
        raise InputError(problems)
