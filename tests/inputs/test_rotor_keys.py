"""Wrong rotors, shafts and throws: one clear line that names the key, what it got and what is allowed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from tests.cases import packed
from tests.rotor_cases import driven, rotor, shaft
from vibsim.inputs.errors import InputError

Change = Callable[[dict[str, Any]], Any]


def set_in(table: str, index: int, **changes: Any) -> Change:
    return lambda raw: raw[table][index].update(changes)


def torsion(**changes: Any) -> Change:
    return lambda raw: raw["engine"]["crank"]["torsion"].update(changes)


WRONG: dict[str, tuple[Change, list[str]]] = {
    "shaft to nothing": (
        set_in("shaft", 0, between=["nose", "puley"]),
        ["shaft[1].between", "'puley'", "did you mean 'pulley'"],
    ),
    "shaft to itself": (set_in("shaft", 1, between=["gearbox", "gearbox"]), ["shaft[2].between", "two different"]),
    "shaft within the crank": (
        set_in("shaft", 0, between=["nose", "flywheel"]),
        ["shaft[1].between", "engine.crank.torsion.stiffness"],
    ),
    "rotor left alone": (
        lambda raw: raw["rotor"].append(rotor("fan", 0.01)),
        ["rotor[4].name", "'fan'", "no [[shaft]] joins it"],
    ),
    "rotor named as a part of the crank": (
        lambda raw: raw["rotor"].append(rotor("nose", 0.01)),
        ["rotor[4].name", "part of the crank"],
    ),
    "two of one name": (lambda raw: raw["rotor"].append(rotor("wheels", 0.01)), ["rotor[4].name", "already taken"]),
    "ratio nought": (set_in("rotor", 1, ratio=0), ["rotor[2].ratio", "must not be zero"]),
    "no inertia": (lambda raw: raw["rotor"][0].pop("inertia_kg_m2"), ["rotor[1].inertia_kg_m2", "missing"]),
    "inertia nought": (set_in("rotor", 0, inertia_kg_m2=0.0), ["rotor[1].inertia_kg_m2", "greater than 0"]),
    "vehicle without a wheel": (set_in("rotor", 0, vehicle_mass_kg=900.0), ["rotor[1].rolling_radius_mm", "missing"]),
    "rotor on no body": (set_in("rotor", 2, body="chasis"), ["rotor[3].body", "'chassis'"]),
    "shaft without stiffness": (
        lambda raw: raw["shaft"][1].pop("stiffness_N_m_per_rad"),
        ["shaft[2].stiffness_N_m_per_rad", "stage_twist_deg"],
    ),
    "no spring and no damper": (
        set_in("shaft", 0, stiffness_N_m_per_rad=0.0),
        ["shaft[1].stiffness_N_m_per_rad", "damping"],
    ),
    "stiffness twice": (
        set_in("shaft", 0, stage_twist_deg=[0, 5], stage_torque_N_m=[0, 50]),
        ["shaft[1].stiffness_N_m_per_rad", "keep one"],
    ),
    "stages that fall": (
        lambda raw: raw["shaft"].__setitem__(
            1, {"between": ["flywheel", "gearbox"], "stage_twist_deg": [0, 5, 4], "stage_torque_N_m": [0, 50, 90]}
        ),
        ["shaft[2].stage_twist_deg", "must rise"],
    ),
    "stages past nought": (
        lambda raw: raw["shaft"].__setitem__(
            1, {"between": ["flywheel", "gearbox"], "stage_twist_deg": [1, 5], "stage_torque_N_m": [0, 50]}
        ),
        ["shaft[2].stage_torque_N_m", "0 at twist 0"],
    ),
    "stages of unlike length": (
        lambda raw: raw["shaft"].__setitem__(
            1, {"between": ["flywheel", "gearbox"], "stage_twist_deg": [0, 5], "stage_torque_N_m": [0, 50, 90]}
        ),
        ["shaft[2].stage_torque_N_m", "2 entries"],
    ),
    "load on nothing": (
        lambda raw: raw["engine"].update(load={"law": "none", "rotor": "wheel"}),
        ["engine.load.rotor", "did you mean 'wheels'"],
    ),
    "throws too many": (
        torsion(throw_inertia_kg_m2=[0.003, 0.003]),
        ["engine.crank.torsion.throw_inertia", "3 throws"],
    ),
    "shafts too few": (torsion(stiffness_N_m_per_rad=[6e4, 9e4]), ["engine.crank.torsion.stiffness", "must have 4"]),
    "nothing left for the flywheel": (
        torsion(throw_inertia_kg_m2=0.03),
        ["engine.crank.inertia", "leaves no flywheel"],
    ),
    "body lighter than its rotor": (
        lambda raw: (raw["rotor"][2].update(inertia_kg_m2=80.0), raw["body"][1].update(moving_parts="included")),
        ["body[2] ('chassis').inertia", "separate"],
    ),
    "axis nought": (set_in("rotor", 0, axis_direction=[0, 0, 0]), ["rotor[1].axis_direction", "must not be zero"]),
}


@pytest.mark.parametrize("name", list(WRONG))
def test_mistakes_are_named(name: str) -> None:
    change, words = WRONG[name]
    raw = driven()
    change(raw)
    with pytest.raises(InputError) as caught:
        packed(raw)
    lines = caught.value.problems
    assert any(all(word in line for word in words) for line in lines), lines
    assert all("\n" not in line for line in lines)


def test_the_case_itself_is_sound() -> None:
    model = packed(driven())[1]
    assert model.drivetrain is not None
    assert model.drivetrain.names == [
        "flywheel", "throw 1", "throw 2", "throw 3", "nose", "pulley", "gearbox", "wheels",
    ]  # fmt: skip


def test_nose_and_flywheel_are_the_crank_where_it_does_not_twist() -> None:
    model = packed(driven(False))[1]
    assert model.drivetrain is not None
    assert [(link.first, link.second) for link in model.drivetrain.links] == [(0, 1), (0, 2), (2, 3)]
    assert shaft("nose", "pulley", 1.0)["between"] == ["nose", "pulley"]
