"""Several engines side by side: what the layout leaves free, and what mounts and sensors feel of it over speed."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import CaseFile
from vibsim.solver.simulate import Progress, no_progress
from vibsim.studies.alike import loads_of_same_power, run_at, same_displacement
from vibsim.studies.balance import Balance, find_balance
from vibsim.studies.run import run_case

RECORD = 0.05  # s of each steady run; what is compared comes from its last whole cycle

Same = Literal["displacement", "power"]


@dataclass(frozen=True)
class Compared:
    """One case over speeds (n, rad/s): its free forces at the first speed and, per speed, load (share of full), mean
    load torque (N m), swing of net torque (N m), coefficient of speed fluctuation, rms force of every mount (N) and rms
    acceleration of every sensor (m/s²) by name. `settled` (n) says which runs did; `factor` what its lengths were
    multiplied by; `note` (n) where it could not be made alike.
    """

    name: str
    title: str
    balance: Balance
    factor: float
    speeds: np.ndarray
    load: np.ndarray
    load_torque: np.ndarray
    torque_swing: np.ndarray
    fluctuation: np.ndarray
    mounts: list[dict[str, float]]
    sensors: list[dict[str, float]]
    settled: np.ndarray
    note: list[str]

    @property
    def power(self) -> np.ndarray:
        """Mean brake power, W."""
        return self.load_torque * self.speeds

    @property
    def mount(self) -> list[str]:
        """The worst mount at each speed; empty where the case has none."""
        return [max(levels, key=lambda name: levels[name], default="") for levels in self.mounts]

    @property
    def mount_rms(self) -> np.ndarray:
        return np.array([max(levels.values(), default=math.nan) for levels in self.mounts])

    @property
    def sensor(self) -> list[str]:
        """The worst sensor at each speed; empty where the case has none."""
        return [max(levels, key=lambda name: levels[name], default="") for levels in self.sensors]

    @property
    def sensor_rms(self) -> np.ndarray:
        return np.array([max(levels.values(), default=math.nan) for levels in self.sensors])

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


def compare(
    case_files: list[CaseFile], speeds: np.ndarray, same: Same | None = None, progress: Progress = no_progress
) -> list[Compared]:
    """Steady runs of every case at every speed (rad/s), as given or first made alike in displacement or power.

    Raises InputError when a name stands twice, a case cannot be run or cannot be made alike, RunFailure when a run
    cannot be carried through.
    """
    names = [case_file.name for case_file in case_files]
    if len(set(names)) < len(names):
        raise InputError(f"compare: got {names}; the cases' file names must differ")
    factors = [1.0] * len(case_files)
    loads: Any = [[None] * len(speeds)] * len(case_files)
    missing = np.zeros((len(case_files), len(speeds)), dtype=int)
    if same == "displacement":
        case_files, factors = same_displacement(case_files)
    elif same == "power":
        progress("setting loads", 0, 1)
        loads, missing = loads_of_same_power(case_files, speeds)
    total, found = len(case_files) * len(speeds), []
    for index, case_file in enumerate(case_files):
        rows = []
        for speed, load in zip(speeds, loads[index], strict=True):
            rows.append(_one_point(case_file, float(speed), load))
            progress("comparing", index * len(speeds) + len(rows), total)
        found.append(_collect(case_file, factors[index], speeds, rows))
    return [replace(case, note=_notes(case, found[0], missing[index])) for index, case in enumerate(found)]


def _one_point(case_file: CaseFile, speed: float, load: float | None) -> dict[str, Any]:
    case_file = run_at(case_file, speed, load, duration=RECORD)
    results = run_case(case_file)
    torque = results.groups["torque"]
    row: dict[str, Any] = {
        "settled": bool(results.attributes["settled"]),
        "load": float(results.attributes["load"]),
        "load_torque": float(results.attributes["steady_load_torque_N_m"]),
        "torque_swing": float(torque["swing"][torque.labels("torque").index("net")]),
        "fluctuation": float(torque.attributes["speed_fluctuation"]),
    }
    for what, group in (("mount", "mount_forces"), ("sensor", "sensors")):
        row[f"{what}s"] = {}
        if group in results.groups:
            levels = results.groups[group]["resultant_rms"]
            row[f"{what}s"] = dict(zip(results.labels(what), map(float, levels), strict=True))
    return row


def _collect(case_file: CaseFile, factor: float, speeds: np.ndarray, rows: list[dict[str, Any]]) -> Compared:
    def column(name: str) -> np.ndarray:
        return np.array([row[name] for row in rows])

    return Compared(
        name=case_file.name,
        title=case_file.case.case.title or case_file.name,
        balance=find_balance(case_file, float(speeds[0])),
        factor=factor,
        speeds=speeds,
        load=column("load"),
        load_torque=column("load_torque"),
        torque_swing=column("torque_swing"),
        fluctuation=column("fluctuation"),
        mounts=[row["mounts"] for row in rows],
        sensors=[row["sensors"] for row in rows],
        settled=column("settled"),
        note=[""] * len(rows),
    )


def _notes(case: Compared, first: Compared, missing: np.ndarray) -> list[str]:
    words = {1: "falls short", -1: "gives more with the throttle shut"}
    return [
        f"{words[sign]}: {1e-3 * own:.1f} of {1e-3 * wanted:.1f} kW" if sign else ""
        for sign, own, wanted in zip(map(int, missing), case.power, first.power, strict=True)
    ]


def basis(compared: list[Compared], same: Same | None) -> list[str]:
    """What the engines have in common and what was done to them for it, in plain lines."""
    first = compared[0]
    if same == "power":
        loads = " and ".join(f"{load:g}" for load in dict.fromkeys(map(float, first.load)))
        return [f"Same power: at each speed every load is set to give what {first.name} gives at load {loads}."]
    if same != "displacement":
        return []
    volume = first.balance.layout.swept_volume * 1e6
    scaled = [f"{case.name} × {case.factor:.3f} (moving masses × {case.factor**3:.3f})" for case in compared[1:]]
    return [
        f"Same displacement: all lengths of every engine scaled to the {volume:.0f} cc of {first.name}: "
        f"{', '.join(scaled)}.",
        "Bodies, mounts and vehicle stay as given; a body weighed with its moving parts keeps that weight.",
    ]


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
        row["lengths_scaled_by"] = case.factor
        row["firing_deg"] = [math.degrees(angle) for _, angle in balance.layout.firing_sequence()]
        row["cycle_deg"] = math.degrees(balance.layout.cycle)
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
                    "load": float(case.load[index]),
                    "power_kW": 1e-3 * float(case.power[index]),
                    "load_torque_N_m": float(case.load_torque[index]),
                    "torque_swing_N_m": float(case.torque_swing[index]),
                    "speed_fluctuation": float(case.fluctuation[index]),
                    "worst_mount": case.mount[index],
                    "mount_rms_N": float(case.mount_rms[index]) if case.mount[index] else None,
                    "worst_sensor": case.sensor[index],
                    "sensor_rms_m_per_s2": float(case.sensor_rms[index]) if case.sensor[index] else None,
                    "mounts_rms_N": case.mounts[index],
                    "sensors_rms_m_per_s2": case.sensors[index],
                    "settled": bool(case.settled[index]),
                    "note": case.note[index],
                }
            )
    return rows
