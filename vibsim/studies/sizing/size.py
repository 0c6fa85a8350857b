"""A sizing from question to new case: the mounts found, why, how sure, and what `vibsim run` says of them."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import tomlkit

from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import CaseFile, parse_case
from vibsim.inputs.sizing_checks import match_key
from vibsim.inputs.units import to_si
from vibsim.solver.simulate import Progress, no_progress
from vibsim.studies.alike import run_at
from vibsim.studies.cures.cure import response_of
from vibsim.studies.run import run_case
from vibsim.studies.sizing.meter import RPM, Meter
from vibsim.studies.sizing.optimise import ALL_ROUND, EVALUATIONS, Choice, Found, broken_words, optimise
from vibsim.studies.sizing.problem import Problem
from vibsim.studies.sizing.robust import Robust, find_robust

DIGITS = 6  # of written numbers
SAME = 1e-9  # of a range
FELT = 0.005  # of a goal's value: a change that matters less serves nothing
RECORD = 0.05  # s of the verifying runs; what is compared comes from their last whole cycle


@dataclass(frozen=True)
class Change:
    """One knob before and after, shown units, and in words what putting it back alone would do."""

    name: str
    unit: str
    before: float
    after: float
    serves: str


@dataclass(frozen=True)
class Verified:
    """One speed-dependent measure at one speed (rad/s): forecasts and runs, before and after, SI."""

    meter: Meter
    speed: float
    forecast: tuple[float, float]
    run: tuple[float, float]
    settled: bool


@dataclass(frozen=True)
class Sized:
    """What a sizing found. `before` and `after` (goals then limits) SI; `broken_before` says which limits the case
    breaks; `case_file` the case with the new mounts."""

    problem: Problem
    found: Found
    choice: Choice
    changes: list[Change]
    before: np.ndarray
    after: np.ndarray
    broken_before: list[str]
    verified: list[Verified]
    robust: Robust | None
    case_file: CaseFile


def with_spec(case_file: CaseFile, spec: str, shown: str) -> CaseFile:
    """The case with the `[size]` table of another text; both are checked together. Raises InputError."""
    try:
        table = tomlkit.parse(spec)
    except tomlkit.exceptions.TOMLKitError as error:
        raise InputError(f"{shown}: not valid TOML: {error}") from None
    if set(table) != {"size"}:
        got = ", ".join(table) or "nothing"
        raise InputError(f"{shown}: got {got}; must hold a [size] table and nothing else")
    document = tomlkit.parse(case_file.text)
    if "size" in document:
        document.remove("size")
    text = tomlkit.dumps(document).rstrip("\n") + "\n\n" + spec
    return replace(parse_case(text, case_file.folder, case_file.name), raw=None)


def size(
    case_file: CaseFile,
    evaluations: int = EVALUATIONS,
    seed: int = 1,
    choose: int | None = None,
    verify: bool = True,
    robust: bool = True,
    progress: Progress = no_progress,
) -> Sized:
    """Size the mounts of a case with a `[size]` table.

    `choose` takes that row of the choices (from 1) instead of the best all round; `verify` runs case and result in the
    time domain; `robust` asks scatter. Raises InputError, and RunFailure when nothing keeps every limit.
    """
    problem = Problem(case_file)
    found = optimise(problem, evaluations, seed, progress)
    if choose is not None and not 1 <= choose <= len(found.choices):
        raise InputError(f"--choose: got {choose}; must be 1 to {len(found.choices)}")
    choice = found.choices[found.taken if choose is None else choose - 1]
    before = problem.values(problem.space.before[None])
    after = problem.values(choice.x[None])
    new = resized(case_file, problem, choice.x)
    return Sized(
        problem=problem,
        found=found,
        choice=choice,
        changes=_changes(problem, choice),
        before=np.concatenate([before.goals[0], before.limits[0]]),
        after=np.concatenate([after.goals[0], after.limits[0]]),
        broken_before=broken_words(problem, before.limits[0]) + problem.ratio_words(problem.space.mounts),
        verified=_verify(problem, case_file, new, progress) if verify else [],
        robust=find_robust(problem, choice.x, progress) if robust else None,
        case_file=new,
    )


def _changes(problem: Problem, choice: Choice) -> list[Change]:
    """Every knob, with what putting it back alone would cost."""
    space = problem.space
    moved = [n for n, knob in enumerate(space.knobs) if abs(choice.x[n] - knob.before) > SAME * (knob.high - knob.low)]
    trials = np.repeat(choice.x[None], len(moved), axis=0)
    for row, n in enumerate(moved):
        trials[row, n] = space.knobs[n].before
    put_back = problem.values(trials) if moved else None
    changes = []
    for n, knob in enumerate(space.knobs):
        serves = "stays"
        if put_back is not None and n in moved:
            row = moved.index(n)
            ratios = problem.ratio_words(space.mounts_at(trials[row])) if put_back.ratios[row] else []
            serves = _serves(problem, choice, put_back.goals[row], put_back.limits[row], bool(ratios))
        changes.append(Change(knob.name, knob.unit, knob.before / knob.scale, choice.x[n] / knob.scale, serves))
    return changes


def _serves(problem: Problem, choice: Choice, goals: np.ndarray, limits: np.ndarray, ratio: bool) -> str:
    """What would be lost with one knob put back: goals that get worse, limits that break."""
    if not np.isfinite(goals).all():
        return "without it the bodies do not stand"
    parts = []
    for n, meter in enumerate(problem.goals):
        lost = meter.sign * (goals[n] - choice.goals[n]) / max(abs(choice.goals[n]), 1e-12)
        if lost > FELT:
            parts.append(f"goal {n + 1}: {100.0 * lost:.1f} % worse without")
    for n, meter in enumerate(problem.limits):
        if meter.broken(limits[n : n + 1])[0] > 0.0:
            parts.append(f"keeps limit {n + 1}")
    if ratio:
        parts.append("keeps a ratio")
    return "; ".join(parts) or "little alone; goes with the others"


def resized(case_file: CaseFile, problem: Problem, x: np.ndarray) -> CaseFile:
    """The case with the knobs at x (knobs), read back from its text; comments and order kept."""
    document: Any = tomlkit.parse(case_file.text)
    for knob, value in zip(problem.space.knobs, x, strict=True):
        for index, sign in knob.mounts:
            _enter(document["mount"][index], problem, index, knob.field, knob.axis, sign * float(value))
    return parse_case(tomlkit.dumps(document), case_file.folder, case_file.name)


def _enter(table: Any, problem: Problem, index: int, field: str, axis: int | None, value: float) -> None:
    """Write one number in the unit that the case file has it in."""
    mount = problem.space.mounts[index]
    key = next((key for key in table if _is_field(type(mount), key, field)), None)
    if key is None:  # not written: by the key of the variable
        knob = next(knob for knob in problem.space.knobs if knob.field == field and index in dict(knob.mounts))
        key = knob.key
        whole = getattr(mount, field)
        table[key] = [_number(entry / knob.scale) for entry in whole] if axis is not None else 0.0
    _, suffix, unit = match_key(type(mount), key)
    scale = 1.0 if unit is None else to_si(1.0, suffix, unit) - to_si(0.0, suffix, unit)
    if axis is None:
        table[key] = _number(value / scale)
    else:
        table[key][axis] = _number(value / scale)


def _is_field(model: type, key: str, field: str) -> bool:
    try:
        return match_key(model, key)[0] == field
    except ValueError:
        return False


def _number(value: float) -> float:
    return float(f"{value:.{DIGITS}g}")


def _verify(problem: Problem, old: CaseFile, new: CaseFile, progress: Progress) -> list[Verified]:
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
    from vibsim.post.weighting import axis_weights

    case = problem.case_file.case
    steps = [round(order * felt["turns"]) for order in meter.orders]
    if meter.model.kind == "sensor":
        number = [sensor.name for sensor in case.sensor].index(meter.model.sensor)
        weights = np.array([axis_weights(meter.model.contact, o * speed / (2.0 * math.pi)) for o in meter.orders])
        return float(np.linalg.norm(np.abs(felt["sensor"][steps, number]) * weights) / math.sqrt(2.0))
    names = [mount.name for mount in case.mount]
    numbers = [names.index(meter.model.mount)] if meter.model.mount else problem.space.turned
    return float(max(np.linalg.norm(felt["mount"][steps, n]) for n in numbers) / math.sqrt(2.0))


def as_dict(sized: Sized) -> dict[str, Any]:
    """Everything as plain data for JSON, in shown units."""
    problem = sized.problem
    meters = (*problem.goals, *problem.limits)

    def row(n: int, meter: Meter) -> dict[str, Any]:
        bounds = {
            name: value / meter.scale
            for name, value in (("target", meter.target), ("most", meter.most), ("least", meter.least))
            if value is not None
        }
        values = {"before": float(sized.before[n]) / meter.scale, "after": float(sized.after[n]) / meter.scale}
        return {"what": meter.name, "unit": meter.unit} | values | bounds

    goals = len(problem.goals)
    return {
        "variables": [vars(change) for change in sized.changes],
        "goals": [row(n, meter) for n, meter in enumerate(meters[:goals])],
        "limits": [row(goals + n, meter) for n, meter in enumerate(meters[goals:])],
        "limits_broken_before": sized.broken_before,
        "choices": [_choice_row(problem, choice) for choice in sized.found.choices],
        "taken": next(n for n, choice in enumerate(sized.found.choices) if choice is sized.choice) + 1,
        "front": [
            {"goals": [float(v) / m.scale for v, m in zip(goal, problem.goals, strict=True)]}
            for goal in sized.found.front
        ],
        "candidates_asked": sized.found.asked,
        "verified": [
            {
                "what": item.meter.name,
                "unit": item.meter.unit,
                "speed_rpm": item.speed * RPM,
                "forecast_before": item.forecast[0],
                "forecast_after": item.forecast[1],
                "run_before": item.run[0],
                "run_after": item.run[1],
                "settled": item.settled,
            }
            for item in sized.verified
        ],
        "robust": None if sized.robust is None else _robust_rows(sized.robust),
    }


def _choice_row(problem: Problem, choice: Choice) -> dict[str, Any]:
    return {
        "words": list(choice.words),
        "goals": [float(v) / m.scale for v, m in zip(choice.goals, problem.goals, strict=True)],
        "variables": [float(v) / k.scale for v, k in zip(choice.x, problem.space.knobs, strict=True)],
    }


def _robust_rows(robust: Robust) -> dict[str, Any]:
    return {
        "samples": robust.samples,
        "seed": robust.seed,
        "parameters": robust.parameters,
        "probability": [
            {
                "what": sure.meter.name,
                "holds": sure.holds,
                "interval_95": [sure.low, sure.high],
                "median": float(np.nanmedian(sure.values)) / sure.meter.scale,
                "percentile_95": float(np.nanpercentile(sure.values, 95.0 if sure.meter.sign > 0 else 5.0))
                / sure.meter.scale,
                "unit": sure.meter.unit,
            }
            for sure in robust.sure
        ],
        "sensitivity": [
            {
                "what": item.meter.name,
                "first_order": item.first.tolist(),
                "total_order": item.total.tolist(),
                "at_least": (item.at_low / item.meter.scale).tolist(),
                "at_most": (item.at_high / item.meter.scale).tolist(),
            }
            for item in robust.matters
        ],
    }


__all__ = ["ALL_ROUND", "Sized", "as_dict", "resized", "size", "with_spec"]
