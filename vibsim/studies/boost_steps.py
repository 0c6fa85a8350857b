"""How soon each way of charging answers: a load step at held speed, from a run with its air path as states."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from vibsim.inputs.errors import VibsimError
from vibsim.inputs.models import Run
from vibsim.post.load_step import cycle_mean, work_mean
from vibsim.solver.simulate import Progress, no_progress
from vibsim.studies.boost import RPM, Comparison, ambient_of
from vibsim.studies.run import run_case

LOAD_BEFORE = 0.3
STEP_AT, LASTS, RATE = 0.5, 5.5, 2000.0  # s, s, Hz
USUAL_SPEED = 2500.0 / RPM  # rad/s


@dataclass(frozen=True, eq=False)
class Step:
    """A load step of one source: time (n) s from the step, boost (n) Pa and brake torque (n) N m as means over a
    cycle, and what the run found (see `post.load_step`)."""

    source: str
    time: np.ndarray
    boost: np.ndarray
    torque: np.ndarray
    greatest_charging_torque: float
    found: dict[str, Any]


def load_steps(comparison: Comparison, speed: float = USUAL_SPEED, progress: Progress = no_progress) -> list[Step]:
    """A step from a part load to full load for every source, at a crank speed (rad/s) that a brake holds.

    Raises InputError for a case without what a run needs, RunFailure when a run cannot be carried through.
    """
    steps = []
    for index, charged in enumerate(comparison.sources):
        case = charged.case_file.case
        run = Run(
            kind="load_step",
            speed=speed,
            load=LOAD_BEFORE,
            load_after=1.0,
            step_at=STEP_AT,
            duration=LASTS,
            sample_rate=RATE,
        )
        file = replace(charged.case_file, case=case.model_copy(update={"run": run}))
        try:
            results = run_case(file)
        except VibsimError as error:
            raise type(error)(f"{charged.source}, load step: {error}") from None
        boost = cycle_mean(results, "intake_pressure") - ambient_of(file)
        taken = results["charger_torque"].max() if "charger_torque" in results else 0.0
        steps.append(
            Step(
                charged.source,
                results["time"] - STEP_AT,
                boost,
                work_mean(results, "load_torque"),
                float(taken),
                dict(results.groups["load_step"].attributes),
            )
        )
        progress("load steps", index + 1, len(comparison.sources))
    return steps


def step_rows(steps: list[Step], speed: float) -> list[dict[str, Any]]:
    """A row per source, in the units of tables; times in s after the step, None where not reached."""
    rows = []
    for step in steps:
        found = step.found
        row: dict[str, Any] = {
            "source": step.source,
            "speed_rpm": speed * RPM,
            "torque_before_N_m": found["brake_torque_before_N_m"],
            "torque_after_N_m": found["brake_torque_after_N_m"],
            "boost_after_kPa": 1e-3 * float(step.boost[-1]),
            "time_to_90_percent_of_torque_s": _time_to(step, 0.9),
        }
        for percent in (50, 90):
            row[f"time_to_{percent}_percent_of_target_s"] = found.get(f"time_to_{percent}_percent_of_target_s")
        if step.greatest_charging_torque > 0.0:
            row["greatest_charging_torque_N_m"] = step.greatest_charging_torque
        for key in ("battery_energy_J", "greatest_battery_current_A", "hottest_winding_K"):
            if key in found:
                row[key] = float(found[key])
        rows.append(row)
    return rows


def _time_to(step: Step, share: float) -> float | None:
    before, after = step.found["brake_torque_before_N_m"], step.found["brake_torque_after_N_m"]
    there = np.flatnonzero((step.time >= 0.0) & (step.torque >= before + share * (after - before)))
    return float(step.time[there[0]]) if there.size else None
