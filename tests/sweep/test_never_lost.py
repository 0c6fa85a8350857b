"""No finished point is lost: kills, full disks, lost workers. Each swept again to the end equals one left in peace."""

from __future__ import annotations

import os
import random
import resource
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import h5py
import numpy as np
import pytest

from tests.cases import CONFIGS
from tests.sweep.stub import deadly_work, slow_work, stub_plan, stub_work, sweep
from vibsim.inputs.errors import InputError, VibsimError
from vibsim.results.hdf5 import read_results
from vibsim.results.journal import Journal, Record, records
from vibsim.results.sweep_file import DONE, FAILED, MISSING
from vibsim.studies.sweep.engines import in_process, process_pool
from vibsim.studies.sweep.sweep import journal_path, read_journal, run_sweep

ROOT = CONFIGS.parent


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("whole") / "whole.h5"
    run_sweep(stub_plan(), path, in_process(), task=stub_work)
    return path


def same(one: Path, two: Path) -> bool:
    with h5py.File(one) as a, h5py.File(two) as b:
        assert set(a) == set(b)
        return all(np.array_equal(a[name][()], b[name][()]) for name in a)


def begin(path: Path, *words: str, **options) -> subprocess.Popen:
    return subprocess.Popen(
        [sys.executable, "-m", "tests.sweep.stub", str(path), *words], cwd=ROOT, stderr=subprocess.PIPE, **options
    )


def wait_for_points(path: Path, count: int) -> None:
    until = time.monotonic() + 60.0
    while time.monotonic() < until:
        if journal_path(path).exists() and sum(1 for _ in records(journal_path(path))) > count:
            return
        time.sleep(0.002)
    raise AssertionError("the sweep did not come that far")


def kill_and_resume(path: Path, undisturbed: Path, points: int, pause: float, *words: str) -> None:
    process = begin(path, *words)
    wait_for_points(path, points)
    time.sleep(pause)
    process.kill()
    process.communicate()
    if journal_path(path).exists():
        before = read_journal(journal_path(path))
        sweep(path, resume=True)
        assert before.done >= points - 2  # records of plan and shape are no points
    assert same(path, undisturbed)
    assert not journal_path(path).exists()


def test_killed_sweep_goes_on_where_it_was(tmp_path: Path, undisturbed: Path) -> None:
    kill_and_resume(tmp_path / "s.h5", undisturbed, 100, 0.003)


@pytest.mark.slow
@pytest.mark.parametrize("trial", range(50))
def test_killed_at_any_moment(trial: int, tmp_path: Path, undisturbed: Path) -> None:
    chance = random.Random(trial)
    words = ("--pool",) if trial % 5 == 0 else ()
    kill_and_resume(tmp_path / "s.h5", undisturbed, chance.randrange(1, 560), 0.01 * chance.random(), *words)


def test_full_disk_loses_nothing_finished(tmp_path: Path, undisturbed: Path) -> None:
    """The size a process' files may reach stands in for the disk: the write fails part way through a record."""
    path = tmp_path / "s.h5"
    whole = 60_000

    def limited() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (whole, whole))

    process = begin(path, preexec_fn=limited)
    said = process.communicate(timeout=60)[1].decode()
    assert process.returncode == 1 and "File too large" in said and "all that was finished is kept" in said
    assert whole - 200 < journal_path(path).stat().st_size <= whole
    assert 0 < read_journal(journal_path(path)).done < 600
    sweep(path, resume=True)
    assert same(path, undisturbed)


def test_lost_workers_cost_only_the_points_that_kill_them(tmp_path: Path, undisturbed: Path) -> None:
    path = tmp_path / "s.h5"
    state = run_sweep(stub_plan(), path, process_pool(2), task=deadly_work)
    assert [point for point in range(600) if state.outcome[point] == FAILED] == [300]
    results = read_results(path)
    assert list(results["failure"]) == [300]
    assert "worker died" in str(results["failure_reason"][0])
    assert np.count_nonzero(results["status"] == DONE) == 599
    assert journal_path(path).exists()
    state = run_sweep(stub_plan(), path, in_process(), resume=True, again=True, task=stub_work)
    assert not state.failed
    assert same(path, undisturbed)


