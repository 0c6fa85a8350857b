"""How the project compiles its kernels: cached on disk, IEEE division, multiply–adds fused."""

from __future__ import annotations

from numba import njit

kernel = njit(cache=True, error_model="numpy", fastmath={"contract"})
# for the inner functions of the equations of motion: a call would copy the whole packed model to the stack
inlined = njit(cache=True, error_model="numpy", fastmath={"contract"}, forceinline=True)
