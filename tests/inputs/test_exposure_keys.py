"""Keys of exposure: what goes together, and clear lines for what does not."""

from __future__ import annotations

import pytest

from tests.cases import single
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import build_case

SEAT = {"name": "seat", "body": "powertrain", "at_mm": [0.0, 0.0, 0.0]}
POINT = {"speed_rpm": 2000.0, "load": 0.5, "hours": 4.0}


def problems(**changes) -> list[str]:
    raw = single() | changes
    with pytest.raises(InputError) as error:
        build_case(raw)
    return error.value.problems


def test_keys_are_read():
    feet = SEAT | {"contact": "footrest", "posture": "standing"}
    case = build_case(single() | {"sensor": [feet], "duty": [POINT, POINT | {"name": "town", "hours": 20.0}]})
    assert (case.sensor[0].contact, case.sensor[0].posture) == ("footrest", "standing")
    assert [duty.hours for duty in case.duty] == [4.0, 20.0]
    assert case.duty[1].name == "town"


@pytest.mark.parametrize(
    ("changes", "line"),
    [
        ({"sensor": [SEAT | {"contact": "saddle"}]}, "sensor[1].contact: got 'saddle'; allowed: 'grip', 'seat', "),
        (
            {"sensor": [SEAT | {"contact": "seat", "posture": "standing"}]},
            "sensor[1].posture: got 'standing'; goes with contact = 'footrest'",
        ),
        ({"duty": [POINT | {"hours": 0.0}]}, "duty[1].hours: got 0.0; must be greater than 0"),
        ({"duty": [POINT | {"hours": 30.0}]}, "duty[1].hours: got 30.0; must be at most 24"),
        (
            {"duty": [POINT, POINT | {"hours": 21.0}]},
            "duty[2].hours: got 21.0; the day comes to 25 h with it",
        ),
        ({"duty": [POINT | {"speed_rpm": 60_000.0}]}, "duty[1].speed_rpm: got '60000 rpm'; must be below 57000 rpm"),
        ({"duty": [POINT | {"load": 1.5}]}, "duty[1].load: got 1.5; must be at most 1"),
        ({"duty": [{"speed_rpm": 2000.0}]}, "duty[1].hours: is missing"),
    ],
)
def test_wrong_keys(changes, line):
    assert any(problem.startswith(line) for problem in problems(**changes)), problems(**changes)
