"""Wrong driveline, points and load cases: one plain line each."""

from __future__ import annotations

from typing import Any

import pytest

from tests import cases
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import build_case, load_case, parse_case
from vibsim.studies.load_cases import COMMON_PRACTICE, full_torque, load_cases_of, load_cases_text
from vibsim.studies.modes import find_modes

GRAVITY = 9.80665


def whole(**changes: Any) -> dict[str, Any]:
    raw = cases.single()
    raw["engine"]["load"] = {"law": "none", "reacted_by": "ground"}
    raw["driveline"] = {"gear_ratios": [3.0, 2.0], "final_drive_ratio": 4.0, "engine_torque_N_m": 80.0}
    return raw | changes


@pytest.mark.parametrize(
    ("changes", "line"),
    [
        (
            {"load_case": [{"name": "x", "gear": 7, "torque_share": 1.0}]},
            "load_case[1].gear: got 7; no such gear; allowed: neutral, 1 to 2",
        ),
        (
            {"load_case": [{"name": "x", "gear": "reverse", "torque_share": 1.0}]},
            "load_case[1].gear: got 'reverse'; no such gear; allowed: neutral, 1 to 2; "
            "reverse needs driveline.reverse_ratio",
        ),
        (
            {"load_case": [{"name": "x", "gear": "frist", "torque_share": 1.0}]},
            "load_case[1].gear: got 'frist'; no such gear; allowed: neutral, 1 to 2",
        ),
        (
            {"load_case": [{"name": "x", "torque_share": 1.0}]},
            "load_case[1].torque_share: got 1.0; must be 0 in neutral; say which gear",
        ),
        (
            {"load_case": [{"name": "x"}, {"name": "x"}]},
            "load_case[2].name: got 'x'; this name is already taken; names must differ",
        ),
        (
            {"point": [{"name": "p", "body": "powertran", "at_mm": [0, 0, 0], "clearance_mm": 5}]},
            "point[1].body: got 'powertran'; no such body; did you mean powertrain?",
        ),
        (
            {"point": [{"name": "p", "body": "powertrain", "relative_to": "powertrain", "at_mm": [0, 0, 0]}]},
            "point[1].relative_to: got 'powertrain'; must be another body than the point's own",
        ),
        (
            {"point": [{"name": "p", "body": "powertrain", "at_mm": [0, 0, 0], "clearance_mm": -1}]},
            "point[1].clearance_mm: got -1; must be at least 0",
        ),
        (
            {"driveline": {"gear_ratios": [3.0], "output_direction": [0, 0, 0]}},
            "driveline.output_direction: got [0, 0, 0]; must not be zero",
        ),
    ],
)
def test_mistakes_are_told_in_one_line(changes: dict[str, Any], line: str) -> None:
    with pytest.raises(InputError) as raised:
        build_case(whole(**changes))
    assert raised.value.problems == [line]


def test_a_gear_needs_a_driveline() -> None:
    raw = whole(load_case=[{"name": "x", "gear": 1, "torque_share": 1.0}])
    del raw["driveline"]
    with pytest.raises(InputError, match=r"load_case\[1\].gear: got 1; a gear needs a \[driveline\] table"):
        build_case(raw)


@pytest.mark.parametrize("by", [None, "powertrain"])
def test_a_driveline_needs_somebody_to_take_its_torque(by: str | None) -> None:
    raw = whole()
    raw["engine"]["load"] = {"law": "none"} | ({} if by is None else {"reacted_by": by})
    with pytest.raises(InputError, match=r"engine.load.reacted_by: .*must name the body that takes"):
        build_case(raw)


def test_a_driveline_needs_an_engine() -> None:
    raw = whole()
    del raw["engine"]
    with pytest.raises(InputError, match=r"driveline: needs an \[engine\] table"):
        build_case(raw)


def test_an_acceleration_in_g_is_no_mass() -> None:
    case = build_case(whole(load_case=[{"name": "x", "acceleration_g": [1, -2, 3]}]))
    assert case.load_case[0].acceleration == pytest.approx((GRAVITY, -2.0 * GRAVITY, 3.0 * GRAVITY))
    case = build_case(whole(load_case=[{"name": "x", "acceleration_m_per_s2": [1, -2, 3]}]))
    assert case.load_case[0].acceleration == pytest.approx((1.0, -2.0, 3.0))


def test_common_practice_as_text_reads_back() -> None:
    """What --common-practice prints is case-file text with the same load cases."""
    path = cases.CONFIGS / "v3-80-trike.toml"
    case = load_case(path).case
    again = parse_case(path.read_text(encoding="utf-8") + "\n" + load_cases_text(case), cases.CONFIGS).case
    assert [load.name for load in again.load_case] == [load.name for load in COMMON_PRACTICE]
    for given, meant in zip(again.load_case, COMMON_PRACTICE, strict=True):
        assert given.acceleration == pytest.approx(meant.acceleration)
        assert (given.gear, given.torque_share) == (meant.gear, meant.torque_share)
    assert load_cases_of(again)[1] == "load cases as given in the case file"


def test_cases_that_need_gears_are_left_out_and_named() -> None:
    kept, remark = load_cases_of(cases.as_file(cases.single()).case)
    assert len(kept) == len(COMMON_PRACTICE) - 2
    assert remark.endswith("left out for want of [driveline]: wide open, first gear, wide open, reverse")


def test_engine_torque_is_given_or_computed() -> None:
    assert full_torque(cases.as_file(whole())) == (80.0, "as given")
    raw = whole(driveline={"gear_ratios": [3.0]})
    with pytest.raises(InputError, match=r"driveline.engine_torque_N_m: is missing; it is computed only with"):
        full_torque(cases.as_file(raw))
    torque, source = full_torque(load_case(cases.CONFIGS / "v3-80-trike.toml"))
    assert source == "computed, full load at 4000 rpm"
    assert 50.0 < torque < 80.0  # 0.71 L with no boost: common practice, no source


def test_gears_asked_for_at_the_command_line() -> None:
    raw = whole(mount=[cases.mount("m", between=["powertrain", "ground"])])
    with pytest.raises(InputError, match="--gear: got 9; allowed: neutral, 1 to 2"):
        find_modes(cases.as_file(raw), gear=9)
    del raw["driveline"]
    with pytest.raises(InputError, match=r"--gear: got 1; needs a \[driveline\] table"):
        find_modes(cases.as_file(raw), gear=1)
    raw["engine"]["load"] = {"law": "none"}
    with pytest.raises(InputError, match=r"--torque-N-m: needs engine.load.reacted_by"):
        find_modes(cases.as_file(raw), torque=10.0)
