"""Every measure of `[size]` as a function of the bench's answers: one number per candidate, SI units."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from vibsim.engine.layout import resolve_layout
from vibsim.inputs.errors import InputError, nearest
from vibsim.inputs.loader import CaseFile
from vibsim.inputs.sizing_models import (
    ClearanceMeasure,
    DecouplingMeasure,
    DeflectionMeasure,
    ModeFrequencyMeasure,
    ModeMeasure,
    MountForceMeasure,
    MovementMeasure,
    OrderGapMeasure,
    RestForceMeasure,
    RestMeasure,
    SensorMeasure,
    SeparationMeasure,
    SpeedMeasure,
)
from vibsim.post.weighting import axis_weights
from vibsim.studies.load_cases import deliver, full_torque, load_cases_of, pack_for_statics, preload_of
from vibsim.studies.modes import DIRECTIONS
from vibsim.studies.sizing.bench import WEIGHT, Answers, Load, Needs
from vibsim.studies.sizing.meter import RPM, Meter, Read
from vibsim.studies.statics import point_move

WAYS = ("X", "Y", "Z")
MORE_IS_BETTER = (ClearanceMeasure, DecouplingMeasure, OrderGapMeasure, SeparationMeasure)
Squares = Callable[[Answers, np.ndarray], np.ndarray]


@dataclass
class Maker:
    """Turns measures into meters, collecting what they need of the bench."""

    case_file: CaseFile
    needs: Needs
    turned: list[int]

    def __post_init__(self) -> None:
        case = self.case_file.case
        self.bodies = [body.name for body in case.body]
        self.mounts = [mount.name for mount in case.mount]
        self.sensors = [sensor.name for sensor in case.sensor]

    def make(self, measure: Any, where: str) -> Meter:
        """The meter of one measure; `where` begins messages. Raises InputError."""
        kinds: dict[type, Callable[[Any, str], Meter]] = {
            SensorMeasure: self._sensor,
            MountForceMeasure: self._mount_force,
            DeflectionMeasure: self._deflection,
            RestForceMeasure: self._rest_force,
            MovementMeasure: self._movement,
            ClearanceMeasure: self._clearance,
            DecouplingMeasure: self._decoupling,
            ModeFrequencyMeasure: self._frequency,
            OrderGapMeasure: self._gap,
            SeparationMeasure: self._separation,
        }
        return kinds[type(measure)](measure, where)

    def _meter(self, measure: Any, name: str, unit: str, scale: float, read: Read, **more: Any) -> Meter:
        return Meter(
            name=measure.name or name,
            unit=unit,
            scale=scale,
            sign=-1.0 if isinstance(measure, MORE_IS_BETTER) else 1.0,
            read=read,
            target=measure.target,
            most=measure.most,
            least=measure.least,
            model=measure,
            **more,
        )

    # over speeds

    def _grid(self, measure: SpeedMeasure) -> tuple[tuple[float, ...], tuple[float, ...], np.ndarray]:
        """Speeds (n), orders (k) and lanes (n, k) of a measure."""
        size, run = self.case_file.case.size, self.case_file.case.run
        assert size is not None
        span = measure.speeds or size.speeds
        if span is None:
            assert run is not None
            span = (abs(run.speed), abs(run.speed))
        speeds = (span[0],) if span[0] == span[1] else tuple(np.linspace(*span, size.points).tolist())
        orders = tuple(measure.orders or size.orders)
        lanes = np.array([[self.needs.lane(speed, order) for order in orders] for speed in speeds])
        return speeds, orders, lanes

    def _over_speeds(
        self, measure: SpeedMeasure, name: str, unit: str, size: Callable[[Answers, np.ndarray], np.ndarray]
    ):
        """`size` gives squared amplitudes (candidates, n, k) of lanes (n, k)."""
        speeds, orders, lanes = self._grid(measure)

        def curve(answers: Answers) -> np.ndarray:
            return np.sqrt(0.5 * size(answers, lanes).sum(axis=2))

        def alone(order: int) -> Read:
            return lambda answers: np.sqrt(0.5 * size(answers, lanes)[:, :, order])

        def read(answers: Answers) -> np.ndarray:
            level = curve(answers)
            return level.max(axis=1) if measure.over == "worst" else np.sqrt((level**2).mean(axis=1))

        words = " + ".join(f"{order:g}" for order in orders)
        ends = f"{speeds[0] * RPM:.0f}" + (f"-{speeds[-1] * RPM:.0f}" if len(speeds) > 1 else "")
        over = "" if len(speeds) == 1 else (", worst" if measure.over == "worst" else ", mean")
        shown = f"{name}, orders {words}, {ends} rpm{over}"
        return self._meter(measure, shown, unit, 1.0, read, speeds=speeds, orders=orders, curve=curve, alone=alone)

    def _sensor(self, measure: SensorMeasure, where: str) -> Meter:
        number = self.sensors.index(measure.sensor)
        speeds, orders, _ = self._grid(measure)
        weights = np.array(
            [[axis_weights(measure.contact, order * speed / (2.0 * math.pi)) for order in orders] for speed in speeds]
        )

        def size(answers: Answers, lanes: np.ndarray) -> np.ndarray:
            return np.sum(np.abs(answers.felt[:, lanes, number] * weights) ** 2, axis=-1)

        contact = "" if measure.contact == "plain" else f" as a {measure.contact}"
        return self._over_speeds(measure, f"{measure.sensor}{contact}", "m/s² rms", size)

    def _mount_force(self, measure: MountForceMeasure, where: str) -> Meter:
        self.needs.mounts = True
        numbers = [self.mounts.index(measure.mount)] if measure.mount else self.turned

        def size(answers: Answers, lanes: np.ndarray) -> np.ndarray:
            square = np.sum(np.abs(answers.mount[:, lanes][:, :, :, numbers]) ** 2, axis=-1)
            worst = square.sum(axis=2).argmax(axis=-1)
            return np.take_along_axis(square, worst[:, :, None, None], axis=3)[..., 0]

        name = f"force of {measure.mount}" if measure.mount else "force of the worst mount"
        return self._over_speeds(measure, name, "N rms", size)

    # at rest

    def _load(self, measure: RestMeasure, where: str) -> tuple[int, str]:
        """Number of the load a measure rests under, and its words."""
        speed = 0.0
        if measure.load_case is not None:
            if measure.torque or any(measure.acceleration):
                raise InputError(f"{where}.load_case: got '{measure.load_case}'; goes without torque and acceleration")
            return self.needs.load(self._load_case(measure.load_case, where)), f"in '{measure.load_case}'"
        words = []
        if measure.torque:
            words.append(f"under {measure.torque:g} N m")
        if any(measure.acceleration):
            words.append("at " + ", ".join(f"{value / 9.80665:g}" for value in measure.acceleration) + " g")
        load = Load(measure.torque, speed, measure.acceleration)
        return self.needs.load(load), " ".join(words) or "under weight"

    def _load_case(self, name: str, where: str) -> Load:
        case = self.case_file.case
        known = {load.name: load for load in load_cases_of(case)[0]}
        if name not in known:
            raise InputError(f"{where}.load_case: got '{name}'; no such load case; {nearest(name, list(known))}")
        load, delivery = known[name], None
        packed = pack_for_statics(self.case_file)
        if load.torque_share and case.driveline is not None and case.engine is not None:
            torque = load.torque_share * full_torque(self.case_file)[0]
            delivery = deliver(case.driveline, case.engine, resolve_layout(case.engine), load.gear, torque)
        preload = preload_of(packed, case, load, delivery, "carried")
        moment = tuple(tuple(row) for row in preload.moment.tolist())
        acceleration = tuple(preload.acceleration.tolist())
        if packed.model.outlet is None or delivery is None:
            return Load(acceleration=acceleration, moment=moment)
        return Load(torque=delivery.at_crank, acceleration=acceleration, gear=load.gear)

    def _deflection(self, measure: DeflectionMeasure, where: str) -> Meter:
        load, words = self._load(measure, where)
        numbers = [self.mounts.index(measure.mount)] if measure.mount else self.turned

        def read(answers: Answers) -> np.ndarray:
            return _along(answers.rests[load].deflection[:, numbers], measure.along).max(axis=1)

        name = f"deflection of {measure.mount or 'the worst mount'}{_axis(measure.along)} {words}"
        return self._meter(measure, name, "mm", 1e-3, read)

    def _rest_force(self, measure: RestForceMeasure, where: str) -> Meter:
        load, words = self._load(measure, where)
        numbers = [self.mounts.index(measure.mount)] if measure.mount else self.turned

        def read(answers: Answers) -> np.ndarray:
            return np.asarray(np.linalg.norm(answers.rests[load].force[:, numbers], axis=-1).max(axis=1))

        return self._meter(measure, f"force at rest of {measure.mount or 'the worst mount'} {words}", "N", 1.0, read)

    def _movement(self, measure: MovementMeasure, where: str) -> Meter:
        load, words = self._load(measure, where)
        weight = self.needs.load(WEIGHT) if measure.measured_from == "weight" else None
        own = self.bodies.index(measure.body)
        other = self.bodies.index(measure.against) if measure.against in self.bodies else -1
        centres = [np.array(body.centre_of_mass) for body in self.case_file.case.body]
        place = np.array(measure.at)

        def move(answers: Answers, number: int) -> np.ndarray:
            at = answers.rests[number].at
            found = _carried(place, centres[own], at[:, own])
            return found if other < 0 else found - _carried(place, centres[other], at[:, other])

        def read(answers: Answers) -> np.ndarray:
            found = move(answers, load) - (0.0 if weight is None else move(answers, weight))
            return _along(found, measure.along)

        return self._meter(measure, f"movement of {measure.body}{_axis(measure.along)} {words}", "mm", 1e-3, read)

    def _clearance(self, measure: ClearanceMeasure, where: str) -> Meter:
        load, words = self._load(measure, where)
        case = self.case_file.case
        point = next(item for item in case.point if item.name == measure.point)
        if point.clearance is None and point.clearance_each_way is None:
            raise InputError(f"{where}.point: got '{point.name}'; it has no clearance_mm to keep")
        packed = pack_for_statics(self.case_file)

        def read(answers: Answers) -> np.ndarray:
            rows = [
                point_move(point, case, packed, at).left if np.isfinite(at).all() else math.nan
                for at in answers.rests[load].at
            ]
            return np.array(rows, dtype=float)

        return self._meter(measure, f"room at {measure.point} {words}", "mm", 1e-3, read)

    # modes

    def _own_modes(self, measure: ModeMeasure, where: str) -> Callable[[Answers], tuple[np.ndarray, np.ndarray]]:
        """Frequencies (n, 6) and shares (n, 6, 6) of the six modes that move a body most, by frequency."""
        self.needs.modes = True
        self.needs.load(WEIGHT)
        engine = self.case_file.case.engine
        name = measure.body or (engine.body if engine else self.bodies[0])
        body = self.bodies.index(name)

        def own(answers: Answers) -> tuple[np.ndarray, np.ndarray]:
            most = np.sort(np.argsort(answers.energy[:, :, body].sum(axis=-1), axis=1)[:, -6:], axis=1)
            frequency = np.take_along_axis(answers.frequency, most, axis=1)
            return frequency, np.take_along_axis(answers.energy[:, :, body], most[:, :, None], axis=1)

        return own

    def _decoupling(self, measure: DecouplingMeasure, where: str) -> Meter:
        own = self._own_modes(measure, where)

        def read(answers: Answers) -> np.ndarray:
            return np.asarray(own(answers)[1].max(axis=2).min(axis=1))

        return self._meter(measure, "decoupling of the least decoupled mode", "%", 0.01, read)

    def _of_direction(self, measure: Any, where: str) -> Read:
        own, number = self._own_modes(measure, where), DIRECTIONS.index(measure.direction)

        def read(answers: Answers) -> np.ndarray:
            frequency, shares = own(answers)
            return np.take_along_axis(frequency, shares[:, :, number].argmax(axis=1)[:, None], axis=1)[:, 0]

        return read

    def _frequency(self, measure: ModeFrequencyMeasure, where: str) -> Meter:
        return self._meter(measure, f"{measure.direction} mode", "Hz", 1.0, self._of_direction(measure, where))

    def _gap(self, measure: OrderGapMeasure, where: str) -> Meter:
        read = self._of_direction(measure, where)
        excited = measure.order * measure.speed / (2.0 * math.pi)
        name = f"{measure.direction} mode below order {measure.order:g} at {measure.speed * RPM:.0f} rpm"
        return self._meter(measure, name, "Hz", 1.0, lambda answers: excited - read(answers))

    def _separation(self, measure: SeparationMeasure, where: str) -> Meter:
        own = self._own_modes(measure, where)

        def read(answers: Answers) -> np.ndarray:
            return np.asarray(np.diff(np.sort(own(answers)[0], axis=1), axis=1).min(axis=1))

        return self._meter(measure, "least separation of modes", "Hz", 1.0, read)


def _axis(along: str | None) -> str:
    return "" if along is None else f" along {along}"


def _along(vector: np.ndarray, along: str | None) -> np.ndarray:
    """Size of vectors (..., 3), whole or along an axis."""
    return np.asarray(np.linalg.norm(vector, axis=-1) if along is None else np.abs(vector[..., WAYS.index(along)]))


def _carried(place: np.ndarray, centre: np.ndarray, at: np.ndarray) -> np.ndarray:
    """How far (n, 3) a point as drawn is carried by displacements (n, 6): shift and finite turn (Rodrigues)."""
    angle = np.linalg.norm(at[:, 3:], axis=1, keepdims=True)
    safe = np.where(angle > 1e-12, angle, 1.0)
    axis, arm = at[:, 3:] / safe, np.broadcast_to(place - centre, (len(at), 3))
    across = np.cross(axis, arm)
    return np.asarray(at[:, :3] + np.sin(angle) * across + (1.0 - np.cos(angle)) * np.cross(axis, across))
