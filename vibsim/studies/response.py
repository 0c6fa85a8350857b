"""The frequency-domain answer of a case: engine orders over speed, and responses to a force or to a shaking ground."""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np

from vibsim.inputs.case_checks import GROUND
from vibsim.inputs.errors import InputError, VibsimError, nearest
from vibsim.inputs.loader import CaseFile
from vibsim.solver.frequency import FrequencyModel, frequency_model, moved_as_one
from vibsim.solver.order_response import HIGHEST_SUMMED
from vibsim.solver.packed import pack
from vibsim.solver.simulate import Progress, no_progress
from vibsim.studies.cures.cure import response_of

AXES = ("X", "Y", "Z")
LEFT_OUT = (
    "Linear, about rest under weight and mean torque, shafts by their slope there, their dry friction by the damper "
    "that takes as much: left out are the swing of the moving parts' inertia over the "
    "revolution and what mounts do at more than small motion; vibsim run has both."
)
Along = Literal["X", "Y", "Z"]


@dataclass(frozen=True)
class OrderLevels:
    """What engine orders make sensors and mounts feel over crank speeds (n, rad/s), counted over the crank angle.

    `sensor` (n, orders, sensors, 3) m/s² and `mount` (n, orders, mounts, 3) N, complex amplitudes along vehicle axes:
    value = Re(amplitude·e^{i·order·θ}), the force on a mount's second body. `torque` (n) mean output torque N m,
    `swing` (n) greatest less least crank speed over the mean.
    """

    title: str
    speeds: np.ndarray
    orders: tuple[float, ...]
    sensors: list[str]
    mounts: list[str]
    sensor: np.ndarray
    mount: np.ndarray
    torque: np.ndarray
    swing: np.ndarray

    def rows(self) -> list[dict[str, Any]]:
        """One row per speed, order and sensor or mount: the size of the three amplitudes together."""
        rows = []
        for what, names, felt, unit in (
            ("sensor", self.sensors, self.sensor, "m/s2"),
            ("mount", self.mounts, self.mount, "N"),
        ):
            size = np.linalg.norm(felt, axis=-1)
            for s, speed in enumerate(self.speeds):
                for o, order in enumerate(self.orders):
                    for n, name in enumerate(names):
                        rows.append(
                            {
                                "speed_rpm": float(speed) * 30.0 / math.pi,
                                "order": order,
                                "frequency_Hz": order * float(speed) / (2.0 * math.pi),
                                "what": what,
                                "name": name,
                                "unit": unit,
                                "amplitude": float(size[s, o, n]),
                                "along": dict(zip(AXES, np.abs(felt[s, o, n]).tolist(), strict=True)),
                                "phase_deg": dict(zip(AXES, np.degrees(np.angle(felt[s, o, n])).tolist(), strict=True)),
                            }
                        )
        return rows


@dataclass(frozen=True)
class Shake:
    """Where a case is shaken: a body at a place (3) m as drawn, or the ground (then `place` has no part), along an
    axis. Without a place a force acts at the centre of mass, and on no elastic mode of the body."""

    body: str
    along: Along
    place: tuple[float, float, float] | None = None


@dataclass(frozen=True)
class ForceResponse:
    """Responses at frequencies (n, Hz) per unit of a shake.

    Under a force: `sensor` (n, sensors, 3) m/s² per N, `mount` (n, mounts, 3) N per N, `passed` (n) the force that the
    shaken body's mounts hand on along the shake, N per N. Under ground motion all are per m/s² of it, `passed` None.
    """

    title: str
    shake: Shake
    frequencies: np.ndarray
    sensors: list[str]
    mounts: list[str]
    sensor: np.ndarray
    mount: np.ndarray
    passed: np.ndarray | None

    def rows(self) -> list[dict[str, Any]]:
        """One row per frequency, sensor or mount and axis: size and phase."""
        rows = []
        per = "m/s2" if self.shake.body == GROUND else "N"
        for what, names, felt, unit in (
            ("sensor", self.sensors, self.sensor, "m/s2"),
            ("mount", self.mounts, self.mount, "N"),
        ):
            for f, frequency in enumerate(self.frequencies):
                for n, name in enumerate(names):
                    for axis, value in zip(AXES, felt[f, n], strict=True):
                        rows.append(
                            {
                                "frequency_Hz": float(frequency),
                                "what": what,
                                "name": name,
                                "axis": axis,
                                "unit": f"{unit} per {per}",
                                "size": float(abs(value)),
                                "phase_deg": math.degrees(np.angle(value)),
                            }
                        )
        return rows


