"""From TOML text to a `Case`: unit suffixes converted, every mistake of the file reported at once."""

from __future__ import annotations

import difflib
import hashlib
import tomllib
import types
import typing
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any

from pydantic import ValidationError
from pydantic.fields import FieldInfo

from vibsim.inputs.case_checks import check_case
from vibsim.inputs.errors import InputError, Problem, nearest
from vibsim.inputs.models import Case, Table
from vibsim.inputs.units import SuffixError, Unit, from_si, to_si

HDF5_BEGIN = b"\x89HDF"
Location = tuple[str | int, ...]
TAGS = ("law", "source", "kind", "acts_on", "profile")  # keys whose word chooses among the models of a table


@dataclass(frozen=True)
class CaseFile:
    """A case with the text it came from (kept for the results file) and the folder its CSV files are found in."""

    case: Case
    text: str
    folder: Path
    name: str
    raw: bytes | None = None

    @property
    def sha256(self) -> str:
        """Of the file's bytes, or of the text if there was no file."""
        return hashlib.sha256(self.text.encode() if self.raw is None else self.raw).hexdigest()


@dataclass
class Reading:
    """What is known while a file is read: the mistakes, and how each value was written."""

    problems: list[Problem] = field(default_factory=list)
    written: dict[Location, tuple[str, Any]] = field(default_factory=dict)
    meant: set[str] = field(default_factory=set)  # paths of keys that a misspelt one was taken for
    quiet: bool = False  # mistakes are not told, so no hint is looked for

    def report(self, where: Location, got: Any, allowed: str) -> None:
        self.problems.append(Problem(self.shown(where), got, allowed))

    def shown(self, where: Location) -> str:
        """`("mount", 1, "stiffness")` -> `mount[2].stiffness_N_per_mm`, as the user wrote it."""
        text = ""
        for depth, step in enumerate(where, start=1):
            if isinstance(step, int):
                text += f"[{step + 1}]"
                continue
            key = self.written.get(where[:depth], (step, None))[0]
            text += f".{key}" if text else key
        return text or "the file"


def load_case(path: str | Path) -> CaseFile:
    """Read and check a case file.

    Raises InputError naming every mistake found: key, value, what is allowed.
    """
    path = Path(path)
    try:
        raw = path.read_bytes()
        text = raw.decode("utf-8-sig")
    except FileNotFoundError:
        raise InputError(f"{path}: no such file; expected a case file such as configs/v3-80-trike.toml") from None
    except IsADirectoryError:
        raise InputError(f"{path}: is a folder; expected a case file (TOML)") from None
    except UnicodeDecodeError:
        what = "holds results (HDF5), is no case" if raw.startswith(HDF5_BEGIN) else "is not text in UTF-8"
        raise InputError(f"{path}: {what}; expected a case file (TOML)") from None
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror})") from None
    if not text.strip():
        raise InputError(f"{path}: is empty; expected a case file (TOML)")
    return replace(parse_case(text, path.parent, path.stem, shown=str(path)), raw=raw)


def parse_case(text: str, folder: Path | str = ".", name: str = "case", shown: str = "the case") -> CaseFile:
    """Check the text of a case file. CSV files named in it are looked for in `folder`."""
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{shown}: not valid TOML: {error}") from None
    return CaseFile(build_case(raw), text, Path(folder), name)


def build_case(raw: dict[str, Any]) -> Case:
    """Check a case given as nested dictionaries with unit-suffixed keys, as `tomllib` returns them."""
    reading = Reading()
    clean = _read_table(Case, raw, (), reading)
    case = None
    try:
        case = Case.model_validate(clean)
    except ValidationError as error:
        _translate(error, clean, reading)
    check_case(clean, reading.report)
    if case is None or reading.problems:
        raise InputError(_distinct([problem.line() for problem in reading.problems]))
    return case


def _distinct(lines: list[str]) -> list[str]:
    return list(dict.fromkeys(lines))


def unit_of(info: FieldInfo) -> Unit | None:
    """The unit a field is measured in, if it is a quantity."""
    return next((item for item in info.metadata if isinstance(item, Unit)), None)