def test_readers_never_see_half_a_point(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Law: wherever the status says done, every number of the point is there; else none is."""
    monkeypatch.setattr("vibsim.studies.sweep.sweep.FILE_EVERY", 0.01)
    monkeypatch.setattr("vibsim.studies.sweep.sweep.FILE_SHARE", 1.0)
    path, seen = tmp_path / "s.h5", []
    worker = threading.Thread(target=run_sweep, args=(stub_plan(), path, in_process()), kwargs={"task": slow_work})
    worker.start()
    while worker.is_alive():
        if path.exists():
            results = read_results(path)
            done = results["status"] == DONE
            assert np.all(np.isfinite(results["level"][done])) and np.all(np.isnan(results["level"][~done]))
            assert np.array_equal(np.isfinite(results["product"]), done)
            seen.append(int(done.sum()))
    worker.join()
    assert len(set(seen)) > 3 and seen == sorted(seen)


def test_journal_cuts_off_what_a_kill_left(tmp_path: Path) -> None:
    path = tmp_path / "j"
    with Journal(path) as journal:
        journal.add(2, 7, b"first")
        journal.add(2, 8, b"second")
    whole = path.read_bytes()
    for length in range(len(whole) - 1, 40, -1):
        path.write_bytes(whole[:length])
        with Journal(path) as journal:
            journal.add(3, 9, b"third")
        assert [record.number for record in records(path)] == ([7, 9] if length < len(whole) else [7, 8, 9])
    damaged = bytearray(whole)
    damaged[-1] ^= 1
    path.write_bytes(bytes(damaged))
    assert list(records(path)) == [Record(2, 7, b"first")]


def test_second_writer_is_refused(tmp_path: Path) -> None:
    with Journal(tmp_path / "j"), pytest.raises(VibsimError, match="another sweep is writing it"):
        Journal(tmp_path / "j")


def test_resume_refuses_another_case_and_shows_the_difference(tmp_path: Path) -> None:
    path = tmp_path / "s.h5"
    process = begin(path)
    wait_for_points(path, 20)
    process.send_signal(signal.SIGTERM)
    process.communicate()
    other = stub_plan(["run.speed_rpm=1000:6000:24", "run.load=0.1:1:20"])
    with pytest.raises(InputError) as caught:
        run_sweep(other, path, in_process(), resume=True, task=stub_work)
    assert any("shape: was [24, 25], now [24, 20]" in line for line in caught.value.problems)
    with pytest.raises(InputError, match="is there already; --resume"):
        run_sweep(stub_plan(), path, in_process(), task=stub_work)


def test_ctrl_c_leaves_a_file_to_go_on_with(tmp_path: Path, undisturbed: Path) -> None:
    path = tmp_path / "s.h5"
    process = begin(path, "--pool", start_new_session=True)
    wait_for_points(path, 50)
    os.killpg(process.pid, signal.SIGINT)
    process.communicate(timeout=30)
    status = read_results(path)["status"]
    assert 0 < np.count_nonzero(status == DONE) < 600 and np.count_nonzero(status == MISSING) > 0
    sweep(path, resume=True)
    assert same(path, undisturbed)


@pytest.mark.slow
def test_the_command_says_one_line_when_stopped_and_goes_on(tmp_path: Path) -> None:
    """The whole way round with processes: Ctrl-C, one plain line, exit code 130, --resume to the same bits."""
    axes = ("--over", "run.speed_rpm=3000:5000:40", "--over", "run.load=0.2:1:40")
    words = [sys.executable, "-m", "vibsim", "sweep", str(CONFIGS / "v3-80-trike.toml"), *axes, "--workers", "2"]
    path = tmp_path / "s.h5"
    process = subprocess.Popen([*words, "-o", str(path)], cwd=ROOT, stderr=subprocess.PIPE, start_new_session=True)
    until = time.monotonic() + 240.0
    while time.monotonic() < until and not (journal_path(path).exists() and read_journal(journal_path(path)).done):
        time.sleep(0.1)
    os.killpg(process.pid, signal.SIGINT)
    said = process.communicate(timeout=30)[1].decode().splitlines()
    assert process.returncode == 130, said
    line = f"vibsim: stopped; every finished point is in {path}; the same command with --resume goes on"
    assert said == [line]
    status = read_results(path)["status"]
    assert 0 < np.count_nonzero(status == DONE) < 1600
