"""What is wrong with a run of steps is said in a line that names the key."""

from __future__ import annotations

from typing import Any

import pytest

from tests.cases import single
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import build_case
from vibsim.inputs.steps import made_ready, steps_of

STARTER = {"stall_torque_N_m": 3.0, "no_load_speed_rpm": 9000.0, "ratio": 20.0}
THROTTLE = {"speed_rpm": 1000.0, "proportional_per_rpm": 1e-5, "integral_per_rpm_s": 1e-5}
TORQUE = {
    "acts_on": "torque",
    "speed_rpm": 1000.0,
    "proportional_N_m_per_rpm": 0.01,
    "integral_N_m_per_rpm_s": 0.01,
    "greatest_torque_N_m": 30.0,
}
UP = {"kind": "run_up", "speed_rpm": 1000.0, "speed_to_rpm": 3000.0, "rate_rpm_per_s": 500.0}


def raw(run: dict[str, Any], **engine: Any) -> dict[str, Any]:
    case = single()
    case["engine"]["gas"] = {"source": "cycle"}
    case["engine"] |= engine
    case["run"] = run
    return case


def programme(*steps: dict[str, Any], **run: Any) -> dict[str, Any]:
    return {"kind": "programme", "step": list(steps)} | run


def test_good_keys_are_taken() -> None:
    build_case(raw(UP))
    build_case(raw(UP | {"rate_rpm_per_s": 500.0, "speed_is": "prescribed", "fuel_cut": True}))
    build_case(raw({"kind": "start"}, starter=STARTER, governor=THROTTLE))
    build_case(raw({"kind": "idle"}, governor=TORQUE))
    build_case(raw({"kind": "stop", "speed_rpm": 900.0}))
    build_case(raw({"kind": "steady", "speed_rpm": 2000.0, "speed_is": "prescribed"}))
    free = {"kind": "coast_down", "speed_rpm": 3000.0, "driven_inertia_kg_m2": 0.1, "duration_s": 1.0}
    build_case(raw(free))
    steps = [{"kind": "start"}, {"kind": "idle"}, {"kind": "stop"}, {"kind": "start"}]
    build_case(raw(programme(*steps), starter=STARTER, governor=THROTTLE))


def test_kinds_of_differing_cycles_are_steady_runs_with_their_table() -> None:
    misfire = {"kind": "misfire", "speed_rpm": 2000.0, "misfire": {"cylinder": "1", "every": 4}}
    cyclic = {"kind": "cyclic", "speed_rpm": 2000.0, "variation": {"coefficient_of_variation": 0.03}}
    for run in (misfire, cyclic):
        ready = made_ready(build_case(raw(run))).run
        assert ready is not None and ready.kind == "steady"


def test_a_run_of_one_step_takes_its_keys_from_the_run() -> None:
    run = build_case(raw(UP | {"load": 0.4, "duration_s": 9.0})).run
    assert run is not None
    (step,) = steps_of(run)
    assert (step.kind, step.load, step.duration) == ("run_up", 0.4, 9.0)
    assert step.speed_to == pytest.approx(314.159265)


SMALL = STARTER | {"battery_resistance_mohm": 60.0}
BAD = [
    (raw(UP | {"speed_to_rpm": 900.0}), "run.speed_to_rpm: got '900 rpm'; a run-up from 1000 rpm needs a speed above"),
    (
        raw(UP | {"kind": "coast_down"}),
        "run.speed_to_rpm: got '3000 rpm'; a coast-down from 1000 rpm needs a speed below",
    ),
    (raw(UP | {"rate_rpm_per_s": 0.0}), "run.rate_rpm_per_s: got 0.0; must be greater than 0"),
    (raw(UP | {"rate_rpm_per_s": -5.0}), "run.rate_rpm_per_s: got -5.0; must be greater than 0"),
    (raw({"kind": "run_up", "speed_rpm": 900.0}), "run.speed_to_rpm: is missing"),
    (raw({"kind": "run_up", "speed_to_rpm": 900.0}), "run.speed_rpm: is missing"),
    (raw({"kind": "run_up", "speed_to_rpm": 900.0, "speed_rpm": -5.0}), "a run-up needs a speed above 0"),
    (raw(UP | {"speed_is": "free"}), "run.rate_rpm_per_s: goes with speed_is"),
    (raw(UP | {"driven_inertia_kg_m2": 0.1}), "run.driven_inertia_kg_m2: goes with speed_is"),
    (raw(UP | {"duration_s": 1.0}), "run.duration_s: got '1 s'; at this rate the run-up takes 4 s"),
    (raw(UP | {"fires_after_turns": 3.0}), "run.fires_after_turns: does nothing in a step of kind run_up"),
    (raw(UP | {"misfire": {"cylinder": "1", "every": 2}}), "run.misfire: goes with a steady or free run"),
    (raw({"kind": "start"}), "engine.starter: is missing; a start needs"),
    (raw({"kind": "start", "speed_rpm": 900.0}, starter=STARTER), "a start begins at rest; leave it out"),
    (raw({"kind": "start"}, starter=SMALL), "engine.starter.battery_resistance_mohm: got '60 mohm'; at rest"),
    (raw({"kind": "idle", "speed_rpm": 900.0}), "engine.governor: is missing; an idle run needs"),
    (raw({"kind": "idle"}, governor=THROTTLE, gas={"source": "motored"}), "engine.governor.acts_on: got 'throttle'"),
    (raw({"kind": "idle"}, governor=THROTTLE, gas={"source": "cycle", "fuel": "diesel"}), "a diesel has no throttle"),
    (raw({"kind": "misfire", "speed_rpm": 900.0}), 'run.misfire: is missing; kind = "misfire" needs'),
    (raw({"kind": "cyclic", "speed_rpm": 900.0}), 'run.variation: is missing; kind = "cyclic" needs'),
    (raw({"kind": "steady", "speed_rpm": 900.0, "rate_rpm_per_s": 5.0}), "run.rate_rpm_per_s: goes with a run-up"),
    (raw({"kind": "free", "speed_rpm": 900.0, "speed_is": "prescribed"}), "run.speed_is: got 'prescribed'; goes with"),
    (raw({"kind": "steady"}), "run.speed_rpm: is missing"),
    (raw({"kind": "programme"}), "run.step: is missing; a programme needs"),
    (
        raw(programme({"kind": "idle"}, {"kind": "stop"}, {"kind": "idle"}), governor=THROTTLE),
        "run.step[3].kind: got 'idle'; the crank stands after a stop",
    ),
    (
        raw(programme({"kind": "idle"}, {"kind": "run_up", "speed_to_rpm": 900.0}), governor=THROTTLE),
        "run.step[2].speed_to_rpm: got '900 rpm'; a run-up from 1000 rpm",
    ),
    (
        raw(programme({"kind": "idle"}, {"kind": "run_up", "speed_to_rpm": 2e3, "load": 0.5}), governor=TORQUE),
        "run.step[2].load: got 0.5; a programme changes the load by the throttle",
    ),
]


@pytest.mark.parametrize(("case", "line"), BAD, ids=[line[:50] for _, line in BAD])
def test_mistakes_are_named(case: dict[str, Any], line: str) -> None:
    with pytest.raises(InputError) as error:
        build_case(case)
    assert any(line in problem for problem in error.value.problems), error.value.problems


def test_gas_of_traces_knows_no_cycle_without_fire() -> None:
    case = raw(UP | {"fuel_cut": True}, gas={"source": "trace", "file": "x.csv"})
    with pytest.raises(InputError, match="needs gas without fire"):
        build_case(case)
