"""Observing and handing on the chunks of a long record beside its integration."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor

import numpy as np

from vibsim.inputs.models import Case
from vibsim.solver.observe import Observed, observe
from vibsim.solver.packed import Packed


class Hands:
    """Two threads beside the one that integrates: a chunk is observed in the first and handed on in the second, while
    the next one is under way. No more than three chunks are held at once; what goes wrong is raised where chunks are
    given."""

    def __init__(self, hand_on: Callable[[np.ndarray, Observed], None]):
        self._hand_on = hand_on
        self._observing, self._handing = ThreadPoolExecutor(1), ThreadPoolExecutor(1)
        self._observed: tuple[np.ndarray, Future[Observed]] | None = None
        self._handed: Future[None] | None = None

    def give(self, time: np.ndarray, states: np.ndarray, packed: Packed, case: Case) -> None:
        """A chunk, times (n) s and states (n, state)."""
        self._pass_on()
        self._observed = time, self._observing.submit(observe, states, packed, case.sensor)

    def _pass_on(self) -> None:
        if self._observed is None:
            return
        time, observed = self._observed
        self._observed = None
        seen = observed.result()
        if self._handed is not None:
            self._handed.result()
        self._handed = self._handing.submit(self._hand_on, time, seen)

    def __enter__(self) -> Hands:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: object) -> None:
        try:
            if kind is None:
                self._pass_on()
                if self._handed is not None:
                    self._handed.result()
        finally:
            self._observing.shutdown()
            self._handing.shutdown()