def order_levels(
    case_file: CaseFile, speeds: np.ndarray, orders: tuple[float, ...] | None = None, progress: Progress = no_progress
) -> OrderLevels:
    """Levels of orders (by default all up to the third) over crank speeds (rad/s) at the run's load.

    Raises InputError without an engine, a run or mounts, or for an order that the working cycle has not; RunFailure
    when there is no equilibrium.
    """
    if case_file.case.engine is None:
        raise InputError("engine: is missing; orders need an [engine] table")
    if not case_file.case.mount:
        raise InputError("mount: is missing; a response needs something that holds the bodies")
    turns = case_file.case.engine.strokes // 2
    wanted = _orders(orders, turns)
    sensor, mount, torque, swing = [], [], [], []
    for n, speed in enumerate(speeds):
        response = response_of(case_file, float(speed))
        at_sensors, at_mounts = response.over_angle()
        picked = [round(order * turns) for order in wanted]
        sensor.append(at_sensors[picked])
        mount.append(at_mounts[picked])
        torque.append(response.torque)
        swing.append(response.push.swing)
        progress("speeds", n + 1, len(speeds))
    case = case_file.case
    return OrderLevels(
        title=case.case.title or case_file.name,
        speeds=np.asarray(speeds, dtype=float),
        orders=wanted,
        sensors=[item.name for item in case.sensor],
        mounts=[item.name for item in case.mount],
        sensor=np.array(sensor),
        mount=np.array(mount),
        torque=np.array(torque),
        swing=np.array(swing),
    )


def _orders(orders: tuple[float, ...] | None, turns: int) -> tuple[float, ...]:
    if orders is None:
        return tuple(step / turns for step in range(1, 3 * turns + 1))
    for order in orders:
        if not 0.0 < order <= HIGHEST_SUMMED or abs(order * turns - round(order * turns)) > 1e-9:
            raise InputError(
                f"--orders: got {order:g}; must be more than 0, at most {HIGHEST_SUMMED:g}, in steps of {1.0 / turns:g}"
            )
    return tuple(sorted(set(orders)))


def force_response(case_file: CaseFile, frequencies: np.ndarray, shake: Shake) -> ForceResponse:
    """Responses at frequencies (Hz) to a unit force on a body, or a unit acceleration of the ground.

    About rest at the run's mean torque where the case has an engine and a run; the crank turns freely at its speed.
    Raises InputError for a body the case has not, RunFailure when there is no equilibrium.
    """
    case = case_file.case
    names = [body.name for body in case.body]
    if shake.body != GROUND and shake.body not in names:
        raise InputError(f"--shake: got '{shake.body}'; no such body; {nearest(shake.body, [*names, GROUND])}")
    if not case.mount:
        raise InputError("mount: is missing; a response needs something that holds the bodies")
    model = _model(case_file)
    axis = AXES.index(shake.along)
    sensor, mount, passed = [], [], []
    for frequency in frequencies:
        rate = 2.0 * math.pi * float(frequency)
        moved = model.displacement(rate, _push(model, shake, names, rate)[:, axis])
        sensor.append(model.sensors(rate, moved))
        mount.append(model.mounts(rate, moved))
        if shake.body == GROUND:  # the stretch of a mount to the ground is against ground that moves too
            mount[-1] = mount[-1] + _grounded(model, rate)[..., axis] / -(rate**2)
        passed.append(_handed_on(mount[-1], case_file, shake.body)[axis])
    return ForceResponse(
        title=case.case.title or case_file.name,
        shake=shake,
        frequencies=np.asarray(frequencies, dtype=float),
        sensors=[item.name for item in case.sensor],
        mounts=[item.name for item in case.mount],
        sensor=np.array(sensor),
        mount=np.array(mount),
        passed=None if shake.body == GROUND else np.array(passed),
    )


def _model(case_file: CaseFile) -> FrequencyModel:
    case = case_file.case
    if case.engine is not None and case.run is not None and case.run.speed:
        return response_of(case_file, abs(case.run.speed)).model
    return frequency_model(pack(case, case_file.folder), case.sensor, mounts=case.mount)


def _push(model: FrequencyModel, shake: Shake, names: list[str], rate: float) -> np.ndarray:
    """Push (unknowns, 3) of a unit force, or of a unit acceleration of the ground (motion −1/ω²)."""
    if shake.body == GROUND:
        return model.ground_at(rate) / -(rate**2)
    body = names.index(shake.body)
    place = model.packed.centres[body] if shake.place is None else np.array(shake.place)
    push = model.force_at(body, place)
    if shake.place is not None:
        push[6 * len(names) :] = model.packed.flexible.shape_at(body, place).T
    return push


def _grounded(model: FrequencyModel, rate: float) -> np.ndarray:
    """Force (mounts, 3, 3) on second bodies as the ground moves by one along X, Y, Z and all bodies stay."""
    return -model.mounts(rate, moved_as_one(model.packed).astype(complex))


def _handed_on(force: np.ndarray, case_file: CaseFile, body: str) -> np.ndarray:
    """Force (3) that the mounts of a body put on what they hold it to."""
    total = np.zeros(3, dtype=complex)
    for number, mount in zip(force, case_file.case.mount, strict=True):
        if body in mount.between:
            total += number if mount.between[0] == body else -number
    return total


def write_csv(rows: list[dict[str, Any]], path: Path) -> Path:
    """Rows as a table of comma-separated values; a column that holds a table of axes becomes one per axis."""
    flat = [
        {
            f"{key}_{name}" if name else key: item
            for key, value in row.items()
            for name, item in (value.items() if isinstance(value, dict) else [("", value)])
        }
        for row in rows
    ]
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("w", newline="", encoding="utf-8") as file:
            writer = csv.DictWriter(file, fieldnames=list(flat[0]))
            writer.writeheader()
            writer.writerows(flat)
    except OSError as error:
        raise VibsimError(f"{path}: cannot be written ({error.strerror})") from None
    return path
