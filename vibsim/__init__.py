"""Vibration of a reciprocating engine on its mounts: mechanism, mounts, chassis, in time."""

from __future__ import annotations

import time
from contextlib import suppress
from pathlib import Path

__version__ = "0.1.0"


def _drop_stale_kernels() -> None:
    """Delete compiled kernels older than any source file.

    Numba checks a cached function against its own file alone, not against the files of the functions it calls.
    """
    package = Path(__file__).parent
    kernels = list(package.rglob("*.nbi"))
    if not kernels:
        return
    newest = max(source.stat().st_mtime for source in package.rglob("*.py"))
    oldest = min(kernel.stat().st_mtime for kernel in kernels)
    if oldest < newest <= time.time():  # a file dated in the future would drop them at every start
        for kernel in kernels:
            with suppress(OSError):
                kernel.unlink(missing_ok=True)


_drop_stale_kernels()
