"""The JSON Schema accepts what the loader accepts and catches what an editor should underline."""

from __future__ import annotations

import json
import tomllib

import jsonschema
import pytest

from tests.cases import CONFIGS, accessories, single, skewed
from vibsim.inputs.schema import case_schema


@pytest.fixture(scope="module")
def validator():
    schema = case_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


@pytest.mark.parametrize("path", sorted(CONFIGS.glob("*.toml")), ids=lambda path: path.stem)
def test_shipped_cases_pass(path, validator):
    validator.validate(tomllib.loads(path.read_text(encoding="utf-8")))


@pytest.mark.parametrize("make", [single, skewed])
def test_other_customary_units_pass(make, validator):
    raw = make()
    raw["engine"]["bore_in"] = raw["engine"].pop("bore_mm") / 25.4
    raw["engine"]["crank"]["main_bearings_at_in"] = [-2.0, 2.0]
    raw["body"][0]["inertia_products"] = "integral"
    validator.validate(raw)


def test_friction_and_accessories_pass(validator):
    raw = single()
    raw["engine"]["friction"] = {"law": "chen_flynn", "A_bar": 0.3, "C_bar_s_per_m": 0.08, "oil_temperature_degC": 5.0}
    raw["engine"]["accessory"] = accessories()
    validator.validate(raw)
    raw["engine"]["accessory"][0]["kind"] = "fuel_pump"
    with pytest.raises(jsonschema.ValidationError):
        validator.validate(raw)


def _with(path: list, value: object) -> dict:
    raw = single()
    node = raw
    for step in path[:-1]:
        node = node[step]
    node[path[-1]] = value
    return raw


@pytest.mark.parametrize(
    "raw",
    [
        _with(["engine", "boer_mm"], 72.0),
        _with(["engine", "bore_kg"], 72.0),
        _with(["engine", "bore_mm"], "72"),
        _with(["engine", "bore_mm"], -72.0),
        _with(["engine", "strokes"], 3),
        _with(["engine", "piston"], {"mas_g": 1.0}),
        _with(["engine", "gas"], {"source": "nothing"}),
        _with(["body", 0, "inertia_kg_m2"], [1.0, 1.0]),
        _with(["run", "kind"], "stedy"),
        _with(["engine", "crank"], {"inertia_kg_m2": 0.02, "main_bearings_at_mm": [1.0]}),
        {"engine": single()["engine"]},
        {"body": [{key: value for key, value in single()["body"][0].items() if key != "mass_kg"}]},
    ],
)
def test_mistakes_are_caught(raw, validator):
    assert not validator.is_valid(raw)


def test_schema_command_writes_a_file(tmp_path, command):
    path = tmp_path / "case.schema.json"
    assert command("check", "--schema", path)[0] == 0
    assert json.loads(path.read_text(encoding="utf-8")) == case_schema()
