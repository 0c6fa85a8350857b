"""Mounts at rest: the states of their own that displaced bodies leave them in, and what follows the crank speed."""

from __future__ import annotations

import numpy as np
from numba import float64, from_dtype, int64, void

from vibsim.jit import inner, kernel
from vibsim.late import late
from vibsim.solver.mount_motion import WORK, put_in_hand
from vibsim.solver.packed import STATES_PER_BODY, Model
from vibsim.solver.vertical_motion import relax_parts
from vibsim.structure.mount_laws import D, curve, interval
from vibsim.structure.mounts import LINEAR, MOUNT, SCHEDULED, rest_states
from vibsim.structure.rotation import matrix_entries

RATES = ("stiff_x", "stiff_y", "stiff_z", "damp_x", "damp_y", "damp_z")


def at_rest(y: np.ndarray, model: Model) -> None:
    """Write into y the states of the mounts as they come to rest where the bodies are."""
    if np.any(model.mounts["state"] >= 0):
        _all_to_rest(y, model.bodies.size, model.mounts, model.mount_numbers)
    if model.parts is not None:
        _parts_to_rest(y, model.gravity, model.parts)


def deflections(y: np.ndarray, model: Model) -> np.ndarray:
    """Deflections (mounts, 3) m along the mounts' own axes in a state."""
    found = np.zeros((model.mounts.size, 3))
    _deflections(y, model.bodies.size, model.mounts, model.mount_numbers, found)
    return found


@inner
def _places(y, bodies, w):
    """The bodies' matrices into w, which holds no speeds."""
    for b in range(bodies):
        at = STATES_PER_BODY * b
        turn = matrix_entries(y[at + 3], y[at + 4], y[at + 5], y[at + 6])
        for k in range(9):
            w[b, k] = turn[k]


@kernel
def _deflections(y, bodies, mounts, numbers, found):
    w = np.zeros((bodies, WORK))
    _places(y, bodies, w)
    for n in range(mounts.size):
        put_in_hand(mounts[n], numbers, y, w)
        for k in range(3):
            found[n, k] = w[0, D + k]


@late(void(float64[::1], int64, from_dtype(MOUNT)[::1], float64[::1]))
def _settle(y, bodies, mounts, numbers):
    """Put all mounts with states to rest where the bodies are."""
    w = np.zeros((bodies, WORK))
    _places(y, bodies, w)
    for n in range(mounts.size):
        if mounts[n].state >= 0:
            put_in_hand(mounts[n], numbers, y, w)
            rest_states(mounts[n], numbers, y, w)


@kernel
def _all_to_rest(y, bodies, mounts, numbers):
    _settle(y, bodies, mounts, numbers)


@kernel
def _parts_to_rest(y, gravity, parts):
    relax_parts(y, gravity, parts)


@inner
def relax(y, model):
    """Write into y the states of the mounts, where they have any, as they come to rest where the bodies are."""
    relax_parts(y, model.gravity, model.parts)
    for n in range(model.mounts.size):
        if model.mounts[n].state >= 0:
            _settle(y, model.bodies.size, model.mounts, model.mount_numbers)
            return


def held_at_speed(model: Model, speed: float) -> np.ndarray:
    """The mounts' records with scheduled ones as linear ones, their rates those of a crank speed (rad/s)."""
    mounts = model.mounts
    if not np.any(mounts["law"] == SCHEDULED):
        return mounts
    mounts, numbers = mounts.copy(), model.mount_numbers
    for row in np.flatnonzero(mounts["law"] == SCHEDULED):
        at = int(mounts["numbers"][row])
        count = int(numbers[at])
        held = min(max(abs(speed), numbers[at + 1]), numbers[at + count])
        low = interval.py_func(numbers, at + 1, count, held)
        for index, rate in enumerate(RATES):
            mounts[rate][row] = curve.py_func(numbers, at + 1, count, at + 1 + (1 + 2 * index) * count, low, held)
        mounts["law"][row] = LINEAR
    return mounts
