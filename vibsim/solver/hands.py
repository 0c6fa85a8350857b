"""Observing and handing on the chunks of a long record beside its integration."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor

import numpy as np

from vibsim.inputs.errors import RunFailure
from vibsim.inputs.models import Case
from vibsim.solver.observe import Observed, observe
from vibsim.solver.packed import Packed

MOST = 4  # chunks held at once


class Hands:
    """Two threads beside the one that integrates: a chunk is observed in the first and handed on in the second, while
    the next ones are under way. What goes wrong is raised where chunks are given, the earliest in the record first."""

    def __init__(self, hand_on: Callable[[np.ndarray, Observed], None]):
        self._hand_on = hand_on
        self._observing, self._handing = ThreadPoolExecutor(1), ThreadPoolExecutor(1)
        self._handed: deque[Future[None]] = deque()

    def give(self, time: np.ndarray, states: np.ndarray, packed: Packed, case: Case) -> None:
        """A chunk, times (n) s and states (n, state)."""
        observed = self._observing.submit(observe, states, _with_own_scratch(packed), case.sensor)
        self._handed.append(self._handing.submit(self._pass_on, time, observed))
        while len(self._handed) > MOST:
            self._handed.popleft().result()

    def _pass_on(self, time: np.ndarray, observed: Future[Observed]) -> None:
        self._hand_on(time, observed.result())

    def __enter__(self) -> Hands:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: object) -> None:
        try:
            while self._handed and (kind is None or issubclass(kind, RunFailure)):
                self._handed.popleft().result()
        finally:
            self._observing.shutdown(cancel_futures=True)
            self._handing.shutdown(cancel_futures=True)


def _with_own_scratch(packed: Packed) -> Packed:
    """The model to be read beside the thread that integrates, which writes into what rotors keep in it."""
    rotors = packed.model.rotors
    if rotors is None:
        return packed
    own = rotors._replace(work=rotors.work.copy(), matrix=rotors.matrix.copy(), torques=rotors.torques.copy())
    return packed._replace(model=packed.model._replace(rotors=own))
