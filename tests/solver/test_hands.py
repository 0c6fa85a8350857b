"""What goes on beside the integration: chunks come in order, what goes wrong comes out where chunks are given."""

from __future__ import annotations

import threading
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from vibsim.inputs.errors import RunFailure, VibsimError
from vibsim.solver import hands
from vibsim.solver.hands import MOST, Hands

CASE: Any = SimpleNamespace(sensor=())
PACKED: Any = SimpleNamespace(model=SimpleNamespace(rotors=None))
TIME = np.zeros(1)


@pytest.fixture(autouse=True)
def observed(monkeypatch: pytest.MonkeyPatch) -> None:
    """A chunk's states are what is seen of them."""
    monkeypatch.setattr(hands, "observe", lambda states, packed, sensors: states)


def test_chunks_are_handed_on_in_order_and_few_are_held() -> None:
    taken: list[int] = []
    given = 0
    held: list[int] = []

    def take(time: np.ndarray, seen: Any) -> None:
        held.append(given - len(taken))
        taken.append(seen)

    with Hands(take) as beside:
        for n in range(20):
            given = n + 1
            beside.give(TIME, n, PACKED, CASE)  # type: ignore[arg-type]
    assert taken == list(range(20))
    assert max(held) <= MOST + 1


def test_what_goes_wrong_in_handing_on_is_raised_where_chunks_are_given() -> None:
    def take(time: np.ndarray, seen: Any) -> None:
        raise VibsimError(f"chunk {seen}")

    with pytest.raises(VibsimError, match="chunk 0"), Hands(take) as beside:
        for n in range(20):
            beside.give(TIME, n, PACKED, CASE)  # type: ignore[arg-type]


def test_the_earlier_failure_is_told() -> None:
    """The integration runs ahead: what it stumbles over comes later in the record than what is being handed on."""
    go = threading.Event()

    def take(time: np.ndarray, seen: Any) -> None:
        go.wait(5.0)
        raise RunFailure("stalled")

    with pytest.raises(RunFailure, match="stalled"), Hands(take) as beside:
        beside.give(TIME, 0, PACKED, CASE)  # type: ignore[arg-type]
        go.set()
        raise RunFailure("too small a step")
