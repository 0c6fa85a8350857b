"""A cluster of real processes: a scheduler and two workers, one of which is killed during the sweep."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.cases import CONFIGS
from tests.sweep.stub import slow_work, stub_plan, stub_work
from tests.sweep.test_never_lost import same, wait_for_points
from vibsim.inputs.errors import InputError, VibsimError
from vibsim.studies.sweep.engines import cluster, in_process
from vibsim.studies.sweep.sweep import State, run_sweep

pytestmark = [
    pytest.mark.slow,
    pytest.mark.filterwarnings("ignore::ResourceWarning"),  # sockets of a client whose worker died
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
]


def start(*words: str) -> subprocess.Popen:
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    return subprocess.Popen([sys.executable, "-m", *words], cwd=CONFIGS.parent, **quiet)


@pytest.fixture
def processes(tmp_path: Path) -> Iterator[tuple[str, list[subprocess.Popen]]]:
    """Address of a scheduler, and its two workers."""
    told = tmp_path / "scheduler.json"
    port = ["--host", "127.0.0.1", "--port", "0", "--no-dashboard"]
    scheduler = start("distributed.cli.dask_scheduler", *port, "--scheduler-file", str(told))
    options = ["--scheduler-file", str(told), "--no-nanny", "--nthreads", "1", "--no-dashboard"]
    while not told.exists():
        time.sleep(0.05)
        assert scheduler.poll() is None
    workers = [
        start("distributed.cli.dask_worker", *options, "--local-directory", str(tmp_path / f"w{n}")) for n in range(2)
    ]
    yield json.loads(told.read_text())["address"], workers
    for process in (*workers, scheduler):
        process.kill()
        process.wait()


def wait_for_workers(address: str) -> None:
    from distributed import Client

    with Client(address) as client:
        client.wait_for_workers(2, timeout=60)


def test_killed_worker_of_a_cluster_loses_nothing(
    processes: tuple[str, list[subprocess.Popen]], tmp_path: Path
) -> None:
    address, workers = processes
    wait_for_workers(address)
    path, found = tmp_path / "s.h5", list[State]()
    with cluster(address) as engine:
        sweeping = threading.Thread(
            target=lambda: found.append(run_sweep(stub_plan(), path, engine, task=slow_work)), daemon=True
        )
        sweeping.start()
        wait_for_points(path, 50)
        workers[0].send_signal(signal.SIGKILL)
        sweeping.join(60)
        assert not sweeping.is_alive()
    assert found[0].done == 600
    run_sweep(stub_plan(), tmp_path / "one.h5", in_process(), task=stub_work)
    assert same(path, tmp_path / "one.h5")


def test_no_scheduler_is_one_line() -> None:
    with pytest.raises(VibsimError, match="no scheduler answers at tcp:"), cluster("tcp://127.0.0.1:1"):
        pass


def test_local_cluster_equals_this_process(tmp_path: Path) -> None:
    with cluster(None, 2) as engine:
        run_sweep(stub_plan(), tmp_path / "c.h5", engine, task=stub_work)
    run_sweep(stub_plan(), tmp_path / "one.h5", in_process(), task=stub_work)
    assert same(tmp_path / "c.h5", tmp_path / "one.h5")


def test_an_address_that_is_none_is_bad_input():
    with pytest.raises(InputError, match=r"--cluster: got 'foo'; must be tcp://host:port"), cluster("foo"):
        pass
