"""JSON Schema of the case file, so that an editor completes and checks it."""

from __future__ import annotations

from typing import Any

from pydantic.fields import FieldInfo
from pydantic.json_schema import models_json_schema

from vibsim.inputs.loader import tables_of, unit_of
from vibsim.inputs.models import Case, Table
from vibsim.inputs.units import Unit


def case_schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of a case file as written, with unit-suffixed keys.

    It knows the customary units, so that an editor completes them and underlines a wrong one; the loader takes any
    unit of the dimension.
    """
    models = _reachable(Case, [])
    _, plain = models_json_schema([(model, "validation") for model in models], ref_template="#/$defs/{model}")
    definitions = plain["$defs"]
    for model in models:
        _write_suffixes(definitions[model.__name__], model)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "vibsim case file",
        "$ref": "#/$defs/Case",
        "$defs": definitions,
    }


def _reachable(model: type[Table], found: list[type[Table]]) -> list[type[Table]]:
    if model not in found:
        found.append(model)
        for info in model.model_fields.values():
            for inner in tables_of(info.annotation):
                _reachable(inner, found)
    return found


def _write_suffixes(definition: dict[str, Any], model: type[Table]) -> None:
    """Replace each quantity's property by its suffixed keys."""
    properties = definition.get("properties", {})
    required = set(definition.get("required", []))
    needed = []
    for name, info in model.model_fields.items():
        _drop_null(properties[name])
        unit = unit_of(info)
        if unit is None:
            continue
        schema = _without_limits(properties.pop(name), unit, info)
        keys = [f"{name}_{suffix}" for suffix in unit.common]
        properties.update(dict.fromkeys(keys, schema))
        if name in required:
            required.discard(name)
            needed.append({"anyOf": [{"required": [key]} for key in keys]})
    definition["required"] = sorted(required)
    if needed:
        definition["allOf"] = needed


def _drop_null(schema: dict[str, Any]) -> None:
    """TOML has no null: an optional key is left out."""
    choices = [choice for choice in schema.get("anyOf", []) if choice.get("type") != "null"]
    if "anyOf" in schema:
        del schema["anyOf"]
        schema.update(choices[0] if len(choices) == 1 else {"anyOf": choices})
    if schema.get("default", 0) is None:
        del schema["default"]


def _without_limits(schema: dict[str, Any], unit: Unit, info: FieldInfo) -> dict[str, Any]:
    """Limits and defaults hold in SI and would mislead under another unit; signs stay, except for temperatures."""
    kept = {key: value for key, value in schema.items() if key not in ("title", "default")}
    for limit in ("minimum", "exclusiveMinimum", "maximum", "exclusiveMaximum"):
        if limit in kept and (kept[limit] != 0 or unit.si == "K"):
            del kept[limit]
    kept["description"] = f"{unit.what}, here in the unit of the key" + (
        f"; {info.description}" if info.description else ""
    )
    return kept
