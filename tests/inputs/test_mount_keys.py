"""What is wrong with a mount is said in one line: the key, what it got, what is allowed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.mount_cases import law_mount, on_ground, write_curve
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import build_case
from vibsim.inputs.mount_data import read_dynamic_stiffness
from vibsim.solver.packed import pack

BAD: dict[str, tuple[str, dict[str, Any], list[str]]] = {
    "infinite rate": ("linear", {"stiffness_N_per_mm": [float("inf"), 1, 1]}, ["stiffness_N_per_mm[1]", "finite"]),
    "negative rate": ("hydraulic", {"stiffness_N_per_mm": [1, -2, 1]}, ["stiffness_N_per_mm[2]", "-2", "at least 0"]),
    "no passive matrix": (
        "progressive",
        {"cross_stiffness_N_per_mm": [400.0, 0.0, 0.0]},
        ["cross_stiffness_N_per_mm", "400, 0, 0 N/mm", "principal stiffness -225.8", "none may be negative"],
    ),
    "no passive matrix at a speed": (
        "scheduled",
        {"cross_stiffness_N_per_mm": [0.0, 90.0, 0.0]},
        ["cross_stiffness_N_per_mm", "principal stiffness", "none may be negative"],
    ),
    "negative torsion": ("linear", {"torsional_stiffness_N_m_per_rad": [1, 1, -1]}, ["[3]", "at least 0"]),
    "gap upside down": ("bump_stop", {"gap_z_mm": [2.0, -3.0]}, ["gap_z_mm", "2, -3 mm", "[minus, plus]"]),
    "stop without stiffness": (
        "bump_stop",
        {"stop_stiffness_x_N_per_mm": None},
        ["stop_stiffness_x_N_per_mm", "is missing", "gap_x needs it"],
    ),
    "no stop": (
        "bump_stop",
        dict.fromkeys(["gap_x_mm", "gap_z_mm", "stop_stiffness_x_N_per_mm", "stop_stiffness_z_N_per_mm"]),
        ["gap_x_mm", "give a stop"],
    ),
    "rod of no length": ("torque_rod", {"to_mm": [0.0, 0.0, 0.0]}, ["to_mm", "at least 1 mm long"]),
    "rod bushing at nought": ("torque_rod", {"bushing_stiffness_N_per_mm": [0, 5]}, ["[1]", "greater than 0"]),
    "loss factor": ("loss_factor", {"loss_factor": 1.4}, ["loss_factor", "1.4", "at most 1"]),
    "band": ("loss_factor", {"band_Hz": [100.0, 5.0]}, ["band_Hz", "100, 5 Hz", "must rise"]),
    "unlike lists": ("relaxation", {"relaxation_time_ms": [1.0]}, ["relaxation_time_ms", "1 times", "2"]),
    "no time": ("relaxation", {"relaxation_time_ms": [1.0, 0.0]}, ["relaxation_time_ms[2]", "greater than 0"]),
    "no yield": ("friction", {"yield_deflection_mm": [0.1, 0.0, 0.1]}, ["yield_deflection_mm[2]", "greater than 0"]),
    "chambers swapped": (
        "hydraulic",
        {"lower_compliance_mm3_per_kPa": 3.0},
        ["lower_compliance_mm3_per_kPa", "3 mm^3/kPa", "at least upper_compliance, 30"],
    ),
    "fluid too fast": ("hydraulic", {"track_inertance_kg_per_m4": 50.0}, ["a fluid at", "0.1 to 500 Hz"]),
    "track too narrow": (
        "hydraulic",
        {"track_resistance_kPa_s_per_L": 1e6},
        ["track_resistance_kPa_s_per_L", "must be at most"],
    ),
    "track twice": ("hydraulic", {"track_length_mm": 200.0}, ["track_length", "keep one"]),
    "no track": ("hydraulic", {"track_inertance_kg_per_m4": None}, ["track_inertance", "fluid_density"]),
    "half a decoupler": ("hydraulic", {"decoupler_travel_mm": None}, ["decoupler_travel_mm", "is missing"]),
    "plate wider than piston": ("hydraulic", {"decoupler_area_mm2": 9e3}, ["decoupler_area_mm2", "piston_area"]),
    "speeds that fall": ("scheduled", {"speed_rpm": [1.0, 3.0, 2.0]}, ["speed_rpm", "1, 3, 2 rpm", "must rise"]),
    "rows missing": (
        "scheduled",
        {"stiffness_at_speed_N_per_mm": [[1, 1, 1], [2, 2, 2]]},
        ["stiffness_at_speed_N_per_mm", "2 rows", "one row per speed, 3"],
    ),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_mount_is_named(name: str) -> None:
    law, changes, words = BAD[name]
    with pytest.raises(InputError) as caught:
        build_case(on_ground(law_mount(law, **changes)))
    assert len(caught.value.problems) == 1, caught.value.problems
    for word in [*words, "mount[1]"]:
        assert word in caught.value.problems[0]


CURVES = {
    "no column": ("deflection_mm,push_N\n-1,0\n0,0\n1,0\n2,0\n", "must have a column force_x_N"),
    "falls": ("deflection_mm,force_x_N\n-2,-20\n-1,-10\n0,0\n1,-5\n2,9\n", "line 5: force_x: got -5 N; must not fall"),
    "jumps": ("deflection_mm,force_x_N\n-2,-20\n-1,-10\n0,0\n0.001,90\n2,110\n", "line 5: force_x: got 90 N; jumps"),
    "same place": ("deflection_mm,force_x_N\n-2,-20\n-1,-10\n0,0\n0,5\n2,9\n", "line 5: deflection: got 0 mm"),
    "one side": ("deflection_mm,force_x_N\n0,0\n1,10\n2,20\n3,30\n", "must reach to both sides of 0"),
    "short": ("deflection_mm,force_x_N\n-1,-1\n0,0\n1,1\n", "has 3 points; needs at least 4"),
}


@pytest.mark.parametrize("name", CURVES)
def test_bad_curve_is_named(name: str, tmp_path: Path) -> None:
    text, words = CURVES[name]
    write_curve(tmp_path).write_text(text, encoding="utf-8")
    case = build_case(on_ground(law_mount("table")))
    with pytest.raises(InputError) as caught:
        pack(case, tmp_path)
    assert len(caught.value.problems) == 1
    assert caught.value.problems[0].startswith("mount[1].file:")
    assert words in caught.value.problems[0]


DATA = {
    "no stiffness": ("frequency_Hz,loss_angle_deg\n1,2\n", "must have one column stiffness_N_per_mm"),
    "negative": ("frequency_Hz,stiffness_N_per_mm,loss_angle_deg\n1,2,3\n2,-2,3\n3,2,3\n4,2,3\n", "line 3: stiffness"),
    "steep": ("frequency_Hz,stiffness_N_per_mm,loss_angle_deg\n1,2,3\n2,2,95\n3,2,3\n4,2,3\n", "line 3: loss_angle"),
    "short": ("frequency_Hz,stiffness_N_per_mm,loss_angle_deg\n1,2,3\n", "has 1 points"),
}


@pytest.mark.parametrize("name", DATA)
def test_bad_data_is_named(name: str, tmp_path: Path) -> None:
    text, words = DATA[name]
    path = tmp_path / "data.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=words):
        read_dynamic_stiffness(path, "frequency")
