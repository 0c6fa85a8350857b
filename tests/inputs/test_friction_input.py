"""Wrong friction and accessories: one clear line each."""

from __future__ import annotations

from typing import Any

import pytest

from tests.cases import accessories, single
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import build_case


def problems(friction: dict[str, Any] | None = None, **accessory: Any) -> list[str]:
    raw = single()
    raw["engine"]["friction"] = friction or {}
    if accessory:
        raw["engine"]["accessory"] = [{"name": "it"} | accessory]
    with pytest.raises(InputError) as error:
        build_case(raw)
    return error.value.problems


@pytest.mark.parametrize(
    ("friction", "words"),
    [
        ({"law": "chenflynn"}, ["engine.friction.law", "did you mean chen_flynn"]),
        ({"A_bar": 0.4}, ["engine.friction.law", "is missing", "chen_flynn"]),
        ({"law": "chen_flynn", "torque_N_m": 1.0}, ["engine.friction.torque_N_m", "unknown key"]),
        ({"law": "chen_flynn", "C_bar": 0.1}, ["engine.friction.C_bar", "piston speed", "C_bar_s_per_m"]),
        ({"law": "chen_flynn", "B": -0.1}, ["engine.friction.B", "at least 0"]),
        ({"torque_N_m": 1.0, "cold_factor": 0.5}, ["engine.friction.cold_factor", "0.5", "at least 1"]),
        ({"viscous_N_m_s": 1.0, "oil": "5W-40"}, ["engine.friction.oil", "needs oil_temperature_degC"]),
        (
            {"law": "chen_flynn", "oil_temperature_degC": 0.0, "oil": "0W-8"},
            ["engine.friction.oil", "'0W-8'", "10W-30"],
        ),
        ({"law": "chen_flynn", "oil_temperature_degC": -60.0}, ["oil_temperature_degC", "-60", "-30 degC"]),
        ({"torque_N_m": 1.0, "oil_temperature_degC": 0.0}, ["oil_temperature_degC", "viscous"]),
        (
            {"law": "chen_flynn", "C_bar_s_per_m": 0.0, "oil_temperature_degC": 0.0},
            ["oil_temperature_degC", "give C, or use cold_factor"],
        ),
        (
            {"law": "chen_flynn", "oil_temperature_degC": 0.0, "cold_factor": 2.0},
            ["engine.friction.cold_factor", "keep one"],
        ),
    ],
)
def test_wrong_friction(friction: dict[str, Any], words: list[str]) -> None:
    found = problems(friction)
    assert len(found) == 1
    assert all(word in found[0] for word in words)


@pytest.mark.parametrize(
    ("accessory", "words"),
    [
        ({"torque_N_m": 1.0}, ["engine.accessory[1].kind", "is missing", "water_pump, oil_pump"]),
        ({"kind": "waterpump"}, ["engine.accessory[1].kind", "did you mean water_pump"]),
        ({"kind": "constant"}, ["engine.accessory[1].torque_N_m", "is missing"]),
        ({"kind": "constant", "torque_N_m": -1.0}, ["engine.accessory[1].torque_N_m", "at least 0"]),
        ({"kind": "constant", "torque_N_m": 1.0, "ratio": 0.0}, ["engine.accessory[1].ratio", "must not be 0"]),
        (
            {"kind": "constant", "torque_N_m": 1.0, "reacted_by": "chasis"},
            ["engine.accessory[1].reacted_by", "powertrain, ground"],
        ),
        (
            {"kind": "constant", "torque_N_m": 1.0, "reacted_by": "ground", "inertia_kg_mm2": 1.0},
            ["engine.accessory[1].inertia_kg_mm2", "'ground'", "leave it out"],
        ),
        (
            {"kind": "alternator", "electrical_power_W": 500.0, "efficiency": 1.2},
            ["engine.accessory[1].efficiency", "at most 1"],
        ),
        (
            {"kind": "water_pump", "rated_power_N_m": 500.0, "rated_speed_rpm": 4000.0},
            ["engine.accessory[1].rated_power_N_m", "rated_power_kW"],
        ),
    ],
)
def test_wrong_accessory(accessory: dict[str, Any], words: list[str]) -> None:
    found = problems(**accessory)
    assert len(found) == 1
    assert all(word in found[0] for word in words)


def test_two_accessories_of_one_name() -> None:
    raw = single()
    raw["engine"]["accessory"] = [accessories()[0], accessories()[0]]
    with pytest.raises(InputError, match=r"engine.accessory\[2\].name: got 'water'; this name is already taken"):
        build_case(raw)
