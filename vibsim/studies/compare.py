"""Several engines side by side: what the layout leaves free, and what mounts and sensors feel of it over speed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import CaseFile
from vibsim.solver.simulate import Progress, no_progress
from vibsim.studies.balance import Balance, find_balance
from vibsim.studies.run import run_case

RECORD = 0.05  # s of each steady run; what is compared comes from its last whole cycle


@dataclass(frozen=True)
class Compared:
    """One case over speeds (n, rad/s): its free forces at the first speed and, per speed, mean load torque (N m), swing
    of net torque (N m), coefficient of speed fluctuation, rms force of the worst mount (N) and rms acceleration of
    the worst sensor (m/s²), with their names; NaN where the case has none. `settled` (n) says which runs did.
    """

    name: str
    title: str
    balance: Balance
    speeds: np.ndarray
    load_torque: np.ndarray
    torque_swing: np.ndarray
    fluctuation: np.ndarray
    mount_rms: np.ndarray
    mount: list[str]
    sensor_rms: np.ndarray
    sensor: list[str]
    settled: np.ndarray

    @property
    def width(self) -> float:
        """Length along the crank from the outer edge of the first bore to that of the last, m."""
        edges = [(c.at - 0.5 * c.bore, c.at + 0.5 * c.bore) for c in self.balance.layout.cylinders]
        return max(edge[1] for edge in edges) - min(edge[0] for edge in edges)

    @property
    def evenness(self) -> float:
        """Least over greatest firing interval: 1 is even."""
        intervals = self.balance.layout.firing_intervals()
        return min(intervals) / max(intervals)


def compare(case_files: list[CaseFile], speeds: np.ndarray, progress: Progress = no_progress) -> list[Compared]:
    """Steady runs of every case at every speed (rad/s).

    Raises InputError when a name stands twice or a case cannot be run, RunFailure when a run cannot be carried through.
    """
    names = [case_file.name for case_file in case_files]
    if len(set(names)) < len(names):
        raise InputError(f"compare: got {names}; the cases' file names must differ")
    total, done, found = len(case_files) * len(speeds), 0, []
    for case_file in case_files:
        rows = []
        for speed in speeds:
            rows.append(_one_point(case_file, float(speed)))
            done += 1
            progress("comparing", done, total)
        found.append(_collect(case_file, speeds, rows))
    return found


def _one_point(case_file: CaseFile, speed: float) -> dict[str, Any]:
    case = case_file.case
    if case.run is None:
        raise InputError(f"{case_file.name}: run: is missing; compare takes load and tolerances from it")
    run = case.run.model_copy(update={"kind": "steady", "speed": speed, "duration": RECORD})
    results = run_case(CaseFile(case.model_copy(update={"run": run}), case_file.text, case_file.folder, case_file.name))
    row: dict[str, Any] = {"settled": bool(results.attributes["settled"])}
    torque = results.groups["torque"]
    row["load_torque"] = float(results.attributes["steady_load_torque_N_m"])
    row["torque_swing"] = float(torque["swing"][torque.labels("torque").index("net")])
    row["fluctuation"] = float(torque.attributes["speed_fluctuation"])
    for what, group in (("mount", "mount_forces"), ("sensor", "sensors")):
        row[what], row[f"{what}_rms"] = "", math.nan
        if group in results.groups:
            levels = results.groups[group]["resultant_rms"]
            worst = int(levels.argmax())
            row[what], row[f"{what}_rms"] = results.labels(what)[worst], float(levels[worst])
    return row


def _collect(case_file: CaseFile, speeds: np.ndarray, rows: list[dict[str, Any]]) -> Compared:
    def column(name: str) -> np.ndarray:
        return np.array([row[name] for row in rows])

    return Compared(
        name=case_file.name,
        title=case_file.case.case.title or case_file.name,
        balance=find_balance(case_file, float(speeds[0])),
        speeds=speeds,
        load_torque=column("load_torque"),
        torque_swing=column("torque_swing"),
        fluctuation=column("fluctuation"),
        mount_rms=column("mount_rms"),
        mount=[row["mount"] for row in rows],
        sensor_rms=column("sensor_rms"),
        sensor=[row["sensor"] for row in rows],
        settled=column("settled"),
    )


def layout_rows(compared: list[Compared]) -> list[dict[str, Any]]:
    """Free forces (N) and couples (N m) of the first two orders, evenness and width of every case."""
    rows = []
    for case in compared:
        balance = case.balance
        row: dict[str, Any] = {
            "case": case.name,
            "title": case.title,
            "displacement_cc": balance.layout.swept_volume * 1e6,
        }
        for order, name in ((1.0, "first"), (2.0, "second")):
            index = int(np.argmin(np.abs(balance.force.order - order)))
            row[f"{name}_force_N"] = float(balance.force.major[index])
            row[f"{name}_couple_N_m"] = float(balance.couple.major[index])
        row["evenness"] = case.evenness
        row["width_mm"] = 1e3 * case.width
        rows.append(row)
    return rows


def speed_rows(compared: list[Compared]) -> list[dict[str, Any]]:
    """One row per speed and case: load, ripple, fluctuation, worst mount and sensor."""
    rows = []
    for index, speed in enumerate(compared[0].speeds):
        for case in compared:
            rows.append(
                {
                    "speed_rpm": float(speed) * 30.0 / math.pi,
                    "case": case.name,
                    "load_torque_N_m": float(case.load_torque[index]),
                    "torque_swing_N_m": float(case.torque_swing[index]),
                    "speed_fluctuation": float(case.fluctuation[index]),
                    "worst_mount": case.mount[index],
                    "mount_rms_N": float(case.mount_rms[index]) if case.mount[index] else None,
                    "worst_sensor": case.sensor[index],
                    "sensor_rms_m_per_s2": float(case.sensor_rms[index]) if case.sensor[index] else None,
                    "settled": bool(case.settled[index]),
                }
            )
    return rows
