"""Who hears when kernels begin to be compiled, which happens once after installing; loads nothing itself."""

from __future__ import annotations

from collections.abc import Callable

listeners: list[Callable[[], None]] = []


def tell() -> None:
    """Kernels are being compiled; every listener hears it once."""
    while listeners:
        listeners.pop()()
