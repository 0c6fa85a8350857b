"""Engines of work: executors of `concurrent.futures`, in this process, in a pool of processes, or on a cluster."""

from __future__ import annotations

import contextlib
import logging
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from dataclasses import dataclass
from typing import Any

from vibsim.inputs.errors import InputError, VibsimError

AHEAD = 2  # chains handed out per worker: none waits, and little is under way when a sweep stops


class InProcess(Executor):
    """Works when asked, in this process."""

    def submit(self, fn: Callable, /, *args: Any, **kwargs: Any) -> Future:
        future: Future = Future()
        future.set_running_or_notify_cancel()
        try:
            future.set_result(fn(*args, **kwargs))
        except Exception as error:
            future.set_exception(error)
        return future


@dataclass(frozen=True)
class Engine:
    """How to make an executor, how many chains are handed out at once, whether a new executor heals a lost worker, and
    the errors by which an executor says that a chain took its workers with it."""

    make: Callable[[], Executor]
    room: int
    heals: bool
    words: str
    kills: tuple[type[Exception], ...] = ()

    def stop(self, executor: Executor, wait: bool) -> None:
        """Let go of an executor; with `wait` its workers are gone when this returns."""
        if isinstance(executor, ProcessPoolExecutor):
            executor.shutdown(wait, cancel_futures=True)
        else:
            executor.shutdown(wait)


def in_process() -> Engine:
    return Engine(InProcess, 1, False, "this process")


def process_pool(workers: int | None = None) -> Engine:
    """A pool of processes on this machine, by default one per core that it may use."""
    count = workers or available_cores()
    return Engine(lambda: _pool(count), AHEAD * count, True, f"{count} processes")


def available_cores() -> int:
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # a system that does not tell
        return os.cpu_count() or 1


def _pool(count: int) -> ProcessPoolExecutor:
    """Fresh interpreters: a copy of one that has compiled kernels or runs threads may hang."""
    return ProcessPoolExecutor(count, mp_context=multiprocessing.get_context("spawn"), initializer=quiet_worker)


def quiet_worker() -> None:
    """Leave Ctrl-C to the main process, and go when it goes, however it does."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_go_with_parent, daemon=True).start()


def _go_with_parent() -> None:
    parent = multiprocessing.parent_process()
    assert parent is not None
    parent.join()
    os._exit(1)


@contextlib.contextmanager
def cluster(address: str | None, workers: int | None = None) -> Iterator[Engine]:
    """A Dask cluster: the scheduler at `address` (tcp://host:port), or one of `workers` processes started here.

    Raises InputError where the extra is not installed, VibsimError where the scheduler does not answer.
    """
    try:
        from distributed import Client, KilledWorker, LocalCluster
    except ImportError:
        raise InputError("--cluster: needs the extra 'cluster': pip install 'vibsim[cluster]'") from None
    try:
        if address is None:
            local = LocalCluster(
                n_workers=workers or available_cores(),
                threads_per_worker=1,
                dashboard_address=None,
                processes=True,
                silence_logs=logging.ERROR,  # a worker restarted is no news for who waits for points
            )
            client = Client(local)
        else:
            local, client = None, Client(address, timeout="10s")
    except ValueError as error:
        raise InputError(f"--cluster: got '{address}'; must be tcp://host:port, or local ({error})") from None
    except (OSError, TimeoutError) as error:
        raise VibsimError(f"--cluster: no scheduler answers at {address} ({error})") from None
    try:
        count = sum(client.nthreads().values()) or 1
        words = f"a cluster of {count} workers"
        yield Engine(lambda: client.get_executor(pure=False), AHEAD * count, False, words, (KilledWorker,))
    finally:
        client.close()
        if local is not None:
            local.close()
