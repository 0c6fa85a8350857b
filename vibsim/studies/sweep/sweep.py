"""Sweeps: points through an engine of work into a journal, and from there into the sweep file."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, CancelledError, Future, wait
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from vibsim.inputs.errors import InputError, VibsimError
from vibsim.inputs.loader import key_units
from vibsim.results.journal import Journal, records
from vibsim.results.labelled import Variable
from vibsim.results.sweep_file import DONE, FAILED, MISSING, Axes, Entry, Part, shape_from, write_sweep
from vibsim.studies.sweep.engines import Engine
from vibsim.studies.sweep.keys import split_path
from vibsim.studies.sweep.plan import Chain, Plan, differences, plan_of
from vibsim.studies.sweep.point import Outcome, work

PLAN, SHAPE, VALUES, REASON = range(4)  # kinds of records
DIED = "its worker died each time it was tried"
LOSSES = 2  # workers that a point may take with it, working alone, before it counts as failed
FILE_EVERY, FILE_SHARE = 5.0, 0.05  # s between makings of the file, and their share of the time
Progress = Callable[[str, float, float], None]
Task = Callable[[str, Chain], list[Outcome]]  # what a worker does with the plan's text and a chain


def no_progress(phase: str, done: float, total: float) -> None:
    """Progress sink that shows nothing."""


@dataclass
class State:
    """What is known of a sweep under way: outcome per point (total), shapes per case as text, reasons of failures."""

    plan: Plan
    outcome: np.ndarray
    shapes: dict[int, str] = field(default_factory=dict)
    reasons: dict[int, str] = field(default_factory=dict)

    @property
    def done(self) -> int:
        return int(np.count_nonzero(self.outcome == DONE))

    @property
    def failed(self) -> int:
        return int(np.count_nonzero(self.outcome == FAILED))

    def as_dict(self) -> dict[str, Any]:
        """Counts and reasons, for JSON."""
        reasons = {str(point): reason for point, reason in sorted(self.reasons.items())}
        return {"points": self.plan.total, "done": self.done, "failed": self.failed, "reasons": reasons}

    @property
    def missing(self) -> int:
        return int(np.count_nonzero(self.outcome == MISSING))


def journal_path(path: Path) -> Path:
    return path.with_name(path.name + ".journal")


def run_sweep(
    plan: Plan,
    path: Path,
    engine: Engine,
    resume: bool = False,
    again: bool = False,
    progress: Progress = no_progress,
    task: Task = work,
) -> State:
    """Compute what is missing of a plan, into the journal beside `path` and the sweep file there.

    With `resume` a sweep that has begun goes on, `again` trying anew what failed. Raises InputError when there is one
    already or it is of another plan, VibsimError when it cannot be written; what was finished is kept whatever happens.
    `task` is what a worker does.
    """
    state, journal = _open(plan, path, resume, again)
    if not state.missing:
        return _finish(state, path, journal)
    try:
        with journal:
            _work_off(state, journal, path, engine, progress, task)
    except BaseException:
        with contextlib.suppress(VibsimError):  # the first failure is the one to tell of
            make_file(path, state)
        raise
    make_file(path, state)
    return _finish(state, path, None)


def _open(plan: Plan, path: Path, resume: bool, again: bool) -> tuple[State, Journal]:
    beside = journal_path(path)
    begun = beside.exists() and next(records(beside), None) is not None
    if not resume and (begun or path.exists()):
        raise InputError(f"{path}: is there already; --resume goes on with it, or choose another name by -o")
    if resume and not begun:
        if path.exists():
            raise InputError(f"{path}: is complete; there is nothing to go on with")
        raise InputError(f"--resume: there is no journal {beside} to go on with")
    if resume:
        state = read_journal(beside)
        changed = differences(state.plan.as_text(), plan.as_text())
        if changed:
            raise InputError([f"--resume: {path} was begun with another case or other points", *changed])
        if again:
            state.outcome[state.outcome == FAILED] = MISSING
            state.reasons.clear()
        return state, Journal(beside)
    journal = Journal(beside)
    journal.add(PLAN, 0, plan.as_text().encode())
    return State(plan, np.zeros(plan.total, np.int8)), journal


def read_journal(beside: Path) -> State:
    """What a journal says has become of a sweep. Raises InputError."""
    state = None
    for record in records(beside):
        if record.kind == PLAN:
            plan = plan_of(record.content.decode())
            state = State(plan, np.zeros(plan.total, np.int8))
        if state is None:
            break
        if record.kind == SHAPE:
            state.shapes[record.number] = record.content.decode()
        elif record.kind == VALUES:
            state.outcome[record.number] = DONE
        elif record.kind == REASON:
            state.outcome[record.number] = FAILED
            state.reasons[record.number] = record.content.decode()
    if state is None:
        raise InputError(f"{beside}: is no journal of a sweep")
    return state


def _finish(state: State, path: Path, journal: Journal | None) -> State:
    """The journal goes once the file holds everything and nothing failed, else it stays to go on with."""
    if journal is not None:
        journal.close()
        make_file(path, state)
    if not state.missing and not state.failed:
        journal_path(path).unlink(missing_ok=True)
    return state


def _work_off(state: State, journal: Journal, path: Path, engine: Engine, progress: Progress, task: Task) -> None:
    text = state.plan.brief()
    todo = state.plan.chains(state.outcome == MISSING)[::-1]
    alone: list[Chain] = []  # chains under way when a worker was lost: one of them may be to blame
    losses: dict[tuple[int, ...], int] = {}
    next_file = time.monotonic() + FILE_EVERY
    executor = engine.make()
    under_way: dict[Future, Chain] = {}
    finished_well = False
    try:
        while todo or alone or under_way:
            room = 1 if alone else engine.room
            while (alone or todo) and len(under_way) < room:
                chain = alone.pop() if alone else todo.pop()
                under_way[executor.submit(task, text, chain)] = chain
            finished, _ = wait(under_way, return_when=FIRST_COMPLETED)
            lost = []
            for future in finished:
                chain = under_way.pop(future)
                try:
                    _record(state, journal, future.result())
                except engine.kills:
                    _record(state, journal, [Outcome(point, None, reason=DIED) for point in chain.points])
                except (BrokenExecutor, CancelledError) as error:
                    lost.append(chain)
                    if not engine.heals:
                        raise VibsimError(f"the workers are gone ({error}); --resume goes on") from None
            if lost:
                lost += list(under_way.values())
                under_way.clear()
                engine.stop(executor, wait=False)
                executor = engine.make()
                alone += _still_tried(state, journal, lost, losses)
            progress("points", state.plan.total - state.missing, state.plan.total)
            if time.monotonic() > next_file:
                begin = time.monotonic()
                journal.sync()
                make_file(path, state)
                took = time.monotonic() - begin
                next_file = time.monotonic() + max(FILE_EVERY, took / FILE_SHARE)
        finished_well = True
    finally:
        engine.stop(executor, wait=finished_well)


def _still_tried(state: State, journal: Journal, lost: list[Chain], losses: dict[tuple[int, ...], int]) -> list[Chain]:
    """Chains to try again by themselves; the points of one that took its worker with it alone count as failed."""
    again = []
    for chain in lost:
        if len(lost) == 1 and len(chain.points) > 1:  # find the point among them
            again += [
                Chain(chain.case, (point,), values[None])
                for point, values in zip(chain.points, chain.values, strict=True)
            ]
            continue
        if len(lost) == 1:
            losses[chain.points] = losses.get(chain.points, 0) + 1
        if losses.get(chain.points, 0) < LOSSES:
            again.append(chain)
        else:
            _record(state, journal, [Outcome(point, None, reason=DIED) for point in chain.points])
    return again


def _record(state: State, journal: Journal, outcomes: list[Outcome]) -> None:
    for outcome in outcomes:
        point, case = outcome.point, state.plan.case_of(outcome.point)
        if state.outcome[point] != MISSING:
            continue
        if outcome.values is not None and case not in state.shapes:
            state.shapes[case] = outcome.shape
            journal.add(SHAPE, case, outcome.shape.encode())
        if outcome.values is not None and outcome.shape == state.shapes[case]:
            journal.add(VALUES, point, outcome.values)
            state.outcome[point] = DONE
            continue
        reason = outcome.reason or "keeps other quantities than the points before"
        journal.add(REASON, point, reason.encode())
        state.outcome[point], state.reasons[point] = FAILED, reason


def make_file(path: Path, state: State) -> None:
    """The sweep file from its journal, as far as it has come. Raises VibsimError."""
    plan = state.plan
    parts = [
        Part(
            name,
            shape_from(state.shapes[case]) if case in state.shapes else None,
            _entries(journal_path(path), plan, case),
        )
        for case, name in enumerate(part_names(plan))
    ]
    attributes = {
        "title": plan.cases[0].case.case.title or plan.cases[0].name,
        "notes": plan.cases[0].case.case.notes,
        "run_kind": "sweep",
        "sweep_keys": "\n".join(plan.points.paths),
        "sweep_points": plan.points.how,
        "sweep_done": state.done,
        "sweep_failed": state.failed,
        "sweep_missing": state.missing,
        "case_name": "\n".join(case.name for case in plan.cases),
        "case_text": "\n".join(case.text for case in plan.cases),
        "case_sha256": "\n".join(case.sha256 for case in plan.cases),
    }
    write_sweep(path, attributes, axes_of(plan), parts)


def _entries(beside: Path, plan: Plan, case: int) -> Iterator[Entry]:
    first = case * plan.per_case
    for record in records(beside):
        if record.kind in (VALUES, REASON) and plan.case_of(record.number) == case:
            values = np.frombuffer(record.content) if record.kind == VALUES else None
            reason = "" if record.kind == VALUES else record.content.decode()
            yield Entry(record.number - first, values, reason)


def part_names(plan: Plan) -> list[str]:
    """Names of the cases, made different where two files have the same."""
    names = [case.name.replace("/", "-") for case in plan.cases]
    return [name if names.count(name) == 1 else f"{name} ({n})" for n, name in enumerate(names, start=1)]


def axes_of(plan: Plan) -> Axes:
    """Coordinates of the points: per axis of a grid, or over the points where there is none."""
    points = plan.points
    names = axis_names(points.paths)
    grid = points.values.reshape(*points.shape, len(points.paths))
    variables = {}
    for axis, (name, path, factor) in enumerate(zip(names, points.paths, points.factors, strict=True)):
        units = "1" if factor else key_units([step for step in split_path(path) if not step.startswith("[")])
        words = f"{path}, times what the case says" if factor else path
        if points.grid:
            along = np.moveaxis(grid[..., axis], axis, 0).reshape(points.shape[axis], -1)[:, 0]
            variables[name] = Variable((name,), along, units, words)
        else:
            variables[name] = Variable(("point",), points.values[:, axis], units, words)
    return Axes(variables, tuple(names) if points.grid else ("point",), points.shape)


def axis_names(paths: tuple[str, ...]) -> list[str]:
    """A short name per key that is no other's: its last word, or the whole path in letters."""
    last = [path.split(".")[-1].split("[")[0] for path in paths]
    whole = ["".join(c if c.isalnum() else "_" for c in path.replace("[*]", "")).strip("_") for path in paths]
    return [one if last.count(one) == 1 else two for one, two in zip(last, whole, strict=True)]
