"""Mistakes in a run over a road are said in one line: key, what it got, what is allowed."""

from __future__ import annotations

from typing import Any

import pytest

from tests.road_cases import ROUGH, quarter_over, run_over
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import build_case

BAD: dict[str, tuple[dict[str, Any], str]] = {
    "class": ({"road": ROUGH | {"road_class": "K"}}, "run.road.road_class: got 'K'; allowed: 'A', 'B', 'C'"),
    "no class": ({"road": {"profile": "iso_8608"}}, "run.road.road_class: is missing"),
    "standing": ({"vehicle_speed_km_per_h": 0.0}, "run.vehicle_speed_km_per_h: got 0.0; must be greater than 0"),
    "backwards": ({"vehicle_speed_km_per_h": -5.0}, "run.vehicle_speed_km_per_h: got -5.0; must be greater than 0"),
    "no speed": ({"vehicle_speed_km_per_h": None}, "run.vehicle_speed_km_per_h: is missing"),
    "unit": ({"vehicle_speed_mm": 3.0}, "is not a speed"),
    "no road": ({"road": None}, 'run.road: is missing; kind = "road" needs a [run.road] table'),
    "profile": ({"road": {"profile": "bumpy"}}, "run.road.profile: got 'bumpy'; did you mean bump?"),
    "no profile": ({"road": {"at_m": 2.0}}, "run.road.profile: is missing; allowed: bump, step, iso_8608, file"),
    "bump without length": ({"road": {"profile": "bump", "height_mm": 30.0}}, "run.road.length_m: is missing"),
    "no waves": (
        {"road": ROUGH | {"longest_wave_m": 1.0, "shortest_wave_m": 2.0}},
        "run.road.longest_wave_m: got '1 m'; must be longer than shortest_wave, 2 m",
    ),
    "engine stands": ({"speed_rpm": 0.0}, "a steady run needs a speed greater than 0"),
}


@pytest.mark.parametrize("name", BAD)
def test_a_mistake_is_one_line(name):
    changes, line = BAD[name]
    raw = quarter_over(ROUGH)
    raw["run"] |= changes
    raw["run"] = {key: value for key, value in raw["run"].items() if value is not None}
    with pytest.raises(InputError) as caught:
        build_case(raw)
    assert any(line in problem for problem in caught.value.problems), caught.value.problems


def test_a_road_needs_wheels():
    raw = quarter_over(ROUGH)
    del raw["wheel"]
    with pytest.raises(InputError, match=r'wheel: is missing; kind = "road" needs \[\[wheel\]\] tables'):
        build_case(raw)


def test_other_runs_do_not_drive():
    raw = quarter_over(ROUGH)
    raw["run"] = run_over(ROUGH, kind="steady")
    with pytest.raises(InputError, match=r'run\.road: goes with kind = "road"'):
        build_case(raw)


@pytest.mark.parametrize("key", ["vehicle_speed_m_per_s", "vehicle_speed_mile_per_h"])
def test_speed_takes_any_unit(key):
    raw = quarter_over(ROUGH)
    del raw["run"]["vehicle_speed_km_per_h"]
    raw["run"][key] = 10.0
    run = build_case(raw).run
    assert run is not None
    assert run.vehicle_speed == pytest.approx({"s": 10.0, "h": 4.4704}[key[-1]])