@cache
def units_of(model: type[Table]) -> dict[str, Unit]:
    """The quantities among a table's fields, with what they are measured in."""
    units = {name: unit_of(info) for name, info in model.model_fields.items()}
    return {name: unit for name, unit in units.items() if unit is not None}


def written_key(name: str, info: FieldInfo) -> str:
    """The key a field is customarily written with: `bore` -> `bore_mm`."""
    unit = unit_of(info)
    return f"{name}_{unit.example}" if unit else name


def tables_of(annotation: Any) -> list[type[Table]]:
    """The table models an annotation admits, through Optional, unions, Annotated and tuples."""
    if isinstance(annotation, type) and issubclass(annotation, Table):
        return [annotation]
    origin = typing.get_origin(annotation)
    if origin in (typing.Union, types.UnionType, tuple, typing.Annotated):
        return [model for part in typing.get_args(annotation) for model in tables_of(part)]
    return []


def _read_table(model: type[Table], raw: dict[str, Any], where: Location, reading: Reading) -> dict[str, Any]:
    """Rename and convert the keys of one table; report unknown, doubled and wrongly suffixed ones."""
    clean: dict[str, Any] = {}
    for key, value in raw.items():
        match = _match_key(model, key, where, reading, value)
        if match is None:
            continue
        name, converted = match
        if name in clean:
            other = reading.written[(*where, name)][0]
            reading.report((*where, key), value, f"the same quantity is given twice, as {other} too; keep one")
            continue
        reading.written[(*where, name)] = (key, value)
        clean[name] = _read_value(model.model_fields[name], converted, (*where, name), reading)
    return clean


def _match_key(model: type[Table], key: str, where: Location, reading: Reading, value: Any) -> tuple[str, Any] | None:
    fields, units = model.model_fields, units_of(model)
    if key in fields and key not in units:
        return key, value
    bases = [name for name in units if key == name or key.startswith(name + "_")]
    if not bases and reading.quiet:
        return None
    if not bases:
        names = [written_key(name, info) for name, info in fields.items()]
        near = difflib.get_close_matches(key, names, n=1, cutoff=0.6)
        hint = f"did you mean {near[0]}?" if near else "allowed: " + ", ".join(names)
        reading.report((*where, key), None, f"unknown key; {hint}")
        reading.meant.update(reading.shown((*where, name)) for name in near)
        return None
    name = max(bases, key=len)
    unit = units[name]
    try:
        return name, to_si(value, key[len(name) + 1 :], unit)
    except SuffixError as error:
        reading.report((*where, key), value, f"{error}; {name} takes {unit.what}, e.g. {name}_{unit.example}")
        reading.written[(*where, name)] = (key, value)
        return None


def _read_value(info: FieldInfo, value: Any, where: Location, reading: Reading) -> Any:
    models = tables_of(info.annotation)
    if models and isinstance(value, dict):
        return _read_union(models, info, value, where, reading)
    if models and isinstance(value, list):
        return tuple(
            _read_union(models, info, item, (*where, index), reading) if isinstance(item, dict) else item
            for index, item in enumerate(value)
        )
    return _tuples(value)


def _read_union(models: list[type[Table]], info: FieldInfo, raw: dict, where: Location, reading: Reading) -> Any:
    """Read a table whose model is chosen by a word in it (`law`, `source`, `kind`)."""
    if len(models) == 1:
        return _read_table(models[0], raw, where, reading)
    tag = next(word for word in TAGS if word in models[0].model_fields)
    choices = {typing.get_args(model.model_fields[tag].annotation)[0]: model for model in models}
    default = next((word for word, model in choices.items() if not model.model_fields[tag].is_required()), None)
    word = raw.get(tag, default)
    if not isinstance(word, str) or word not in choices:
        missing = "is missing; allowed: " + ", ".join(choices)
        reading.report((*where, tag), word, missing if word is None else nearest(str(word), list(choices)))
        return {tag: word}
    if tag not in raw and _belongs_elsewhere(choices, word, raw):
        near = difflib.get_close_matches(tag, list(raw), n=1, cutoff=0.6)
        if near:
            reading.report((*where, near[0]), None, f"unknown key; did you mean {tag}?")
        else:
            reading.report((*where, tag), None, "is missing; allowed: " + ", ".join(choices))
        return {tag: word}
    return {tag: word} | _read_table(choices[word], raw, where, reading)


