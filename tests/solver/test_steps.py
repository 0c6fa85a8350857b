"""Runs of steps: governors, starters that are too weak, programmes, and records on disk."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest

from tests.cases import CONFIGS, as_file, mount, single
from vibsim.inputs.errors import InputError, RunFailure, VibsimError
from vibsim.inputs.loader import build_case
from vibsim.post.step_groups import add_step_groups, stretch
from vibsim.post.summary import summarise
from vibsim.post.torque import torques
from vibsim.results.collect import collect
from vibsim.results.hdf5 import read_results, write_results
from vibsim.results.labelled import Group
from vibsim.results.stream import Stream
from vibsim.show.figures import draw_figures
from vibsim.show.order_tables import print_found
from vibsim.show.step_tables import print_steps, step_words
from vibsim.solver.driven import StarterMotor
from vibsim.solver.history import History
from vibsim.solver.last_cycles import MOST_CYCLES, LastCycles
from vibsim.solver.simulate import simulate
from vibsim.solver.solution import Solution
from vibsim.studies.order_tracking import find_orders
from vibsim.studies.run import run_case, run_to_file
from vibsim.studies.steady_point import at_steady_step
from vibsim.studies.step_of import read_step, step_number

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
    assert [path.stem for path in paths] == ["speed", "mounts", "sensors", "torque", "spectra"]


@pytest.fixture(scope="module")
def results(solution: Solution) -> Group:
    """As `run_case` gives them, but for what is post-processed of the whole record."""
    found = collect(solution, as_file(programme()))
    add_step_groups(found, 2000.0, lambda first, end: stretch(found, first, end))
    return found


def test_cycles_that_each_step_ends_with_are_those_of_the_record(results: Group) -> None:
    """On their grid lies what the record shows between its points; they begin with whole cycles of crank angle zero."""
    steps = results.groups["steps"]
    assert "crank_grid" not in steps.groups["5"].groups  # a stop ends at rest
    for number, step in ((2, 1), (3, 2), (4, 3)):
        grid = steps.groups[str(number)].groups["crank_grid"]
        first, cycle = grid.attributes["first_crank_angle_rad"], grid.attributes["cycle_length_rad"]
        assert first / cycle == pytest.approx(round(first / cycle), abs=1e-9) and len(grid["angle"]) % 720 == 0
        assert 1 <= len(grid["angle"]) // 720 <= MOST_CYCLES
        assert grid["crank_angle"] == pytest.approx(grid["angle"], abs=1e-9)
        here = results["step"] == step
        assert first + grid["angle"][-1] <= results["crank_angle"][here][-1] < first + grid["angle"][-1] + 1.1 * cycle
        seen = np.interp(first + grid["angle"], results["crank_angle"], results["crank_speed"])
        assert np.abs(seen - grid["crank_speed"]).max() < 0.02 * np.ptp(results["crank_speed"])


def test_every_step_has_its_torque_orders_and_spectra(results: Group) -> None:
    idle = results.groups["steps"].groups["2"]
    assert {"torque", "orders", "spectra", "sensors", "mount_forces"} <= set(idle.groups)
    net = list(idle["torque/torque"]).index("net")
    grid, turns = idle.groups["crank_grid"], len(idle["crank_grid/angle"]) / 360.0
    values = torques(grid)[:, net]
    window = np.hanning(len(values) + 1)[:-1]
    line = np.fft.rfft(values * window)[round(2.0 * turns)]  # order 2 over whole cycles: derived
    assert idle["torque/amplitude"][4, net] == pytest.approx(2.0 * abs(line) / window.sum(), rel=1e-9)
    assert idle.groups["spectra"].attributes["to_s"] == pytest.approx(3.1)


def test_last_cycles_do_not_grow(solution: Solution) -> None:
    run, packed = solution.case.run, solution.packed
    assert run is not None
    last, width = LastCycles(solution.case, run, run.step[3]), packed.cycle / run.points_per_cycle
    for chunk in range(60):
        angle = chunk * 0.7 * packed.cycle
        found = last.room(packed, angle, 150.0, 1.0, 0.1)
        count = math.ceil((angle + 0.7 * packed.cycle) / width - 1e-9) - round(found.start / width)
        found.next[0] = count
        last.take(found)
        assert sum(len(part) for part in last.states) < (MOST_CYCLES + 2) * run.points_per_cycle
    assert last.first + sum(len(part) for part in last.states) == math.ceil(42.0 * run.points_per_cycle - 1e-9)
    assert last.room(packed, 0.0, 150.0, 60.0, 0.1).times.size > 0  # a free coast-down may end at any time
    held = LastCycles(solution.case, run, run.step[1])
    assert held.room(packed, 0.0, 150.0, 60.0, 0.1).times.size == 0


def test_orders_of_a_programme_name_their_steps(results: Group, capsys: pytest.CaptureFixture[str]) -> None:
    found = find_orders(results, "head", orders=None)
    print_found(found, (2.0,), [])
    told, fastest = capsys.readouterr().out, found.tracked.speed.max() * 30.0 / np.pi
    assert "in step" in told and re.search(r"\d (idle|run-up|coast-down)", told) and f"{fastest:.0f} rpm" in told
    assert {row["step"] for row in found.rows((2.0,))} >= {"2 idle", "3 run-up", "4 coast-down"}


def test_one_step_by_itself(tmp_path: Path, command: Callable[..., tuple[int, str, str]], results: Group) -> None:
    target = tmp_path / "programme.h5"
    write_results(results, target)
    idle = read_step(target, "idle")
    assert idle["time"][[0, -1]] == pytest.approx([0.6005, 3.1]) and "orders" in idle.groups
    assert idle.attributes["title"].startswith("step 2, idle")
    assert find_orders(idle, "head").steps == ()
    assert [path.stem for path in draw_figures(idle, tmp_path / "idle", ("torque",))] == ["torque"]
    for word, line in (("road", "allowed: 1 (start), 2 (idle)"), ("6", "must be 1 to 5"), ("0", "must be 1 to 5")):
        with pytest.raises(InputError, match=re.escape(line)):
            step_number(results, word)
    code, _, told = command("orders", target, "--step", "glide")
    assert code == 2 and "vibsim: --step: got 'glide'; allowed: 1 (start)" in told


def test_programme_is_taken_as_steady_at_its_longest_step() -> None:
    """The idle of 2.5 s is the longest that holds a speed; without one, where the run-up ends."""
    found, (line,) = at_steady_step(as_file(programme()))
    assert found.case.run is not None and (found.case.run.kind, found.case.run.step) == ("steady", ())
    assert found.case.run.speed == pytest.approx(900.0 * np.pi / 30.0)
    assert line.endswith("taken as steady at 900 rpm, as in step 2, idle")
    up = {"kind": "run_up", "speed_rpm": 900.0, "speed_to_rpm": 2000.0, "duration_s": 3.0}
    found, (line,) = at_steady_step(as_file(raw(up)))
    assert line.endswith("at 2000 rpm, as in the run-up")
    steady = as_file(raw({"kind": "steady", "speed_rpm": 2000.0}))
    assert at_steady_step(steady) == (steady, ())


def test_wheels_are_in_the_record_on_disk(tmp_path: Path, solution: Solution) -> None:
    seen = replace(solution.over_time, parts={"tyre_force": np.ones((len(solution.time), 2, 3))})
    with h5py.File(tmp_path / "a.h5", "w") as file:
        stream = Stream(file)
        stream.take(solution.time, 0, seen)
        assert file["tyre_force"].shape == (len(solution.time), 2, 3)
        assert stream.rows(3, 5)["tyre_force"].shape == (2, 2, 3)


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
