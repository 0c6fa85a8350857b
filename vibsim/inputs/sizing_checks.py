"""Checks of the `[size]` table that a single key cannot show: names, keys of mounts, ranges, catalogues that cross."""

from __future__ import annotations

import itertools
import typing
from collections.abc import Callable, Iterator
from typing import Any, TypeGuard

from vibsim.inputs.errors import nearest
from vibsim.inputs.table import Table
from vibsim.inputs.units import SuffixError, Unit, to_si

Report = Callable[[tuple[str | int, ...], Any, str], None]
Models = dict[str, type[Table]]
AXES = ("x", "y", "z")
MIRRORED = {("at", "y"), ("axes", "x"), ("axes", "z")}  # change sign across the plane Y = 0
NAMED = (("sensor", "sensor"), ("mount", "mount"), ("body", "body"), ("point", "point"), ("against", "body"))


def match_key(model: type[Table], key: str) -> tuple[str, str, Unit | None]:
    """Field, suffix and unit of a key of a mount; raises ValueError with what is allowed."""
    fields = model.model_fields
    units = {
        name: next((item for item in info.metadata if isinstance(item, Unit)), None) for name, info in fields.items()
    }
    bases = [name for name in fields if key == name or key.startswith(name + "_")]
    numbers = [f"{name}_{unit.example}" if unit else name for name, unit in units.items() if _numeric(fields[name])]
    if not bases or not _numeric(fields[max(bases, key=len)]):
        raise ValueError(f"no such key with numbers; {nearest(key, numbers)}")
    name = max(bases, key=len)
    unit, suffix = units[name], key[len(name) + 1 :]
    if unit is None:
        if suffix:
            raise ValueError(f"no such key with numbers; {nearest(key, numbers)}")
        return name, "", None
    try:
        to_si(1.0, suffix, unit)
    except SuffixError as error:
        raise ValueError(f"{error}; {name} takes {unit.what}, e.g. {name}_{unit.example}") from None
    return name, suffix, unit


def entries_of(model: type[Table], field: str) -> int:
    """How many numbers a field holds: 1 or 3."""
    return 3 if _triple(model.model_fields[field].annotation) else 1


def _parts(annotation: Any) -> Iterator[Any]:
    yield annotation
    for part in typing.get_args(annotation):
        yield from _parts(part)


def _triple(annotation: Any) -> bool:
    return any(typing.get_origin(part) is tuple and len(typing.get_args(part)) == 3 for part in _parts(annotation))


def _numeric(info: Any) -> bool:
    """Whether a field holds one number or three; lists of any length and words do not vary."""
    kinds = [part for part in _parts(info.annotation) if typing.get_origin(part) is tuple]
    if kinds:
        return all(len(typing.get_args(part)) == 3 and Ellipsis not in typing.get_args(part) for part in kinds) and (
            float in _parts(info.annotation)
        )
    return float in list(_parts(info.annotation))


def check_size(clean: dict[str, Any], models: Models, report: Report) -> None:
    """Report every mistake in `[size]`; `models` are those of a mount by law."""
    size = clean.get("size")
    if not isinstance(size, dict):
        return
    mounts = {mount.get("name"): mount for mount in _tables(clean, "mount")}
    driven: dict[tuple[Any, str, str | None], int] = {}
    for index, variable in enumerate(_tables(size, "variable")):
        where = ("size", "variable", index)
        if _check_mounts(variable, mounts, where, report):
            _check_variable(variable, mounts, models, where, driven, report)
    for index, ratio in enumerate(_tables(size, "ratio")):
        _check_ratio(ratio, mounts, models, ("size", "ratio", index), report)
    _check_speeds(size, ("size", "speeds"), report)
    for kind in ("goal", "limit"):
        for index, measure in enumerate(_tables(size, kind)):
            _check_measure(measure, kind, clean, ("size", kind, index), report)
    scatter = size.get("scatter")
    for key in ("ageing", "temperature"):
        pair = scatter.get(key) if isinstance(scatter, dict) else None
        if _pair(pair) and not pair[0] <= pair[1]:
            report(("size", "scatter", key), list(pair), "must rise: least, most")


def _tables(table: Any, key: str) -> list[dict[str, Any]]:
    entries = table.get(key) if isinstance(table, dict) else None
    return [entry if isinstance(entry, dict) else {} for entry in entries] if isinstance(entries, tuple) else []


def _pair(value: Any) -> TypeGuard[tuple[float, float]]:
    return isinstance(value, tuple) and len(value) == 2 and all(isinstance(entry, int | float) for entry in value)


def _check_mounts(table: dict, mounts: dict, where: tuple, report: Report) -> bool:
    names = table.get("mounts")
    if not isinstance(names, tuple) or not names:
        return False
    known = [name for name in mounts if isinstance(name, str)]
    wrong = [name for name in names if name not in mounts]
    for name in wrong:
        report((*where, "mounts"), name, f"no such mount; {nearest(str(name), known)}")
    if len(set(names)) < len(names):
        report((*where, "mounts"), list(names), "names a mount twice")
        return False
    return not wrong


def _model(mount: dict, models: Models) -> type[Table] | None:
    return models.get(mount.get("law", "linear"))


