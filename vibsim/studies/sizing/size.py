"""A sizing from question to new case: the mounts found, why, how sure, and what `vibsim run` says of them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import tomlkit

from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import CaseFile, parse_case
from vibsim.inputs.sizing_checks import match_key
from vibsim.inputs.units import to_si
from vibsim.solver.simulate import Progress, no_progress
from vibsim.studies.sizing.optimise import EVALUATIONS, Choice, Found, broken_words, optimise
from vibsim.studies.sizing.problem import Problem
from vibsim.studies.sizing.robust import Robust, find_robust
from vibsim.studies.sizing.verify import Verified, verified

DIGITS = 6  # of written numbers
SAME = 1e-9  # of a range
FELT = 0.005  # of a goal's value: a change that matters less serves nothing


@dataclass(frozen=True)
class Change:
    """One knob before and after, shown units, and in words what putting it back alone would do."""

    name: str
    unit: str
    before: float
    after: float
    serves: str


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
        verified=verified(problem, case_file, new, progress) if verify else [],
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
            entry = getattr(problem.space.mounts[index], knob.field)
            old = entry if knob.axis is None else entry[knob.axis]
            if old is None or abs(old - sign * value) > SAME * (knob.high - knob.low):
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
