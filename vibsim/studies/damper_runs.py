"""What runs in the time domain say of a damper at the crank's nose: twist and torque of the crank by order."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from vibsim.engine.drivetrain import Drivetrain
from vibsim.inputs.loader import CaseFile
from vibsim.inputs.rotor_models import NOSE, Rotor, Shaft
from vibsim.solver.packed import pack
from vibsim.solver.simulate import Progress, no_progress, simulate
from vibsim.studies.alike import run_at
from vibsim.studies.torsion import RPM, Push, answer_of, without_rotor
from vibsim.studies.torsion_damper import Damper, DamperSizing

RECORD = 0.02  # s over time; what is compared comes from the last working cycle
STRONGEST = 6  # orders named
WITHOUT = "no damper"


@dataclass(frozen=True, eq=False)
class Ran:
    """One case at the speed: complex twist (orders) rad of nose against flywheel and torque (orders) N m of a shaft of
    the crank, each by the linear forecast and by the run; `swing` (2) rad greatest less least twist over a cycle."""

    name: str
    twist: tuple[np.ndarray, np.ndarray]
    torque: tuple[np.ndarray, np.ndarray]
    swing: tuple[float, float]
    settled: bool


@dataclass(frozen=True, eq=False)
class DamperRuns:
    """Runs at a crank speed (rad/s) where the twist is worst without the damper: without one, with the one replaced if
    any, with the one found. `orders` (n); `shaft` of the crank is the one most loaded without."""

    speed: float
    orders: np.ndarray
    shaft: str
    ran: tuple[Ran, ...]

    @property
    def strongest(self) -> np.ndarray:
        """Orders (indices) that twist most in any forecast."""
        most = np.max([np.abs(ran.twist[0]) for ran in self.ran], axis=0)
        return np.sort(np.argsort(-most)[:STRONGEST])


def with_damper(case_file: CaseFile, damper: Damper, name: str) -> CaseFile:
    """The case with a damper hung at the nose, its last rotor and shaft."""
    case = case_file.case
    rotor = Rotor(name=name, inertia=damper.inertia)
    joint = Shaft(
        between=(NOSE, name), stiffness=damper.stiffness, damping=damper.damping, loss_factor=damper.loss_factor
    )
    update = {"rotor": (*case.rotor, rotor), "shaft": (*case.shaft, joint)}
    return replace(case_file, case=case.model_copy(update=update))


def damper_runs(case_file: CaseFile, sizing: DamperSizing, progress: Progress = no_progress) -> DamperRuns:
    """Forecast and run of the case without damper, as it is and with the best one. Raises RunFailure."""
    bare, best, replaced = sizing.bare, sizing.sized[0], sizing.replaced
    assert bare.answer is not None and bare.push is not None
    at = int(best.curve[0].argmax())
    speed = float(bare.answer.speeds[at])
    links = bare.found.crank_links
    most = int(np.abs(bare.answer.torque[at, :, :links]).max(axis=0).argmax())
    plain = case_file if replaced is None else without_rotor(case_file, replaced)
    cases = [(WITHOUT, plain)]
    if replaced is not None:
        cases.append((f"'{replaced}' as it is", case_file))
    cases.append((f"{best.found.form} as found", with_damper(plain, best.found, replaced or "damper")))
    ran = []
    for n, (name, one) in enumerate(cases):
        progress("verifying by runs", n, len(cases))
        ran.append(_ran(name, run_at(one, speed, duration=RECORD), bare.push, speed, bare.found.links[most].name))
    return DamperRuns(speed, bare.answer.orders, bare.found.links[most].name, tuple(ran))


def _ran(name: str, case_file: CaseFile, push: Push, speed: float, shaft: str) -> Ran:
    packed = pack(case_file.case, case_file.folder)
    found = packed.drivetrain
    assert found is not None
    index = found.shaft_names.index(shaft)
    answer = answer_of(found, _pushing(push, found), np.array([speed]))
    forecast = answer.angle[0, :, found.nose] - answer.angle[0, :, 0]
    solution = simulate(case_file.case, case_file.folder)
    seen = solution.over_angle
    assert seen is not None and seen.shaft_twist is not None and seen.shaft_torque is not None
    twist = seen.shaft_twist[:, : found.crank_links].sum(axis=1)
    count = len(push.orders)
    angles = np.linspace(0.0, 2.0 * math.pi / push.orders[0], len(twist), endpoint=False)
    course = np.real(np.exp(1j * np.outer(angles, push.orders)) @ forecast)
    return Ran(
        name=name,
        twist=(forecast, _orders(twist, count)),
        torque=(answer.torque[0, :, index], _orders(seen.shaft_torque[:, index], count)),
        swing=(float(np.ptp(course)), float(np.ptp(twist))),
        settled=solution.settling is not None and solution.settling.settled,
    )


def _orders(course: np.ndarray, count: int) -> np.ndarray:
    return np.asarray(2.0 * np.fft.fft(course)[1 : count + 1] / len(course))


def _pushing(push: Push, found: Drivetrain) -> Push:
    """The same push on a drivetrain with other plain rotors, which nothing drives."""
    count = 1 + found.throws
    gas = np.zeros((*push.gas.shape[:2], len(found.parts)), complex)
    inertia = np.zeros((len(push.orders), len(found.parts)), complex)
    gas[..., :count], inertia[:, :count] = push.gas[..., :count], push.inertia[:, :count]
    return replace(push, gas=gas, inertia=inertia)


def runs_dict(runs: DamperRuns) -> dict[str, Any]:
    """Plain numbers for machines."""
    return {
        "speed_rpm": runs.speed * RPM,
        "order": runs.orders.tolist(),
        "shaft": runs.shaft,
        "cases": [
            {
                "name": ran.name,
                "settled": ran.settled,
                "twist_forecast_deg": np.degrees(np.abs(ran.twist[0])).tolist(),
                "twist_run_deg": np.degrees(np.abs(ran.twist[1])).tolist(),
                "shaft_torque_forecast_N_m": np.abs(ran.torque[0]).tolist(),
                "shaft_torque_run_N_m": np.abs(ran.torque[1]).tolist(),
                "peak_to_peak_twist_forecast_deg": math.degrees(ran.swing[0]),
                "peak_to_peak_twist_run_deg": math.degrees(ran.swing[1]),
            }
            for ran in runs.ran
        ],
    }
