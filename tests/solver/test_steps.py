"""Runs of steps: governors, starters that are too weak, programmes, and records on disk."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest

from tests.cases import CONFIGS, as_file, mount, single
from vibsim.inputs.errors import InputError, RunFailure, VibsimError
from vibsim.inputs.loader import build_case
from vibsim.post.summary import summarise
from vibsim.results.collect import collect
from vibsim.results.hdf5 import read_results
from vibsim.show.figures import draw_figures
from vibsim.show.step_tables import print_steps, step_words
from vibsim.solver.driven import StarterMotor
from vibsim.solver.history import History
from vibsim.solver.simulate import simulate
from vibsim.solver.solution import Solution
from vibsim.studies.run import run_case, run_to_file

STARTER = {"stall_torque_N_m": 4.0, "no_load_speed_rpm": 9000.0, "ratio": 25.0}
GOVERNOR = {
    "acts_on": "torque",
    "speed_rpm": 900.0,
    "proportional_N_m_per_rpm": 0.05,
    "integral_N_m_per_rpm_s": 0.02,
    "greatest_torque_N_m": 40.0,
}


def raw(run: dict[str, Any], **engine: Any) -> dict[str, Any]:
    """A single on damped mounts with motored gas, friction and a governor that drives it by a torque."""
    found = single()
    found["engine"] |= {"gas": {"source": "motored"}, "friction": {"torque_N_m": 3.0}, "governor": GOVERNOR} | engine
    found["engine"]["crank"]["inertia_kg_m2"] = 0.15
    found["mount"] = [
        mount(f"m{n}", between=["powertrain", "ground"], at_mm=at, damping_N_s_per_mm=[0.5, 0.5, 0.5])
        for n, at in enumerate(([200, 150, -50], [200, -150, -50], [-200, 0, -50]))
    ]
    found["sensor"] = [{"name": "head", "body": "powertrain", "at_mm": [0.0, 0.0, 200.0]}]
    found["run"] = {"sample_rate_Hz": 2000.0} | run
    return found


def run(case: dict[str, Any]) -> Solution:
    return simulate(build_case(case), CONFIGS)


def test_governor_holds_idle() -> None:
    (figures,) = (o.figures for o in run(raw({"kind": "idle", "duration_s": 5.0})).outcomes)
    assert figures["mean_speed_rad_per_s"] == pytest.approx(94.2478, rel=0.03)
    # a motored engine that is driven: the governor gives what friction takes, 3 N m over each radian
    assert figures["load_work_J"] == pytest.approx(-figures["friction_work_J"], rel=0.1)
    assert 0.0 < figures["speed_fluctuation"] < 1.0


def test_governor_that_cannot_hold_is_said_so() -> None:
    weak = GOVERNOR | {"greatest_torque_N_m": 1.0}
    with pytest.raises(RunFailure, match=r"the governor does not hold 900 rpm: the mean speed is"):
        run(raw({"kind": "idle", "duration_s": 1.5}, governor=weak))


def test_engine_that_stalls_is_said_so() -> None:
    load = {"law": "road", "torque_N_m": 80.0}
    up = {"kind": "run_up", "speed_rpm": 900.0, "speed_to_rpm": 2000.0, "duration_s": 3.0}
    with pytest.raises(RunFailure, match=r"the engine stalled 0\.\d+ s into the record, in run_up; check engine.load"):
        run(raw(up, load=load))


def test_starter_too_weak_is_said_so() -> None:
    weak = STARTER | {"ratio": 2.0}
    with pytest.raises(RunFailure, match=r"starter is too weak: the crank stands after \d\.\d+ turns against 8 N m"):
        run(raw({"kind": "start", "duration_s": 3.0}, starter=weak, friction={"torque_N_m": 6.0}))


def test_run_up_that_does_not_get_there_is_warned_of() -> None:
    up = {"kind": "coast_down", "speed_rpm": 900.0, "speed_to_rpm": 300.0, "duration_s": 0.1}
    assert "the coast-down got to" in run(raw(up)).warnings[0]


def test_starter_obeys_ohm_and_joule() -> None:
    """Derived: U₀·I = T·ω + R·I² with R of motor and battery, at any speed; nothing beyond the no-load speed."""
    motor = StarterMotor(stall=100.0, no_load=40.0, voltage=12.0, resistance=0.01)
    total = 12.0 * 12.0 / (100.0 * 40.0)  # R = U²/(stall·ω₀)
    speed = np.array([0.0, 10.0, 30.0])
    torque = 100.0 * (1.0 - speed / 40.0)
    seen = motor.seen(torque, speed)
    current = seen["starter_current"]
    assert 12.0 * current == pytest.approx(torque * speed + total * current**2)
    assert seen["battery_voltage"] == pytest.approx(12.0 - 0.01 * current)


STEPS = [
    {"kind": "start", "duration_s": 0.6},
    {"kind": "idle", "duration_s": 2.5},
    {"kind": "run_up", "speed_to_rpm": 1500.0, "rate_rpm_per_s": 1500.0},
    {"kind": "coast_down", "speed_to_rpm": 1000.0, "duration_s": 1.0},
    {"kind": "stop", "duration_s": 1.0},
]


def programme() -> dict[str, Any]:
    return raw({"kind": "programme", "step": STEPS}, starter=STARTER)


@pytest.fixture(scope="module")
def solution() -> Solution:
    return run(programme())


def test_programme_goes_on_without_a_jump(solution: Solution) -> None:
    seen, step = solution.over_time, solution.step
    assert step is not None and [o.kind for o in solution.outcomes] == [s["kind"] for s in STEPS]
    assert np.allclose(np.diff(solution.time), 5e-4)
    assert step[0] == 0 and step[-1] == 4 and np.all(np.diff(step) >= 0)
    for n in np.flatnonzero(np.diff(step)):
        around = np.abs(np.diff(seen.crank_speed[max(n - 20, 0) : n + 20]))
        # from point to point no more than the steepest nearby, and what the steps' torques (40 N m) do in 0.5 ms
        assert around[19 if n >= 20 else n] <= 1.5 * np.delete(around, 19).max() + 0.15
        assert seen.crank_angle[n + 1] - seen.crank_angle[n] == pytest.approx(seen.crank_speed[n] * 5e-4, rel=0.05)
        jump = np.abs(seen.mount_deflection[n + 1] - seen.mount_deflection[n]).max()
        assert jump < 1e-3 * 0.5  # under 1 m/s in 0.5 ms
    ends = [o.end for o in solution.outcomes]
    assert [o.begin for o in solution.outcomes[1:]] == ends[:-1]


def test_blocks_of_the_history_are_those_of_the_record(solution: Solution) -> None:
    assert isinstance(solution.history, History)
    found = solution.history.arrays("crank_speed")
    whole, lengths = solution.over_time.crank_speed, solution.history.points
    assert found["greatest"].max() == whole.max() and found["least"].min() == whole.min()
    assert found["mean"][3] == pytest.approx(whole[3 * lengths : 4 * lengths].mean())
    force = solution.over_time.mount_force[:lengths]
    assert solution.history.arrays("mount_force")["square"][0] == pytest.approx((force**2).mean(axis=0))


def test_record_on_disk_is_the_one_in_memory(tmp_path: Path, solution: Solution) -> None:
    case_file, target = as_file(programme()), tmp_path / "programme.h5"
    results = run_to_file(case_file, target)
    with h5py.File(target) as file:
        assert file["mount_force"].dims[0][0].name == "/time" and file["mount_force"].dims[1][0].name == "/mount"
    whole, memory = read_results(target), collect(solution, case_file)
    for name, variable in memory.variables.items():
        if variable.data.dtype.kind == "f":
            assert np.array_equal(whole[name], variable.data), name
            assert whole.variables[name].dims == variable.dims
    assert np.array_equal(whole["step"], memory["step"])
    assert [path.name for path in tmp_path.iterdir()] == ["programme.h5"]
    slim = read_results(target, record=False)
    assert "mount_force" not in slim and "history/mount_force_mean" in slim and slim.labels("mount")
    summary = summarise(slim)
    assert summary == summarise(results)
    assert [row["kind"] for row in summary["steps"]] == [step["kind"] for step in STEPS]
    assert "cranked at" in step_words(summary["steps"][0])[0]
    paths = draw_figures(slim, tmp_path / "figures")
    assert [path.stem for path in paths] == ["speed", "mounts", "sensors"]


def test_steps_are_told_on_one_screen(solution: Solution, capsys: pytest.CaptureFixture[str]) -> None:
    print_steps(summarise(collect(solution, as_file(programme()))), [Path("a.h5")])
    told = capsys.readouterr().out
    for words in ("start", "run-up", "turned back", "wrote a.h5", "Work over the crank's turning"):
        assert words in told


def test_failed_run_leaves_no_file(tmp_path: Path) -> None:
    case = raw({"kind": "idle", "duration_s": 1.5}, governor=GOVERNOR | {"greatest_torque_N_m": 1.0})
    with pytest.raises(VibsimError):
        run_to_file(as_file(case), tmp_path / "idle.h5")
    assert not list(tmp_path.iterdir())


def test_full_disk_is_said_in_a_line_and_leaves_no_file(tmp_path: Path) -> None:
    resource = pytest.importorskip("resource")
    case, before = as_file(raw({"kind": "idle", "duration_s": 1.5})), resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, before[1]))
    try:
        with pytest.raises(VibsimError, match=r"idle\.h5: cannot be written") as told:
            run_to_file(case, tmp_path / "idle.h5")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert "\n" not in str(told.value)
    assert not list(tmp_path.iterdir())


def test_a_plain_run_goes_to_its_file_as_before(tmp_path: Path) -> None:
    case = as_file(raw({"kind": "steady", "speed_rpm": 2000.0, "duration_s": 0.2}))
    results = run_to_file(case, tmp_path / "steady.h5")
    assert np.array_equal(read_results(tmp_path / "steady.h5")["mount_force"], results["mount_force"])
    assert run_case(case).attributes["run_kind"] == "steady"


def test_bad_case_does_not_begin() -> None:
    with pytest.raises(InputError):
        build_case(raw({"kind": "programme"}))