def _belongs_elsewhere(choices: dict[str, type[Table]], word: str, raw: dict) -> bool:
    """Whether a table without its word has keys that only other choices know."""
    quiet = Reading(quiet=True)
    for key, value in raw.items():
        known = [choice for choice, model in choices.items() if _match_key(model, key, (), quiet, value)]
        if known and word not in known:
            return True
    return False


def _tuples(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _tuples(item) for key, item in value.items()}
    return tuple(_tuples(item) for item in value) if isinstance(value, list) else value


def _translate(error: ValidationError, clean: dict[str, Any], reading: Reading) -> None:
    """Turn pydantic's errors into lines in the user's own keys and numbers."""
    reported = set(reading.written)
    already = {problem.path for problem in reading.problems}
    for item in error.errors():
        where = _without_tags(item["loc"], clean)
        path = reading.shown(where)
        if item["type"] in ("union_tag_invalid", "extra_forbidden") or _only_entries_failed(item):
            continue  # reported while reading, or entry by entry
        if item["type"] == "missing" and isinstance(item["loc"][-1], int):
            got, allowed = _written_value(where, item, reading), f"must have {_length(where)} entries"
        elif item["type"] == "missing":
            if where in reported:  # present, but with a suffix already complained about
                continue
            path, allowed, got = _missing(where, reading), f"is missing{_from_named(where, clean)}", None
            if path in reading.meant:
                continue
        else:
            got, allowed = _written_value(where, item, reading), _allowed(item, where, reading)
        if path not in already:
            reading.problems.append(Problem(path, got, allowed))


def _only_entries_failed(item: Any) -> bool:
    """A list is called too short by pydantic when its entries are wrong, though enough were given."""
    least = item.get("ctx", {}).get("min_length")
    return item["type"] == "too_short" and isinstance(item["input"], tuple) and len(item["input"]) >= least


def _without_tags(loc: Location, clean: Any) -> Location:
    """Drop the words pydantic puts in a path for the chosen member of a union."""
    where: list[str | int] = []
    node = clean
    for position, step in enumerate(loc):
        inside = isinstance(node, dict) and step in node
        if inside or (isinstance(node, tuple) and isinstance(step, int) and step < len(node)):
            node = node[step]
            where.append(step)
        elif position == len(loc) - 1 and isinstance(node, dict) and not _is_tag(step, node):
            where.append(step)
    return tuple(where)


def _is_tag(step: str | int, node: dict) -> bool:
    return step in [node.get(word) for word in TAGS]


def field_at(where: Location) -> FieldInfo | None:
    """The model field at a path; the first table of a union that has it."""
    models: list[type[Table]] = [Case]
    info = None
    for step in where:
        if isinstance(step, int):
            continue
        info = next((model.model_fields[step] for model in models if step in model.model_fields), None)
        if info is None:
            return None
        models = tables_of(info.annotation)
    return info


def key_units(keys: list[str]) -> str:
    """UDUNITS words of a key as written, from the keys that lead to it: ["run", "speed_rpm"] -> `rpm`; `1` for none."""
    above, _, below = field_and_suffix(keys)[1].partition("_per_")
    words = [*above.split("_"), *(f"{word}-1" for word in below.split("_"))]
    return " ".join(word for word in words if word not in ("", "-1")) or "1"


def field_and_suffix(keys: list[str]) -> tuple[str, str]:
    """Name of the field that a key as written stands for, and the unit in it, from the keys that lead to it: ["run",
    "speed_rpm"] -> "speed", "rpm"; both empty for a key that there is not."""
    models: list[type[Table]] = [Case]
    name = suffix = ""
    for key in keys:
        names = {name: info for model in models for name, info in model.model_fields.items()}
        fitting = [name for name in names if key == name or (unit_of(names[name]) and key.startswith(name + "_"))]
        if not fitting:
            return "", ""
        name = max(fitting, key=len)
        suffix, models = key[len(name) + 1 :], tables_of(names[name].annotation)
    return name, suffix


