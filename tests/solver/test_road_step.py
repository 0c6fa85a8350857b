"""A road as a step of a programme: level where the step begins and ends, and what cannot be driven over."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from tests.cases import CONFIGS
from tests.road_cases import ROUGH, quarter_over, vehicle_over
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import build_case
from vibsim.inputs.models import Case
from vibsim.inputs.step_models import Step
from vibsim.solver.history import History
from vibsim.solver.outcome import Course
from vibsim.solver.packed import Packed, pack
from vibsim.solver.road_course import RoadCourse
from vibsim.solver.road_step import on_level, onto_road, standing
from vibsim.solver.start import state_at
from vibsim.structure.vertical_parts import road_under


def step_over(road: dict[str, Any], **changes: Any) -> tuple[Case, Packed, Step]:
    """A quarter car on its level road, and a step at 10 m/s over another."""
    case = build_case(quarter_over(road, **changes))
    run = case.run
    assert run is not None
    step = Step.model_construct(None, kind="road", road=run.road, vehicle_speed=run.vehicle_speed, duration=4.0)
    return case, on_level(pack(case, CONFIGS), (step,)), step


def heights(packed: Packed, distance: np.ndarray) -> np.ndarray:
    parts = packed.model.parts
    assert parts is not None
    return np.array([road_under.py_func(parts.road, parts.wheels[0]["ahead"], 0, at)[0] for at in distance])


def test_rough_road_is_level_where_the_step_begins_and_ends() -> None:
    case, packed, step = step_over(ROUGH)
    y = state_at(packed, np.zeros((1, 6)))
    driven = onto_road(case, packed, step, 0, 4.0, y)
    along = np.linspace(0.0, 40.0, 4001)
    seen = heights(driven, along)
    assert abs(seen[0]) < 1e-6 and abs(seen[-1]) < 1e-6 and np.abs(np.diff(seen[[0, 1, -2, -1]])[[0, 2]]).max() < 1e-6
    middle = (along > 10.0) & (along < 30.0)  # faded in over half of the run_in of 2 s, at 10 m/s
    ends = (along < 3.0) | (along > 37.0)  # where the fading leaves a fifth at most
    assert seen[middle].std() > 3.0 * seen[ends].std() > 0.0
    again = standing(driven)
    assert again.model.parts is not None and again.model.parts.road.speed == 0.0
    assert np.array_equal(heights(again, along), seen)


def test_next_road_goes_on_from_where_the_wheels_stand() -> None:
    """A step up of 40 mm stays: the bump of the next road stands on it."""
    case, packed, up = step_over({"profile": "step", "height_mm": 40.0, "at_m": 2.0})
    y = state_at(packed, np.zeros((1, 6)))
    driven = onto_road(case, packed, up, 0, 4.0, y)
    assert driven.model.parts is not None
    y[driven.model.parts.distance] = 40.0
    _, _, bump = step_over({"profile": "bump", "height_mm": 30.0, "length_m": 1.0, "at_m": 5.0})
    after = onto_road(case, driven, bump, 1, 4.0, y)
    assert y[driven.model.parts.distance] == 0.0
    seen = heights(after, np.array([0.0, 5.5, 30.0]))
    assert seen[[0, 2]] == pytest.approx([0.04, 0.04])
    assert 0.06 < seen[1] < 0.07  # the contact of 150 mm takes a little off the top


def test_step_too_short_to_fade_is_said_so() -> None:
    case, packed, step = step_over(ROUGH)
    with pytest.raises(InputError, match=r"run.step\[3\].duration: got 1.5 s; the road fades in and out over 1 s each"):
        onto_road(case, packed, step, 2, 1.5, state_at(packed, np.zeros((1, 6))))


def test_what_the_wheels_felt_is_gathered_over_chunks() -> None:
    rng = np.random.default_rng(1)
    height, force = rng.normal(0.0, 0.01, (300, 2)), rng.normal(500.0, 300.0, (300, 2, 3))
    course = RoadCourse()
    for part in (slice(0, 120), slice(120, 300)):
        course.take({"road_height": height[part], "tyre_force": force[part]})
    found = course.figures()
    assert found["road_rms_m"] == pytest.approx(height.std(axis=0).max())
    assert found["greatest_tyre_force_N"] == force[:, :, 2].max()
    assert found["share_off_road"] == np.mean(force[:, :, 2] <= 0.0, axis=0).max() > 0.0
    assert Course(True).road.figures() == {} and History(10, 1.0).parts == {}


def programme(**step: Any) -> dict[str, Any]:
    raw = vehicle_over(ROUGH)
    raw["run"] = {"kind": "programme", "speed_rpm": 3000.0, "step": [{"kind": "road"} | step]}
    return raw


DRIVEN = {"vehicle_speed_km_per_h": 36.0, "road": ROUGH}
BAD = [
    (programme(road=ROUGH), "run.step[1].vehicle_speed_km_per_h: is missing"),
    (programme(vehicle_speed_km_per_h=36.0), "run.step[1].road: is missing"),
    (programme(**DRIVEN, speed_to_rpm=2000.0), "run.step[1].speed_to_rpm: does nothing in a step of kind road"),
    (programme(**DRIVEN) | {"wheel": [], "anti_roll_bar": []}, 'wheel: is missing; kind = "road" needs'),
    (
        programme(vehicle_speed_km_per_h=36.0, road=ROUGH | {"longest_wave_m": 0.1}),
        "run.step[1].road.longest_wave_m: got '0.1 m'; must be longer",
    ),
    (
        programme(**DRIVEN) | {"run": {"kind": "idle", "speed_rpm": 900.0, "vehicle_speed_km_per_h": 36.0}},
        "run.vehicle_speed_km_per_h: does nothing in a step of kind idle",
    ),
]


@pytest.mark.parametrize(("raw", "line"), BAD, ids=[line[:40] for _, line in BAD])
def test_mistakes_are_named(raw: dict[str, Any], line: str) -> None:
    with pytest.raises(InputError) as error:
        build_case(raw)
    assert any(line in problem for problem in error.value.problems), error.value.problems
    assert sum("vehicle_speed" in problem for problem in error.value.problems) <= 1


def test_good_step_is_taken() -> None:
    build_case(programme(**DRIVEN))
    build_case(programme(**DRIVEN, speed_is="prescribed"))