def _check_variable(variable: dict, mounts: dict, models: Models, where: tuple, driven: dict, report: Report) -> None:
    key, axis = variable.get("key"), variable.get("axis")
    if not isinstance(key, str):
        return
    field = ""
    for name in variable["mounts"]:
        model = _model(mounts[name], models)
        if model is None:
            return
        try:
            field = match_key(model, key)[0]
        except ValueError as error:
            report((*where, "key"), key, f"mount '{name}': {error}")
            return
        if (entries_of(model, field) == 3) != (axis in AXES):
            report(
                (*where, "axis"),
                axis,
                "is missing; x, y or z of a key with three" if axis is None else "is not for a key with one number",
            )
            return
        first = driven.setdefault((name, field, axis), where[2])
        if first != where[2]:
            words = f"crosses size.variable[{first + 1}], which sets the same number of mount '{name}'; keep one"
            report((*where, "key"), key, words)
            return
    if variable.get("mirror") is True and (field, axis) not in MIRRORED:
        report(
            (*where, "mirror"), True, f"nothing of {key} {axis or ''} changes across the middle; at y, axes x and z do"
        )
    _check_range(variable, where, report)


def _check_range(variable: dict, where: tuple, report: Report) -> None:
    span, step, catalogue = (variable.get(key) for key in ("range", "step", "catalogue"))
    if span is None and catalogue is None:
        report((*where, "range"), None, "is missing; give range, or a catalogue of values")
    if step is not None and catalogue is not None:
        report((*where, "step"), step, "crosses the catalogue, which says what values there are; keep one")
    if _pair(span) and not span[0] < span[1]:
        report((*where, "range"), list(span), "is empty; must rise: least, most")
    elif _pair(span) and isinstance(step, int | float) and step > span[1] - span[0]:
        report((*where, "step"), step, f"must be at most the range, {span[1] - span[0]:g}")
    if isinstance(catalogue, tuple) and all(isinstance(entry, int | float) for entry in catalogue):
        if any(b <= a for a, b in itertools.pairwise(catalogue)):
            report((*where, "catalogue"), list(catalogue), "must rise from each value to the next")
        inside = [entry for entry in catalogue if not _pair(span) or span[0] <= entry <= span[1]]
        if len(inside) < 2:
            report(
                (*where, "catalogue"),
                list(catalogue),
                f"crosses the range: {len(inside)} of its values lie in it, at least 2 must",
            )


def _check_ratio(ratio: dict, mounts: dict, models: Models, where: tuple, report: Report) -> None:
    if not _check_mounts(ratio, mounts, where, report):
        return
    span = ratio.get("range")
    if _pair(span) and not 0.0 <= span[0] < span[1]:
        report((*where, "range"), list(span), "is empty; must rise, from 0 on: least, most")
    if ratio.get("over") is not None and ratio.get("over") == ratio.get("under"):
        report((*where, "under"), ratio["under"], "must be another axis than `over`")
    key = ratio.get("key", "stiffness")
    for name in ratio["mounts"]:
        model = _model(mounts[name], models)
        if (
            model is not None
            and isinstance(key, str)
            and (key not in model.model_fields or entries_of(model, key) != 3)
        ):
            report((*where, "key"), key, f"mount '{name}' has no such key with three axes; written without its unit")
            return


def _check_speeds(table: dict, where: tuple, report: Report) -> None:
    span = table.get("speeds")
    if _pair(span) and not 0.0 < span[0] <= span[1]:
        shown = [round(9.549296585513721 * value, 3) for value in span]
        report(where, f"{shown} rpm", "is empty; must rise, more than 0: from, to")


def _check_measure(measure: dict, kind: str, clean: dict, where: tuple, report: Report) -> None:
    for key, table in NAMED:
        name = measure.get(key)
        names = [entry.get("name") for entry in _tables(clean, table)] + (["ground"] if key == "against" else [])
        known = [entry for entry in names if isinstance(entry, str)]
        if isinstance(name, str) and name not in known:
            report((*where, key), name, f"no such {table}; {nearest(name, known) if known else 'the case has none'}")
    bounds = [key for key in ("most", "least") if measure.get(key) is not None]
    if kind == "goal" and bounds:
        report((*where, bounds[0]), None, "a goal has no bound; give a target here, or a [[size.limit]]")
    if kind == "limit" and measure.get("target") is not None:
        report((*where, "target"), None, "a limit has no target; give most or least")
    if len(bounds) == 2 and measure["most"] <= measure["least"]:
        report((*where, "most"), None, "must be more than least")
    if measure.get("kind") in ("sensor", "mount_force"):
        if not isinstance(clean.get("engine"), dict):
            report((*where, "kind"), measure["kind"], "needs an [engine]; its orders are what is felt")
            return
        _check_speeds(measure, (*where, "speeds"), report)
        if measure.get("speeds") is None and clean["size"].get("speeds") is None and clean.get("run") is None:
            report((*where, "speeds_rpm"), None, "is missing, here and in [size], and there is no [run]")
        _check_orders(measure, clean, where, report)


def _check_orders(measure: dict, clean: dict, where: tuple, report: Report) -> None:
    engine = clean.get("engine")
    turns = 1 if isinstance(engine, dict) and engine.get("strokes") == 2 else 2
    orders = measure.get("orders") or clean["size"].get("orders") or ()
    for order in orders if isinstance(orders, tuple) else ():
        if isinstance(order, int | float) and (abs(order * turns - round(order * turns)) > 1e-9 or order > 12):
            report((*where, "orders"), order, f"must be at most 12, in steps of {1.0 / turns:g}")
