"""How the project compiles its kernels: cached on disk, IEEE division, multiply–adds fused.

What the equations of motion are made of makes no arrays and keeps none, so it is compiled without counting references
to those of the packed model: the counts cost more than the sums. Making an array there does not compile.
"""

from __future__ import annotations

from typing import Any

from numba import njit
from numba.core import event

from vibsim import first_use

_OPTIONS: dict[str, Any] = {
    "cache": True,
    "error_model": "numpy",
    "fastmath": {"contract"},
    "no_cfunc_wrapper": True,  # nobody calls them from C
}
_INLINE: dict[str, Any] = {"forceinline": True}
_UNCOUNTED: dict[str, Any] = {"_nrt": False}
_NO_ENTRY: dict[str, Any] = {"no_cpython_wrapper": True}

kernel = njit(**_OPTIONS)
# for an entry point or a function of its own that makes no arrays
bare = njit(**_OPTIONS, **_UNCOUNTED)
# the same for those that run on and on: they give up the interpreter's lock, so that another thread can observe and
# write meanwhile
released = njit(**_OPTIONS, nogil=True)
released_bare = njit(**_OPTIONS, **_UNCOUNTED, nogil=True)
# for larger ones that only other kernels call: compiled once, not written out anew at every call
apart = njit(**_OPTIONS, **_NO_ENTRY, **_UNCOUNTED)
# for the inner functions of the equations of motion: a call would copy the whole packed model to the stack
inlined = njit(**_OPTIONS, **_INLINE, **_UNCOUNTED)
# for functions that only other kernels call: without the entry from Python, which unpacks the whole model anew
inner = njit(**_OPTIONS, **_INLINE, **_NO_ENTRY, **_UNCOUNTED)
# like `apart`, for what makes arrays
part = njit(**_OPTIONS, **_NO_ENTRY)


class _Compiling(event.Listener):
    """Hears numba begin to compile; kernels that it finds on disk do not count."""

    def on_start(self, event: event.Event) -> None:
        first_use.tell()

    def on_end(self, event: event.Event) -> None:
        pass


event.register("numba:compile", _Compiling())