def takes_unit(keys: list[str]) -> bool:
    """Whether a key as written, with the keys that lead to it, has a unit that its field takes."""
    name, suffix = field_and_suffix(keys)
    info = field_at(tuple(field_and_suffix(keys[: n + 1])[0] for n in range(len(keys))))
    unit = unit_of(info) if name and info is not None else None
    try:
        return unit is not None and to_si(1.0, suffix, unit) is not None
    except SuffixError:
        return False


def _list_words(info: FieldInfo | None, where: Location) -> str:
    if info and tables_of(info.annotation):
        return f"must be a list of tables; write [[{'.'.join(str(step) for step in where)}]]"
    return "must be a list of numbers" if info and unit_of(info) else "must be a list"


def _length(where: Location) -> int:
    info = field_at(where)
    return len(typing.get_args(info.annotation)) if info else 0


def _missing(where: Location, reading: Reading) -> str:
    info = field_at(where)
    key = written_key(str(where[-1]), info) if info else str(where[-1])
    parent = reading.shown(where[:-1]) if len(where) > 1 else ""
    return f"{parent}.{key}" if parent else key


def _from_named(where: Location, clean: Any) -> str:
    """` from '2'` when the table that lacks a key has a name, so that it can be found in a long file."""
    node = clean
    for step in where[:-1]:
        node = node[step]
    name = node.get("name") if isinstance(node, dict) else None
    return f" from '{name}'" if isinstance(name, str) else ""


def _written_value(where: Location, item: Any, reading: Reading) -> Any:
    """The value as the user wrote it, in the user's unit."""
    if where in reading.written:
        return reading.written[where][1]
    if where and isinstance(where[-1], int) and where[:-1] in reading.written:
        whole = reading.written[where[:-1]][1]
        return whole[where[-1]] if isinstance(whole, list) and where[-1] < len(whole) else whole
    return item.get("input")


def _written_suffix(where: Location, reading: Reading) -> str | None:
    """The unit that the file gives a key in; None where it does not say."""
    key_at = where[:-1] if where and isinstance(where[-1], int) else where
    if key_at not in reading.written or not isinstance(key_at[-1], str):
        return None
    name, key = key_at[-1], reading.written[key_at][0]
    return key[len(name) + 1 :] if key.startswith(f"{name}_") else None


def _allowed(item: Any, where: Location, reading: Reading) -> str:
    context = item.get("ctx", {})
    info = field_at(where)
    unit = unit_of(info) if info else None
    limit = ""
    if unit:
        suffix = _written_suffix(where, reading)
        limit = f" {suffix.replace('_per_', '/').replace('_', ' ')}" if suffix else f" {unit.si.replace('**', '^')}"
        if suffix:
            bounds = {name: context[name] for name in ("gt", "ge", "lt", "le") if name in context}
            context = context | {name: from_si(bound, suffix, unit) for name, bound in bounds.items()}
    words = {
        "greater_than": "must be greater than {gt:.4g}",
        "greater_than_equal": "must be at least {ge:.4g}",
        "less_than": "must be less than {lt:.4g}",
        "less_than_equal": "must be at most {le:.4g}",
        "literal_error": "allowed: {expected}",
        "finite_number": "must be a finite number",
        "float_type": "must be a number",
        "int_type": "must be a whole number",
        "multiple_of": "must be a multiple of {multiple_of}",
        "bool_type": "must be true or false",
        "string_type": "must be text in quotes",
        "string_too_short": "must not be empty",
        "string_too_long": "must have at most {max_length} characters",
        "tuple_type": _list_words(info, where),
    }
    kind = item["type"]
    if kind in ("too_short", "too_long"):
        size = context.get("min_length", context.get("max_length"))
        return f"must have {'at least' if kind == 'too_short' else 'at most'} {size} entries"
    if kind in ("model_type", "dict_type", "model_attributes_type"):
        return "must be a table"
    text = words.get(kind, str(item["msg"])).format(**context)
    zero = any(context.get(word) == 0 for word in ("gt", "ge", "lt", "le"))
    return text + (limit if kind.startswith(("greater", "less")) and not zero else "")
