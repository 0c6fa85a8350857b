"""What a report tells, as plain data: the question, the engine and its mounts, what runs and sweeps found, and how."""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from vibsim.inputs.errors import InputError, VibsimError
from vibsim.inputs.loader import CaseFile, parse_case
from vibsim.inputs.models import NoGas
from vibsim.post.summary import summarise
from vibsim.results.hdf5 import read_results
from vibsim.results.labelled import Group
from vibsim.studies.balance import Balance, find_balance, verdict
from vibsim.studies.modes import ModesResult, find_modes
from vibsim.studies.overview import Overview, overview
from vibsim.studies.report_levels import Levels, alike, run_levels, sweep_levels, together
from vibsim.studies.sweep.read import Read, describe, is_sweep, read_sweep, usual

SPEED = ("run.speed",)  # how the key of the axis that the slider moves along begins


@dataclass(frozen=True)
class Subject:
    """A case as it stands in a results file, and what can be said of it without running it.

    Whatever could not be found again is None, with the reason among `missing`.
    """

    name: str
    text: str
    sha256: str
    case_file: CaseFile | None
    understood: Overview | None
    modes: ModesResult | None
    balance: Balance | None
    verdict: list[str]
    missing: list[str]


@dataclass(frozen=True)
class Axis:
    """What points differ in: `values` in `unit`, as case keys are written."""

    label: str
    unit: str
    values: np.ndarray


@dataclass(frozen=True)
class View:
    """Points that are shown together: a grid over `axes` with `levels` in its order, or as many as `names` says.

    `slider` tells which axis moves; `grid` whether the axes span a grid or every one has a value per point; `found`
    what a sweep says in numbers (None of runs); `runs` the results of runs, in the order of the points; `written` what
    the case as written says for each axis, where that is known.
    """

    name: str
    subject: int
    axes: list[Axis]
    slider: int
    grid: bool
    names: list[str]
    levels: Levels
    found: dict[str, Any] | None = None
    runs: list[Group] = field(default_factory=list)
    keys: list[str] = field(default_factory=list)
    written: list[float | None] = field(default_factory=list)


@dataclass(frozen=True)
class Source:
    """One results file: where it is from, its attributes, the answer of a run (None of a sweep)."""

    name: str
    attributes: dict[str, Any]
    summary: dict[str, Any] | None


@dataclass(frozen=True)
class Report:
    title: str
    notes: list[str]
    sources: list[Source]
    subjects: list[Subject]
    views: list[View]


def gather(paths: list[Path]) -> Report:
    """Read results files of runs and sweeps. Raises InputError for what is none, or has no point that was computed."""
    sources: list[Source] = []
    subjects: list[Subject] = []
    runs: list[tuple[str, int, Group, Levels]] = []
    views: list[View] = []
    for name, path in zip(names_of(paths), paths, strict=True):
        results = read_results(path)
        if is_sweep(results):
            sources.append(Source(name, results.attributes, None))
            views += _sweep_views(results, name, path, subjects)
            continue
        if "torque" not in results.groups:
            raise InputError(f"{path}: holds no quantities of a run; expected a results file from vibsim run")
        sources.append(Source(name, results.attributes, summarise(results)))
        attributes = results.attributes
        whole = attributes["case_text"], attributes["case_sha256"], attributes["case_name"]
        runs.append((name, _subject(whole, path, subjects), results, run_levels(results)))
    title = " · ".join(dict.fromkeys(str(source.attributes["title"]) for source in sources))
    notes = dict.fromkeys(str(source.attributes.get("notes", "")) for source in sources)
    return Report(title, [words for words in notes if words], sources, subjects, [*_run_views(runs), *views])


def names_of(paths: list[Path]) -> list[str]:
    """A name for each file: its stem, or its whole path where stems are the same."""
    stems = [path.stem for path in paths]
    return [stem if stems.count(stem) == 1 else str(path) for stem, path in zip(stems, paths, strict=True)]


def _run_views(runs: list[tuple[str, int, Group, Levels]]) -> list[View]:
    """Runs of one drawing at speeds that differ share a slider; every other run stands for itself."""
    groups: list[list[tuple[str, int, Group, Levels]]] = []
    for run in runs:
        home = next((group for group in groups if group[0][1] == run[1] and _shares(group, run)), None)
        if home is None:
            groups.append([run])
        else:
            home.append(run)
    return [_run_view(sorted(group, key=lambda run: float(run[3].speed[0]))) for group in groups]


def _shares(group: list[tuple[str, int, Group, Levels]], run: tuple[str, int, Group, Levels]) -> bool:
    speeds = [float(other[3].speed[0]) for other in group]
    apart = all(abs(float(run[3].speed[0]) - speed) > 1e-3 * abs(speed) for speed in speeds)
    return apart and alike(group[0][3], run[3])


def _run_view(runs: list[tuple[str, int, Group, Levels]]) -> View:
    levels = together([run[3] for run in runs])
    names = [run[0] for run in runs]
    axis = Axis("crank speed", "rpm", levels.speed * 30.0 / math.pi)
    groups = [run[2] for run in runs]
    return View(", ".join(names), runs[0][1], [axis], 0, True, names, levels, runs=groups, written=[None])


