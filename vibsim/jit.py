"""How the project compiles its kernels: cached on disk, IEEE division, multiply–adds fused."""

from __future__ import annotations

from typing import Any

from numba import njit

_OPTIONS: dict[str, Any] = {
    "cache": True,
    "error_model": "numpy",
    "fastmath": {"contract"},
    "no_cfunc_wrapper": True,  # nobody calls them from C
}
_INLINE: dict[str, Any] = {"forceinline": True}
_NO_ENTRY: dict[str, Any] = {"no_cpython_wrapper": True}

kernel = njit(**_OPTIONS)
# for the inner functions of the equations of motion: a call would copy the whole packed model to the stack
inlined = njit(**_OPTIONS, **_INLINE)
# for functions that only other kernels call: without the entry from Python, which unpacks the whole model anew
inner = njit(**_OPTIONS, **_INLINE, **_NO_ENTRY)
# for what is called from several places in one kernel and is compiled once, as inlining it each time costs compile time
part = njit(**_OPTIONS, **_NO_ENTRY)
