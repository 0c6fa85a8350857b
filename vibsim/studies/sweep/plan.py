"""What a sweep has to do: its cases, points and chains, in a form that a journal keeps and a resumed sweep compares."""

from __future__ import annotations

import copy
import difflib
import json
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from vibsim import __version__
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import CaseFile, build_case
from vibsim.studies.sweep.axes import Points
from vibsim.studies.sweep.keys import places, set_number
from vibsim.studies.sweep.kinds import is_steady, is_warm, record_points

CHAIN = (
    8  # steady points one after the other, each from its neighbour's steady state; the same on any number of workers
)


@dataclass(frozen=True)
class Chain:
    """Points (numbers counted over all cases) computed one after the other."""

    case: int
    points: tuple[int, ...]
    values: np.ndarray


@dataclass(frozen=True)
class Plan:
    """Cases, the points each is computed at, and what is kept of each. Point n of case c has number c·points + n."""

    cases: tuple[CaseFile, ...]
    points: Points
    histories: bool = False
    chain: int = CHAIN

    @property
    def per_case(self) -> int:
        return len(self.points.values)

    @property
    def total(self) -> int:
        return self.per_case * len(self.cases)

    def case_of(self, point: int) -> int:
        return point // self.per_case

    def chain_of(self, case: int) -> int:
        """Points in a chain of a case: one where no point begins from its neighbour's state."""
        run = self.cases[case].case.run
        return self.chain if run is not None and is_warm(run) else 1

    @cached_property
    def raws(self) -> tuple[dict[str, Any], ...]:
        return tuple(tomllib.loads(case.text) for case in self.cases)

    def case_at(self, case: int, values: np.ndarray) -> CaseFile:
        """The case with an axis' value each put in. Raises InputError for values that the case does not take."""
        return put_in(self.cases[case], self.raws[case], self.points, values)

    def chains(self, missing: np.ndarray) -> list[Chain]:
        """Chains with a point among `missing` (total) in them, whole: what a point is computed from is always the same.

        They run through a grid to and fro, so that each point is a neighbour of the one before.
        """
        order, found = to_and_fro(self.points.shape), []
        for case in range(len(self.cases)):
            length = self.chain_of(case)
            for first in range(0, self.per_case, length):
                numbers = order[first : first + length]
                if missing[case * self.per_case + numbers].any():
                    points = tuple(int(n) + case * self.per_case for n in numbers)
                    found.append(Chain(case, points, self.points.values[numbers]))
        return found

    def check(self) -> None:
        """Raise InputError for an axis that names no numeric key, or whose ends the case does not take."""
        for case, raw in zip(self.cases, self.raws, strict=True):
            if case.case.run is None:
                raise InputError(f"{case.name}: run: is missing; a sweep needs a [run] table with kind and speed_rpm")
            for path in self.points.paths:
                places(raw, path)
            lengths = {record_points(put_in(case, raw, self.points, values).case) for values in self._ends()}
            if self.histories and not is_steady(case.case.run) and len(lengths) > 1:
                raise InputError(
                    f"--histories: the records would have {min(lengths)} to {max(lengths)} points; sweep a key that "
                    "leaves the run's length alone, or leave it out"
                )

    def _ends(self) -> Iterator[np.ndarray]:
        """Values of the first point, and with each axis at its least and greatest."""
        first = self.points.values[0]
        yield first
        for axis in range(len(self.points.paths)):
            for pick in (np.argmin, np.argmax):
                values = first.copy()
                values[axis] = self.points.values[pick(self.points.values[:, axis]), axis]
                yield values

    def brief(self) -> str:
        """What a worker needs: the plan without its points."""
        return replace(self, points=replace(self.points, values=self.points.values[:0])).as_text()

    def as_text(self) -> str:
        """Everything that decides the results, as JSON."""
        return json.dumps(
            {
                "vibsim_version": __version__,
                "cases": [{"name": case.name, "text": case.text, "sha256": case.sha256} for case in self.cases],
                "folder": [str(case.folder.resolve()) for case in self.cases],
                "keys": list(self.points.paths),
                "factors": list(self.points.factors),
                "shape": list(self.points.shape),
                "grid": self.points.grid,
                "how": self.points.how,
                "values": self.points.values.tolist(),
                "histories": self.histories,
                "chain": self.chain,
            }
        )


def to_and_fro(shape: tuple[int, ...]) -> np.ndarray:
    """Numbers (C order) of a grid's points along a way on which each is a neighbour of the one before."""
    order = np.zeros(1, dtype=int)
    for count in reversed(shape):
        rows = [order[::-1] if row % 2 else order for row in range(count)]
        order = np.concatenate([part + row * len(order) for row, part in enumerate(rows)])
    return order


def put_in(case_file: CaseFile, raw: dict[str, Any], points: Points, values: np.ndarray) -> CaseFile:
    """A case with the values of a point in it. Raises InputError."""
    changed = copy.deepcopy(raw)
    for path, factor, value in zip(points.paths, points.factors, values, strict=True):
        set_number(changed, path, float(value), factor)
    try:
        case = build_case(changed)
    except InputError as error:
        several = any("[*]" in path for path in points.paths)
        raise InputError(_said_once(error.problems) if several else error.problems) from None
    return CaseFile(case, case_file.text, case_file.folder, case_file.name, case_file.raw)


def _said_once(problems: list[str]) -> list[str]:
    """The first of those that say the same of other entries of a list."""
    said = {re.sub(r"\[[^\]]*\]", "[*]", problem.split(";")[0]): problem for problem in reversed(problems)}
    return list(said.values())[::-1]


def plan_of(text: str) -> Plan:
    """The plan that `as_text` wrote."""
    from vibsim.inputs.loader import parse_case

    found = json.loads(text)
    values = np.array(found["values"], dtype=float).reshape(-1, len(found["keys"]))
    points = Points(
        tuple(found["keys"]), tuple(found["factors"]), values, tuple(found["shape"]), found["grid"], found["how"]
    )
    cases = tuple(
        parse_case(case["text"], Path(folder), case["name"])
        for case, folder in zip(found["cases"], found["folder"], strict=True)
    )
    return Plan(cases, points, found["histories"], found["chain"])


def differences(old: str, new: str) -> list[str]:
    """What a new plan would change of one that has begun, a line each."""
    before, after = json.loads(old), json.loads(new)
    lines = []
    for name in ("vibsim_version", "keys", "factors", "how", "shape", "histories", "chain"):
        if before[name] != after[name]:
            lines.append(f"{name}: was {before[name]}, now {after[name]}")
    if not lines and before["values"] != after["values"]:
        lines.append("the values of the points differ")
    if len(before["cases"]) != len(after["cases"]):
        lines.append(f"cases: was {len(before['cases'])}, now {len(after['cases'])}")
    for one, two in zip(before["cases"], after["cases"], strict=False):
        if one["text"] != two["text"]:
            changed = difflib.unified_diff(one["text"].splitlines(), two["text"].splitlines(), n=0, lineterm="")
            lines += [f"{two['name']}: {line}" for line in changed if line[:2] not in ("--", "++", "@@")]
    return lines
