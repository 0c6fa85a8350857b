"""Numeric keys of a case file by their path, as error lines name them: `mount[front left].stiffness_N_per_mm[3]`.

In brackets stands a table's name or a number counted from 1; `[*]` means all of them.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from vibsim.inputs.errors import InputError, nearest
from vibsim.inputs.loader import field_and_suffix, takes_unit

Step = str | int
STEP = re.compile(r"([^.\[\]]+)((?:\[[^\[\]]*\])*)")
ALL = "*"


def split_path(path: str) -> list[str]:
    """`mount[front left].at_mm[3]` -> keys and bracketed words in turn: mount, [front left], at_mm, [3]."""
    found, at = [], 0
    while at < len(path):
        match = STEP.match(path, at)
        if not match:
            break
        found += [match[1], *re.findall(r"\[[^\[\]]*\]", match[2])]
        at = match.end()
        if at < len(path) and path[at] == ".":
            at += 1
            continue
        break
    if at != len(path) or not found or path.endswith("."):
        raise InputError(
            f"--over: got '{path}'; a key looks like run.speed_rpm or mount[front left].stiffness_N_per_mm[3]"
        )
    return found


def places(raw: dict[str, Any], path: str) -> list[tuple[Any, Step]]:
    """Containers and the step in each that a path leads to, in a case as `tomllib` reads it.

    The last key may be absent from its table. Raises InputError for a path that leads nowhere or to no number.
    """
    nodes = holders(raw, path)
    for holder, at in nodes:
        value = holder[at] if not isinstance(holder, dict) or at in holder else 0.0
        if isinstance(value, list):
            raise InputError(f"--over {path}: is a list of {len(value)}; choose one by [1], or all by [*]")
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise InputError(f"--over {path}: is no number in the case; an axis needs a numeric key")
    return nodes


def holders(raw: dict[str, Any], path: str) -> list[tuple[Any, Step]]:
    """As `places`, for keys of any kind."""
    steps = split_path(path)
    nodes: list[tuple[Any, Step]] = [({"": raw}, "")]
    for depth, step in enumerate(steps):
        last = depth == len(steps) - 1
        nodes = [found for holder, at in nodes for found in _into(holder[at], step, last, path)]
    return nodes


def _into(node: Any, step: str, last: bool, path: str) -> Iterator[tuple[Any, Step]]:
    if step.startswith("["):
        yield from _entries(node, step[1:-1].strip(), path)
        return
    if not isinstance(node, dict):
        what = f"has {len(node)} entries; choose one by [name] or [1]" if isinstance(node, list) else "is no table"
        raise InputError(f"--over {path}: what '{step}' is looked for in {what}")
    if step not in node and not last:
        raise InputError(f"--over {path}: the case has no '{step}' there; {nearest(step, list(node))}")
    yield node, step


def _entries(node: Any, word: str, path: str) -> Iterator[tuple[Any, Step]]:
    if not isinstance(node, list):
        raise InputError(f"--over {path}: [{word}] follows something that is no list in the case")
    if word == ALL:
        yield from ((node, index) for index in range(len(node)))
        return
    names = [entry.get("name") if isinstance(entry, dict) else None for entry in node]
    if word in names:
        yield node, names.index(word)
        return
    if not word.isdigit() or not 1 <= int(word) <= len(node):
        known = [name for name in names if isinstance(name, str)]
        allowed = nearest(word, known) if known else f"1 to {len(node)}, or *"
        raise InputError(f"--over {path}: got [{word}]; {allowed}")
    yield node, int(word) - 1


def set_number(raw: dict[str, Any], path: str, value: float, factor: bool) -> None:
    """Put a value at a path, or multiply what stands there. Where the case says the same in another unit, the value
    takes its place. Raises InputError."""
    for holder, at in places(raw, path):
        there = not isinstance(holder, dict) or at in holder
        if factor and not there:
            raise InputError(f"--over {path}: is not in the case, so that there is nothing to multiply")
        if factor:
            holder[at] = holder[at] * value
            continue
        whole = isinstance(holder[at], int) if there else True  # a key that is not there may want a whole number
        if not there:
            for other in _in_other_units(holder, str(at), path):
                del holder[other]
        holder[at] = int(value) if whole and float(value).is_integer() else value


def _in_other_units(holder: dict[str, Any], key: str, path: str) -> list[str]:
    """Keys of a table that say in another unit what a path's last key says: bore_mm where that is bore_in."""
    above = [step for step in split_path(path) if not step.startswith("[")][:-1]
    if not takes_unit([*above, key]):
        return []
    name, _ = field_and_suffix([*above, key])
    return [other for other in holder if other != key and field_and_suffix([*above, other])[0] == name]
