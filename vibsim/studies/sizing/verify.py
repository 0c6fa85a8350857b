"""What `vibsim run` says of a sizing: the same levels from settled runs in the time domain, before and after."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from vibsim.inputs.loader import CaseFile
from vibsim.post.weighting import axis_weights
from vibsim.solver.simulate import Progress
from vibsim.studies.alike import run_at
from vibsim.studies.cures.cure import response_of
from vibsim.studies.run import run_case
from vibsim.studies.sizing.meter import Meter
from vibsim.studies.sizing.problem import Problem

RECORD = 0.05  # s of the verifying runs; what is compared comes from their last whole cycle


@dataclass(frozen=True)
class Verified:
    """One speed-dependent measure at one speed (rad/s): forecasts and runs, before and after, SI."""

    meter: Meter
    speed: float
    forecast: tuple[float, float]
    run: tuple[float, float]
    settled: bool


def verified(problem: Problem, old: CaseFile, new: CaseFile, progress: Progress) -> list[Verified]:
    """Runs and forecasts of both cases at the speeds where a measure over speeds is worst before and after."""
    meters = [meter for meter in (*problem.goals, *problem.limits) if meter.curve is not None]
    wanted = [(meter, speed) for meter in meters for speed in _worst_speeds(problem, meter, new)]
    speeds = sorted({speed for _, speed in wanted})
    felt = {}
    for n, speed in enumerate(speeds):
        for which, case_file in enumerate((old, new)):
            progress("verifying by runs", 2 * n + which, 2 * len(speeds))
            felt[speed, which] = _levels(run_at(case_file, speed, problem.size.load, duration=RECORD))
    found = []
    for meter, speed in wanted:
        pair = [felt[speed, which] for which in (0, 1)]
        forecast = tuple(_level(meter, problem, speed, item["forecast"]) for item in pair)
        run = tuple(_level(meter, problem, speed, item["run"]) for item in pair)
        settled = all(item["settled"] for item in pair)
        found.append(Verified(meter, speed, (forecast[0], forecast[1]), (run[0], run[1]), settled))
    return found


def _worst_speeds(problem: Problem, meter: Meter, new: CaseFile) -> list[float]:
    answers = problem.bench.answer([problem.space.mounts, new.case.mount])
    assert meter.curve is not None
    worst = meter.curve(answers).argmax(axis=1)
    return [meter.speeds[n] for n in sorted(set(worst.tolist()))]


def _levels(case_file: CaseFile) -> dict[str, Any]:
    """Complex amplitudes by order of a case at its run's speed: by the linear model and by a run."""
    run = case_file.case.run
    assert run is not None
    results = run_case(case_file)
    response = response_of(case_file, run.speed)
    at_sensors, at_mounts = response.over_angle()
    orders = results.groups["orders"]
    forecast = {"sensor": at_sensors, "mount": at_mounts, "turns": response.turns}
    ran = {name: orders[f"{name}_{what}_amplitude"] for name, what in (("sensor", "acceleration"), ("mount", "force"))}
    settled = bool(results.attributes["settled"])
    return {"forecast": forecast, "run": ran | {"turns": response.turns}, "settled": settled}


def _level(meter: Meter, problem: Problem, speed: float, felt: dict[str, Any]) -> float:
    """The measure's own rms at one speed from amplitudes (harmonics, sensors or mounts, 3)."""
    case = problem.case_file.case
    steps = [round(order * felt["turns"]) for order in meter.orders]
    if meter.model.kind == "sensor":
        number = [sensor.name for sensor in case.sensor].index(meter.model.sensor)
        weights = np.array([axis_weights(meter.model.contact, o * speed / (2.0 * math.pi)) for o in meter.orders])
        return float(np.linalg.norm(np.abs(felt["sensor"][steps, number]) * weights) / math.sqrt(2.0))
    names = [mount.name for mount in case.mount]
    numbers = [names.index(meter.model.mount)] if meter.model.mount else problem.space.turned
    return float(max(np.linalg.norm(felt["mount"][steps, n]) for n in numbers) / math.sqrt(2.0))
