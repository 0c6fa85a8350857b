"""What is wrong with a clutch that closes is said in a line that names the key."""

from __future__ import annotations

from typing import Any

import pytest

from tests.cases import single
from tests.laws.test_clutch import clutched
from tests.rotor_cases import shaft
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import build_case
from vibsim.inputs.steps import made_ready


def changed(**run: Any) -> dict[str, Any]:
    raw = clutched()
    raw["run"] |= run
    return raw


def without_driveline() -> dict[str, Any]:
    raw = single()
    raw["run"]["clutch"] = {"shaft": "disc", "capacity_N_m": 150.0}
    return raw


def undamped() -> dict[str, Any]:
    raw = clutched()
    del raw["shaft"][0]["damping_N_m_s_per_rad"]
    return raw


def bypassed() -> dict[str, Any]:
    raw = clutched()
    raw["shaft"].append(shaft("flywheel", "vehicle", 1e4))
    return raw


CYCLE = {"kind": "load_step", "speed_rpm": 2000.0, "load": 0.2, "step_at_s": 0.05}
BAD = [
    (without_driveline(), "run.clutch: needs a driveline to close on: [[rotor]] tables and a [[shaft]]"),
    (clutched(shaft="disk"), "run.clutch.shaft: got 'disk'; no such shaft; did you mean 'disc'?"),
    (clutched(shaft="gear"), "run.clutch.shaft: got 'gear'; no such shaft; allowed: disc, line"),
    (clutched(capacity_N_m=0.0), "run.clutch.capacity_N_m: got 0.0; must be greater than 0"),
    (clutched(duration_s=-1.0), "run.clutch.duration_s: got -1.0; must be"),
    (undamped(), "run.clutch.shaft: got 'disc'; needs damping_N_m_s_per_rad"),
    (bypassed(), "run.clutch.shaft: got 'disc'; another shaft joins both its ends"),
    (changed(kind="steady"), 'run.clutch: goes with kind = "load_step" or "free"'),
    (changed(hold_speed=True, **CYCLE), "run.hold_speed: got True; goes without a clutch"),
]


@pytest.mark.parametrize(("raw", "line"), BAD, ids=[line[:50] for _, line in BAD])
def test_mistakes_are_named(raw: dict[str, Any], line: str) -> None:
    with pytest.raises(InputError) as error:
        build_case(raw)
    assert any(line in problem for problem in error.value.problems), error.value.problems


def test_a_load_step_by_clutch_leaves_the_load_and_the_crank_to_themselves() -> None:
    raw = changed(**CYCLE)
    raw["engine"]["gas"] = {"source": "cycle"}
    run = made_ready(build_case(raw)).run
    assert run is not None and (run.load_after, run.hold_speed) == (0.2, False)
