"""Vibration of a reciprocating engine on its mounts: mechanism, mounts, chassis, in time."""

from __future__ import annotations

import time
from contextlib import suppress
from importlib import import_module
from pathlib import Path
from typing import Any

__version__ = "0.1.0"
PUBLIC = ("load", "run", "read", "sweep", "compare", "Case", "Results", "Comparison")


def __getattr__(name: str) -> Any:
    """What a notebook uses, imported when it is first asked for: `import vibsim` stays cheap."""
    if name in PUBLIC:
        return getattr(import_module("vibsim.api"), name)
    raise AttributeError(f"module 'vibsim' has no attribute '{name}'")


def __dir__() -> list[str]:
    return [*globals(), *PUBLIC]


def _drop_stale_kernels() -> None:
    """Delete compiled kernels older than any source file.

    Numba checks a cached function against its own file alone, not against the files of the functions it calls.
    """
    package = Path(__file__).parent
    with suppress(FileNotFoundError):  # another process dropped them meanwhile
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