def _sweep_views(results: Group, name: str, path: Path, subjects: list[Subject]) -> list[View]:
    """One view per case of a sweep."""
    parts = list(results.groups) if "status" not in results.variables else [""]
    wholes, views = _case_texts(results.attributes), []
    for part, whole in zip(parts, wholes, strict=True):
        read = read_sweep(results, part or None)
        if not np.any(read.status == 1):
            raise InputError(f"{path}: holds no point that was computed; go on with vibsim sweep --resume")
        axes = [
            Axis(_axis_words(item.long_name), "" if item.units == "1" else item.units, np.asarray(item.data, float))
            for item in read.axes.values()
        ]
        keys = [item.long_name for item in read.axes.values()]
        slider = next((n for n, key in enumerate(keys) if key.startswith(SPEED)), 0)
        number = _subject(whole, path, subjects)
        views.append(
            View(
                f"{name} · {part}" if part else name,
                number,
                axes,
                slider,
                read.grid,
                [],
                sweep_levels(read),
                _found(read),
                keys=keys,
                written=[_written(subjects[number].case_file, key) for key in keys],
            )
        )
    return views


def _found(read: Read) -> dict[str, Any]:
    """What the sweep says in numbers, with the place of the least and the greatest of every quantity."""
    from vibsim.studies.sweep.read import quantity

    words = usual(read)
    found = describe(read, words, [])
    for row in found["quantities"]:
        values = quantity(read, row["quantity"]).values
        for name, pick in (("least_at", np.nanargmin), ("greatest_at", np.nanargmax)):
            at = read.values[int(pick(values))] if np.isfinite(values).any() else []
            row[name] = [float(value) for value in at]
        row["values"] = values
    return found


def _written(case_file: CaseFile | None, key: str) -> float | None:
    """What a case says of its run's speed (rpm) or load."""
    run = case_file.case.run if case_file is not None else None
    if run is None:
        return None
    if key == "run.speed_rpm":
        return run.speed * 30.0 / math.pi
    return float(run.load) if key == "run.load" and run.load is not None else None


def _axis_words(long_name: str) -> str:
    """`run.speed_rpm` -> `crank speed`, `run.load` -> `load`; other keys as they are written."""
    if long_name.startswith(SPEED):
        return "crank speed"
    return long_name.removeprefix("run.").replace(", times what the case says", " ×")


def _case_texts(attributes: dict[str, Any]) -> list[tuple[str, str, str]]:
    """Text, SHA-256 and name of each case of a sweep. Texts stand one after the other: each ends where its hash fits;
    where none does (a file whose bytes were not plain UTF-8) the text is whole in the first."""
    names, hashes = (str(attributes[key]).split("\n") for key in ("case_name", "case_sha256"))
    text = str(attributes["case_text"])
    found = []
    for sha in hashes:
        part, text = _cut_at(text, sha) if len(hashes) > 1 else (text, "")
        found.append(part)
    return list(zip(found, hashes, names, strict=True))


def _cut_at(text: str, sha: str) -> tuple[str, str]:
    """The start of a text that has this SHA-256, and what follows the line end after it."""
    hashed, end = hashlib.sha256(), 0
    for line in [*text.splitlines(keepends=True), ""]:
        if hashed.hexdigest() == sha:
            return text[:end], text[end:].removeprefix("\n")
        bare = line.removesuffix("\n")
        beside = hashed.copy()
        beside.update(bare.encode())
        if beside.hexdigest() == sha:
            return text[: end + len(bare)], text[end + len(line) :]
        hashed.update(line.encode())
        end += len(line)
    return text, text


def _subject(whole: tuple[str, str, str], path: Path, subjects: list[Subject]) -> int:
    """The number of the case among the subjects, entered if it is new. Runs that differ in [run] alone are one."""
    text, sha, name = whole
    new = _parsed(text, path, name)
    for number, known in enumerate(subjects):
        if known.sha256 == sha or (new is not None and _same_but_run(known.case_file, new)):
            return number
    subjects.append(_look_into(text, sha, name, new))
    return len(subjects) - 1


def _parsed(text: str, path: Path, name: str) -> CaseFile | None:
    try:
        return parse_case(text, path.parent, name)
    except InputError:
        return None


def _same_but_run(first: CaseFile | None, second: CaseFile) -> bool:
    if first is None:
        return False
    plain = [one.case.model_copy(update={"run": None, "case": second.case.case}) for one in (first, second)]
    return plain[0] == plain[1]


def _look_into(text: str, sha: str, name: str, case_file: CaseFile | None) -> Subject:
    """Overview, modes and balance of a case, as far as each can be found."""
    if case_file is None:
        return Subject(name, text, sha, None, None, None, None, [], ["the case in the file is not understood here"])
    missing: list[str] = []

    def tried(what: str, find):
        try:
            return find(case_file)
        except VibsimError as error:
            missing.append(f"{what}: {' '.join(str(error).split())}")
            return None

    understood = tried("engine and mounts in words", overview)
    modes = tried("modes", find_modes) if case_file.case.body else None
    balance = tried("mechanism", _balance) if case_file.case.engine is not None else None
    said = verdict(balance) if balance is not None else []
    return Subject(name, text, sha, case_file, understood, modes, balance, said, missing)


def _balance(case_file: CaseFile) -> Balance:
    """The crank train without its gas: the mechanism's own forces do not hang on it."""
    assert case_file.case.engine is not None
    engine = case_file.case.engine.model_copy(update={"gas": NoGas()})
    case = case_file.case.model_copy(update={"engine": engine})
    return find_balance(CaseFile(case, case_file.text, case_file.folder, case_file.name, case_file.raw))
