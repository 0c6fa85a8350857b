"""Mistakes in wheels, anti-roll bars and occupants are said in one line: key, what it got, what is allowed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from tests.vehicle_cases import car
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import build_case


def _change(table: str, index: int, **keys: Any) -> Callable[[dict[str, Any]], None]:
    def act(raw: dict[str, Any]) -> None:
        raw[table][index] |= keys
        for key in [key for key, value in raw[table][index].items() if value is None]:
            del raw[table][index][key]

    return act


def _all_wheels(**keys: Any) -> Callable[[dict[str, Any]], None]:
    def act(raw: dict[str, Any]) -> None:
        for index in range(4):
            _change("wheel", index, **keys)(raw)

    return act


BAD: dict[str, tuple[Callable[[dict[str, Any]], None], list[str]]] = {
    "unknown body": (_change("wheel", 1, body="chasis"), ["wheel[2].body", "'chasis'", "did you mean 'chassis'"]),
    "massless wheel": (_change("wheel", 0, unsprung_mass_kg=0.0), ["wheel[1].unsprung_mass_kg", "greater than 0"]),
    "almost massless wheel": (_change("wheel", 0, unsprung_mass_kg=1e-4), ["unsprung_mass_kg", "hops at"]),
    "no tyre": (_change("wheel", 2, tyre_stiffness_N_per_mm=None), ["wheel[3].tyre_stiffness_N_per_mm", "missing"]),
    "soft tyre": (_change("wheel", 2, tyre_stiffness_N_per_mm=0.0), ["wheel[3].tyre_stiffness_N_per_mm", "greater"]),
    "infinite spring": (_change("wheel", 0, suspension_stiffness_N_per_mm=float("inf")), ["finite"]),
    "damper that pushes": (_change("wheel", 0, bump_damping_N_s_per_mm=-1.0), ["bump_damping", "at least 0"]),
    "stop without rate": (
        _change("wheel", 0, bump_stop_gap_mm=40.0),
        ["wheel[1].bump_stop_stiffness_N_per_mm", "is missing", "bump_stop_gap needs it"],
    ),
    "stop without gap": (
        _change("wheel", 0, rebound_stop_stiffness_N_per_mm=40.0),
        ["wheel[1].rebound_stop_gap_mm", "is missing"],
    ),
    "side damper alone": (
        _change("wheel", 3, tyre_lateral_damping_N_s_per_mm=1.0, tyre_lateral_stiffness_N_per_mm=None),
        ["wheel[4].tyre_lateral_stiffness_N_per_mm", "tyre_lateral_damping needs it"],
    ),
    "rolls away": (
        _all_wheels(tyre_longitudinal_stiffness_N_per_mm=None),
        ["tyre_longitudinal_stiffness_N_per_mm", "nothing holds the vehicle along X", "driven or braked"],
    ),
    "slides away": (_all_wheels(tyre_lateral_stiffness_N_per_mm=None), ["nothing holds the vehicle along Y"]),
    "wheel twice": (_change("wheel", 1, name="front left"), ["wheel[2].name", "already taken"]),
    "same wheel twice in a bar": (
        _change("anti_roll_bar", 0, between=["front left", "front left"]),
        ["anti_roll_bar[1].between", "two different wheels"],
    ),
    "bar to no wheel": (
        _change("anti_roll_bar", 0, between=["front left", "front rihgt"]),
        ["anti_roll_bar[1].between", "'front rihgt'", "did you mean 'front right'"],
    ),
    "bar of no rate": (_change("anti_roll_bar", 0, stiffness_N_per_mm=0.0), ["anti_roll_bar[1].stiffness", "greater"]),
    "seat on no body": (_change("occupant", 0, body="saddle"), ["occupant[1].body", "no such body", "chassis"]),
    "no cushion": (_change("occupant", 0, cushion_stiffness_N_per_mm=None), ["cushion_stiffness", "missing"]),
    "rigid seat": (_change("occupant", 0, cushion_stiffness_N_per_mm=1e6), ["cushion_stiffness", "rigid joint"]),
    "unknown model": (_change("occupant", 0, model="standing"), ["occupant[1].model", "standing", "seated"]),
    "occupant like a body": (_change("occupant", 0, name="chassis"), ["occupant[1].name", "a body's name"]),
    "wrong unit": (
        _change("wheel", 0, suspension_stiffness_N_per_mm=None, suspension_stiffness_mm=3.0),
        ["suspension_stiffness", "not a stiffness"],
    ),
}


@pytest.mark.parametrize("change", BAD)
def test_a_mistake_is_one_line(change):
    act, words = BAD[change]
    raw = car()
    act(raw)
    with pytest.raises(InputError) as caught:
        build_case(raw)
    lines = [line for line in caught.value.problems if words[0] in line]
    assert len(lines) == 1, caught.value.problems
    assert all(word in lines[0] for word in words)


def test_wheels_need_weight():
    raw = car() | {"run": {"kind": "free", "speed_rpm": 1000.0, "gravity": False}}
    with pytest.raises(InputError, match=r"run.gravity: got False; wheels stand on the road by weight alone"):
        build_case(raw)


def test_a_bar_needs_wheels():
    raw = {key: value for key, value in car().items() if key != "wheel"}
    with pytest.raises(InputError, match=r"anti_roll_bar\[1\].between: .* there is no \[\[wheel\]\] to join"):
        build_case(raw)
