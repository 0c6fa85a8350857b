"""Which variables of a results file go out, and how a column of one is called."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from vibsim.inputs.errors import InputError, nearest
from vibsim.results.labelled import Group, Variable


@dataclass(frozen=True)
class Chosen:
    """A variable with the group it stands in; `path` as `results[path]` takes it."""

    path: str
    group: Group
    variable: Variable

    @property
    def place(self) -> str:
        """The group's name; empty at the root."""
        return self.path.rpartition("/")[0]

    @property
    def name(self) -> str:
        return self.path.rpartition("/")[2]


def every_variable(results: Group, place: str = "") -> list[Chosen]:
    """All variables but coordinates, the root's first, then group by group."""
    found = [
        Chosen(f"{place}{name}", results, variable)
        for name, variable in results.variables.items()
        if variable.dims != (name,)
    ]
    return found + [item for name, group in results.groups.items() for item in every_variable(group, f"{place}{name}/")]


def choose(results: Group, words: list[str] | None) -> list[Chosen]:
    """Variables by path (`mount_force`, `orders/mount_force_amplitude`) or all of a group (`orders`); all of them
    without words. Raises InputError."""
    every = every_variable(results)
    if not words:
        return every
    found: dict[str, Chosen] = {}
    for word in words:
        matching = [item for item in every if item.path == word or item.path.startswith(f"{word.rstrip('/')}/")]
        if not matching:
            known = [item.path for item in every] + list(results.groups)
            raise InputError(f"--variable: got '{word}'; {nearest(word, known)}")
        found |= {item.path: item for item in matching}
    return list(found.values())


def coordinate(results: Group, item: Chosen, dimension: str) -> Variable:
    """The coordinate of a dimension, of the variable's group or of the root; numbers from 0 where it has none."""
    for group in (item.group, results):
        if dimension in group.variables:
            return group.variables[dimension]
    length = item.variable.data.shape[item.variable.dims.index(dimension)]
    return Variable((dimension,), np.arange(length), "1", dimension)


def combinations(results: Group, item: Chosen, lead: int = 1) -> list[tuple[tuple[int, ...], list[str]]]:
    """Places along all dimensions after the first `lead`, each with its labels in words, in C order."""
    names = [
        [short_word(value) for value in coordinate(results, item, name).data] for name in item.variable.dims[lead:]
    ]
    places = itertools.product(*(range(len(labels)) for labels in names))
    return [(place, [labels[n] for labels, n in zip(names, place, strict=True)]) for place in places]


def values_at(data: np.ndarray, place: tuple[int, ...], lead: int = 1) -> np.ndarray:
    """Values along the first `lead` dimensions at a place of all others."""
    if not place:
        return data
    return data.reshape(*data.shape[:lead], -1)[..., int(np.ravel_multi_index(place, data.shape[lead:]))]


def column_name(name: str, labels: list[str], units: str) -> str:
    """`mount_force[front left,X] (N)`; a pure number has the unit 1."""
    inside = f"[{','.join(labels)}]" if labels else ""
    return f"{name}{inside} ({units})" if units else f"{name}{inside}"


def is_text(variable: Variable) -> bool:
    return variable.data.dtype.kind in "OUS"


def short_word(value: object) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)
