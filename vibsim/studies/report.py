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
from vibsim.studies.report_differences import Differences, differences
from vibsim.studies.report_exposure import day_exposure, run_exposure
from vibsim.studies.report_levels import sweep_levels
from vibsim.studies.report_views import SPEED, Axis, Run, View, axis_words, run_of, run_views
from vibsim.studies.sweep.read import Read, describe, is_sweep, quantity, read_sweep, usual

__all__ = ["Axis", "Report", "Source", "Subject", "View", "gather", "names_of"]
ANY_SPEED = 100.0 * math.pi  # rad/s


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
class Source:
    """One results file: where it is from, its attributes, the answer of a run (None of a sweep), and what people feel
    of it over eight hours (None where nobody touches a sensor)."""

    name: str
    attributes: dict[str, Any]
    summary: dict[str, Any] | None
    exposure: dict[str, Any] | None = None


@dataclass(frozen=True)
class Report:
    title: str
    notes: list[str]
    sources: list[Source]
    subjects: list[Subject]
    views: list[View]
    day: dict[str, Any] | None = None
    differences: Differences = field(default_factory=Differences)


def gather(paths: list[Path], hours: list[float] | None = None) -> Report:
    """Read results files of runs and sweeps; `hours` of each run put a day together.

    Raises InputError for what is no results file, has no point that was computed, or hours that do not fit.
    """
    sources: list[Source] = []
    subjects: list[Subject] = []
    runs: list[Run] = []
    views: list[View] = []
    sweeps: dict[str, Group] = {}
    for name, path in zip(names_of(paths), paths, strict=True):
        results = read_results(path)
        if is_sweep(results):
            sources.append(Source(name, results.attributes, None))
            sweeps[name] = results
            views += _sweep_views(results, name, path, subjects)
            continue
        if not {"torque", "steps"} & set(results.groups):
            raise InputError(f"{path}: holds no quantities of a run; expected a results file from vibsim run")
        sources.append(Source(name, results.attributes, summarise(results), run_exposure(results)))
        attributes = results.attributes
        whole = attributes["case_text"], attributes["case_sha256"], attributes["case_name"]
        runs.append(run_of(name, _subject(whole, path, subjects), results))
    title = " · ".join(dict.fromkeys(str(source.attributes["title"]) for source in sources))
    notes = dict.fromkeys(str(source.attributes.get("notes", "")) for source in sources)
    day = None if hours is None else day_exposure([run.results for run in runs], [run.name for run in runs], hours)
    shown = [*run_views(runs), *views]
    found = differences(runs, sweeps)
    return Report(title, [words for words in notes if words], sources, subjects, shown, day, found)


def names_of(paths: list[Path]) -> list[str]:
    """A name for each file: its stem, or its whole path where stems are the same."""
    stems = [path.stem for path in paths]
    return [stem if stems.count(stem) == 1 else str(path) for stem, path in zip(stems, paths, strict=True)]


def _sweep_views(results: Group, name: str, path: Path, subjects: list[Subject]) -> list[View]:
    """One view per case of a sweep."""
    parts = list(results.groups) if "status" not in results.variables else [""]
    wholes, views = _case_texts(results.attributes), []
    for part, whole in zip(parts, wholes, strict=True):
        read = read_sweep(results, part or None)
        if not np.any(read.status == 1):
            raise InputError(f"{path}: holds no point that was computed; go on with vibsim sweep --resume")
        keys = [item.long_name for item in read.axes.values()]
        axes = [
            Axis(label, "" if item.units == "1" else item.units, np.asarray(item.data, float))
            for label, item in zip(axis_words(keys), read.axes.values(), strict=True)
        ]
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
                swept=read.results,
                lead=len(read.shape),
            )
        )
    return views


def _found(read: Read) -> dict[str, Any]:
    """What the sweep says in numbers, with the place of the least and the greatest of every quantity."""
    words = usual(read) + _exposures(read)
    found = describe(read, words, [])
    for row in found["quantities"]:
        values = quantity(read, row["quantity"]).values
        for name, pick in (("least_at", np.nanargmin), ("greatest_at", np.nanargmax)):
            at = read.values[int(pick(values))] if np.isfinite(values).any() else []
            row[name] = [float(value) for value in at]
        row["values"] = values
    return found


def _exposures(read: Read) -> list[str]:
    """A(8) at every contact that is judged for health."""
    if "exposure_a8" not in read.results:
        return []
    names = [f"exposure_a8[{name}]" for name in read.results.labels("felt_at")]
    return [name for name in names if np.nanmax(quantity(read, name).values, initial=0.0) > 0.0]


def _written(case_file: CaseFile | None, key: str) -> float | None:
    """What a case says of its run's speed (rpm) or load."""
    run = case_file.case.run if case_file is not None else None
    if run is None:
        return None
    if key == "run.speed_rpm":
        return run.speed * 30.0 / math.pi
    return float(run.load) if key == "run.load" and run.load is not None else None


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
    """The crank train without its gas: the mechanism's own forces do not hang on it, and its speed is scaled out where
    a run of several steps has none of its own."""
    assert case_file.case.engine is not None
    engine = case_file.case.engine.model_copy(update={"gas": NoGas()})
    case = case_file.case.model_copy(update={"engine": engine})
    speed = None if case.run is not None and case.run.speed else ANY_SPEED
    return find_balance(CaseFile(case, case_file.text, case_file.folder, case_file.name, case_file.raw), speed)
