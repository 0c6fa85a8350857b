"""Exponentials of many small matrices at once."""

from __future__ import annotations

import math

import numpy as np

ORDER, BLOCK = 12, 3
NORM = 0.5  # to which matrices are halved: what follows after the twelfth power is 0.5¹³/13!, 2e-14


def exponentials(matrices: np.ndarray) -> np.ndarray:
    """exp of matrices (n, size, size): Taylor's series of the matrix halved so often, by blocks of powers (Paterson &
    Stockmeyer 1973, from memory), then squared as often (Golub & Van Loan, 9.3.1).

    scipy's own goes through a library of threads matrix by matrix, which on a busy machine takes a hundred times as
    long as these sums.
    """
    norm = float(np.abs(matrices).sum(axis=1).max(initial=0.0))
    if not math.isfinite(norm):
        return np.full_like(matrices, math.nan)
    halvings = max(math.ceil(math.log2(max(norm, 1e-300) / NORM)), 0)
    first = matrices * 0.5**halvings
    second = first @ first
    third, one = second @ first, np.eye(matrices.shape[-1])
    share = [1.0 / math.factorial(k) for k in range(ORDER + 1)]
    found = share[ORDER] * third
    for k in range(ORDER - BLOCK, -1, -BLOCK):
        if k < ORDER - BLOCK:
            found = found @ third
        found = found + share[k] * one + share[k + 1] * first + share[k + 2] * second
    for _ in range(halvings):
        found = found @ found
    return np.asarray(found)
