"""Torsional vibration of crank and drivetrain: modes, critical speeds, and the answer to every order over speed.

Linear, about the mean torque: gas and inertia torques of the exact mechanism at constant speed drive the throws; the
block stands still, sliders and rods enter by their mean inertia, dry friction of shafts is left out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from vibsim.engine.drivetrain import Drivetrain, whole_drivetrain
from vibsim.engine.torsion import TorsionModes, dynamic_stiffness, holzer_table, mode_rows, torsion_modes
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import CaseFile
from vibsim.inputs.models import Case, Run
from vibsim.solver.packed import Packed, pack
from vibsim.solver.part_torques import PartTorques, part_torques
from vibsim.solver.simulate import Progress, no_progress

HIGHEST_ORDER = 12.0
GAS_SPEEDS = 9  # at which pressures are computed; linear between them
SPEED_POINTS = 241
USUAL = (0.25, 1.3)  # of the run's speed, where no range is given
SHARE_NAMED = 0.02  # of the strongest crossing, below which it is not worth a line
RPM = 30.0 / math.pi
LEFT_OUT = (
    "linear about the mean torque, crank speed constant, block still; dry friction of shafts left out; stages and lash "
    "by their slope there; rubber by its loss factor, which a run has as the viscous damper that loses as much at "
    "loss_frequency"
)


@dataclass(frozen=True, eq=False)
class Push:
    """What drives the throws between two crank speeds: `orders` (k); gas amplitudes (m, k, parts) N m at `nodes` (m)
    rad/s, inertia amplitudes (k, parts) per squared speed, mean torque (m) N m at the output."""

    nodes: np.ndarray
    orders: np.ndarray
    gas: np.ndarray
    inertia: np.ndarray
    mean: np.ndarray

    def at(self, speed: float) -> tuple[np.ndarray, float]:
        """Amplitudes (k, parts) N m and mean torque N m at a crank speed (rad/s)."""
        after = int(np.clip(np.searchsorted(self.nodes, speed), 1, len(self.nodes) - 1))
        low, high = self.nodes[after - 1], self.nodes[after]
        share = float(np.clip((speed - low) / (high - low), 0.0, 1.0))
        gas = (1.0 - share) * self.gas[after - 1] + share * self.gas[after]
        mean = (1.0 - share) * self.mean[after - 1] + share * self.mean[after]
        return gas + speed**2 * self.inertia, float(mean)


@dataclass(frozen=True, eq=False)
class Answer:
    """Over crank speeds (n) rad/s: complex angles (n, orders, parts) rad, shaft torques (n, orders, links) N m, of the
    cycle the greatest and least torque (n, links), mean included, and power lost in each shaft (n, links) W."""

    speeds: np.ndarray
    orders: np.ndarray
    angle: np.ndarray
    torque: np.ndarray
    greatest: np.ndarray
    least: np.ndarray
    lost: np.ndarray

    def twist(self, first: int, second: int) -> np.ndarray:
        """Amplitude (n, orders) rad of one part against another."""
        return np.abs(self.angle[:, :, first] - self.angle[:, :, second])


@dataclass(frozen=True)
class Crossing:
    """Where an order meets a mode: crank speed rad/s, amplitude there of nose against flywheel (rad) by that order, and
    of the shaft with most strain in that mode the torque amplitude (N m) by it; `felt` that torque at the crank."""

    speed: float
    order: float
    mode: int
    twist: float
    shaft: str
    torque: float
    felt: float


@dataclass(frozen=True, eq=False)
class Torsion:
    """Drivetrain, its modes about the mean torque at the middle of the speeds, answer and crossings; `answer` None of a
    rigid crank alone."""

    found: Drivetrain
    modes: TorsionModes
    load: float
    push: Push | None
    answer: Answer | None
    crossings: tuple[Crossing, ...]


def torsion_of(
    case_file: CaseFile, speeds: tuple[float, float] | None = None, progress: Progress = no_progress
) -> Torsion:
    """Torsion between two crank speeds (rad/s; default a usual range about the run's), at the run's load.

    Raises InputError for a case without an engine, VibsimError where no working cycle is found.
    """
    case = case_file.case
    low, high = _range(case, speeds)
    first = _packed(case_file, 0.5 * (low + high))
    found = first.drivetrain or _rigid(case, first)
    if not found.links:
        return Torsion(found, torsion_modes(found), first.load, None, None, ())
    push = push_of(case_file, found, low, high, progress)
    modes = torsion_modes(found, push.at(0.5 * (low + high))[1])
    answer = answer_of(found, push, _speeds(modes, push.orders, low, high))
    return Torsion(found, modes, first.load, push, answer, crossings(found, modes, answer))


def _speeds(modes: TorsionModes, orders: np.ndarray, low: float, high: float) -> np.ndarray:
    """Even steps, and where orders meet modes, so that no peak is cut."""
    meet = 2.0 * math.pi * np.divide.outer(modes.frequency[modes.frequency > 0.0], orders).ravel()
    return np.unique(np.concatenate([np.linspace(low, high, SPEED_POINTS), meet[(meet > low) & (meet < high)]]))


def _range(case: Case, speeds: tuple[float, float] | None) -> tuple[float, float]:
    if case.engine is None:
        raise InputError("engine: is missing; torsion needs an [engine] table, whose crank turns")
    if speeds is not None:
        if not speeds[0] < speeds[1]:
            raise InputError(f"--speed-rpm: got {speeds[0] * RPM:g} {speeds[1] * RPM:g}; must rise")
        return speeds
    speed = abs(case.run.speed) if case.run is not None else 0.0
    if speed == 0.0:
        raise InputError("--speed-rpm: is missing; the case has no [run] speed to set a usual range by")
    return USUAL[0] * speed, USUAL[1] * speed


def _packed(case_file: CaseFile, speed: float) -> Packed:
    """The case as in a steady run at a crank speed (rad/s)."""
    run = case_file.case.run or Run(speed=speed)
    update = {"kind": "steady", "speed": speed, "load_after": None, "variation": None, "misfire": None}
    return pack(case_file.case.model_copy(update={"run": run.model_copy(update=update)}), case_file.folder)


def _rigid(case: Case, packed: Packed) -> Drivetrain:
    assert packed.layout is not None
    return whole_drivetrain(case, packed.layout, packed.model.train)


def push_of(case_file: CaseFile, found: Drivetrain, low: float, high: float, progress: Progress = no_progress) -> Push:
    """Torques on the throws between two crank speeds (rad/s)."""
    nodes = np.linspace(low, high, GAS_SPEEDS)
    rows: list[PartTorques] = []
    for n, speed in enumerate(nodes):
        rows.append(part_torques(_packed(case_file, float(speed)), found, float(speed), HIGHEST_ORDER))
        progress("pressures", n + 1.0, float(len(nodes)))
    gas, mean = np.array([row.gas for row in rows]), np.array([row.mean for row in rows])
    return Push(nodes, rows[0].orders, gas, rows[0].inertia, mean)


def answer_of(found: Drivetrain, push: Push, speeds: np.ndarray) -> Answer:
    """Steady answer at crank speeds (n) rad/s."""
    orders, rows = push.orders, found.incidence
    lossy = np.array([link.loss_factor for link in found.links])
    damping = np.array([link.damping for link in found.links])
    angle = np.empty((len(speeds), len(orders), len(found.parts)), complex)
    torque = np.empty((len(speeds), len(orders), len(found.links)), complex)
    mean, lost = np.empty((len(speeds), len(found.links))), np.empty((len(speeds), len(found.links)))
    for n, speed in enumerate(speeds):
        amplitude, load = push.at(float(speed))
        rates = orders * speed
        angle[n] = np.linalg.solve(dynamic_stiffness(found, rates, load), amplitude[..., None])[..., 0]
        twist, stiffness = angle[n] @ rows.T, found.stiffnesses(load)
        torque[n] = twist * (stiffness * (1.0 + 1j * lossy) + 1j * rates[:, None] * damping)
        power = 0.5 * np.abs(twist) ** 2 * rates[:, None] * (stiffness * lossy + rates[:, None] * damping)
        lost[n], mean[n] = power.sum(axis=0), found.mean_torques(load)
    greatest, least = _extremes(torque, orders)
    return Answer(speeds, orders, angle, torque, mean + greatest, mean + least, lost)


def _extremes(amplitude: np.ndarray, orders: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Greatest and least over a cycle of sums of orders (n, orders, ...)."""
    theta = np.linspace(0.0, 2.0 * math.pi / orders[0], 1440, endpoint=False)
    phase = np.exp(1j * np.outer(theta, orders))
    course = np.real(np.einsum("tk,nkl->ntl", phase, amplitude))
    return course.max(axis=1), course.min(axis=1)


def crossings(found: Drivetrain, modes: TorsionModes, answer: Answer) -> tuple[Crossing, ...]:
    """Orders that meet elastic modes in the range, strongest torque felt at the crank first."""
    rows, strained = [], modes.strain.argmax(axis=1)
    speeds, nose = answer.speeds, answer.twist(found.nose, 0)
    for mode, frequency in enumerate(modes.frequency):
        for k, order in enumerate(answer.orders):
            speed = 2.0 * math.pi * frequency / order
            if frequency == 0.0 or not speeds[0] <= speed <= speeds[-1]:
                continue
            at = int(np.abs(speeds - speed).argmin())
            link = found.links[strained[mode]]
            torque = float(np.abs(answer.torque[at, k, strained[mode]]))
            felt = torque * abs(found.parts[link.first].ratio)
            rows.append(Crossing(speed, float(order), mode + 1, float(nose[at, k]), link.name, torque, felt))
    rows.sort(key=lambda row: -row.felt)
    strongest = rows[0].felt if rows else 0.0
    return tuple(row for row in rows if row.felt >= SHARE_NAMED * strongest)


def check_modes(option: str, modes: list[int], result: Torsion) -> None:
    """Raise InputError for the number of a mode there is none of."""
    for mode in modes:
        if not 1 <= mode <= len(result.modes.frequency):
            raise InputError(f"{option}: got {mode}; must be a mode from 1 to {len(result.modes.frequency)}")


def at_load(case_file: CaseFile, load: float | None) -> CaseFile:
    """The case at another load (0 to 1); None leaves its own. Raises InputError without a run."""
    run = case_file.case.run
    if load is None:
        return case_file
    if run is None:
        raise InputError("--load: the case has no [run] table to take it")
    run = run.model_copy(update={"load": load, "bmep": None, "torque": None, "power": None})
    return replace(case_file, case=case_file.case.model_copy(update={"run": run}))


def without_rotor(case_file: CaseFile, name: str) -> CaseFile:
    """The case without a rotor and its shafts."""
    case = case_file.case
    rotors = tuple(rotor for rotor in case.rotor if rotor.name != name)
    shafts = tuple(shaft for shaft in case.shaft if name not in shaft.between)
    return replace(case_file, case=case.model_copy(update={"rotor": rotors, "shaft": shafts}))


def as_dict(result: Torsion) -> dict[str, Any]:
    """Plain numbers for machines."""
    found, modes, answer = result.found, result.modes, result.answer
    rows: dict[str, Any] = {
        "rotors": [
            {"name": part.name, "inertia_kg_m2": part.felt, "ratio": part.ratio, "body": part.body}
            for part in found.parts
        ],
        "shafts": [
            {"name": link.name, "stiffness_N_m_per_rad": link.law.stiffness(0.0), "damping_N_m_s_per_rad": link.damping}
            for link in found.links
        ],
        "modes": mode_rows(found, modes),
    }
    if answer is None:
        return rows
    rows["holzer"] = [
        {"mode": n + 1, "rows": holzer_table(found, modes, n)} for n, value in enumerate(modes.frequency) if value > 0.0
    ]
    rows["critical_speeds"] = [
        {
            "speed_rpm": row.speed * RPM,
            "order": row.order,
            "mode": row.mode,
            "nose_against_flywheel_deg": math.degrees(row.twist),
            "shaft": row.shaft,
            "shaft_torque_N_m": row.torque,
        }
        for row in result.crossings
    ]
    rows["over_speed"] = {
        "speed_rpm": (answer.speeds * RPM).tolist(),
        "order": answer.orders.tolist(),
        "nose_against_flywheel_deg": np.degrees(answer.twist(found.nose, 0)).tolist(),
        "greatest_shaft_torque_N_m": answer.greatest.tolist(),
        "least_shaft_torque_N_m": answer.least.tolist(),
        "lost_power_W": answer.lost.tolist(),
    }
    return rows
