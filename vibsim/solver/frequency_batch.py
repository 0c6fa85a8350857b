"""Many sets of mounts at once: rest and matrices about it, in jitted code.

The same model as `frequency`, made quick: forces and slopes are those of the equations of motion, every candidate's
mounts copied into the model in turn.
"""

from __future__ import annotations

import math

import numpy as np

from vibsim.jit import kernel, part
from vibsim.solver.motion import ENGINE, WORK
from vibsim.solver.mount_motion import any_mount
from vibsim.solver.near_rest import LENGTH_STEP, SPEED_STEP, _collect, _moved, _set_off

MOST_NEWTON, SAME_SLOPE = 40, 4  # steps, and steps that one slope serves
CLOSE = 1e-7  # of the load: what a rest may leave
MOVE, TURN = 0.05, 0.2  # m, rad: most in one Newton step
SINGULAR = 1e-12  # of the greatest stiffness
UNSTABLE = 1e-6  # of the greatest stiffness


@part
def _slopes(x, start, model, field, moment, w, e, y, out, more, less, slope):
    """How the forces change with x."""
    for n in range(x.size):
        place = x[n]
        for sign in (1.0, -1.0):
            x[n] = place + sign * LENGTH_STEP
            _moved(x, start, model, y, w, e, out)
            _collect(y, model, field, moment, w, e, out, more if sign > 0.0 else less)
        x[n] = place
        for m in range(x.size):
            slope[m, n] = (more[m] - less[m]) / (2.0 * LENGTH_STEP)


@part
def _solve(slope, left, work, step):
    """Newton's step −slope⁻¹·left by elimination with row exchange; false where the slope is singular."""
    size, top = left.size, 0.0
    for i in range(size):
        for j in range(size):
            work[i, j] = slope[i, j]
            top = max(top, abs(slope[i, j]))
        work[i, size] = -left[i]
    for k in range(size):
        best = k
        for i in range(k + 1, size):
            if abs(work[i, k]) > abs(work[best, k]):
                best = i
        if not abs(work[best, k]) > SINGULAR * top:
            return False
        for j in range(k, size + 1):
            work[k, j], work[best, j] = work[best, j], work[k, j]
        for i in range(k + 1, size):
            factor = work[i, k] / work[k, k]
            for j in range(k, size + 1):
                work[i, j] -= factor * work[k, j]
    for k in range(size - 1, -1, -1):
        total = work[k, size]
        for j in range(k + 1, size):
            total -= work[k, j] * step[j]
        step[k] = total / work[k, k]
    return True


@part
def _stands(slope):
    """Whether a push brings the bodies back: Cholesky of −(slope + slopeᵀ)/2 with a little added."""
    size = slope.shape[0]
    low, top = np.zeros((size, size)), 0.0
    for i in range(size):
        top = max(top, abs(slope[i, i]))
    for i in range(size):
        for j in range(i + 1):
            total = -0.5 * (slope[i, j] + slope[j, i])
            for k in range(j):
                total -= low[i, k] * low[j, k]
            if i == j:
                total += UNSTABLE * top
                if total <= 0.0:
                    return False
                low[i, i] = math.sqrt(total)
            else:
                low[i, j] = total / low[j, j]
    return True


@part
def _mount_slopes(state, model, y, w, e, out, force, rows, drags):
    """Force of every mount on its second body (mounts, 3) per displacement from a state at rest, and per speed there,
    vehicle axes, added to `rows` and `drags` (mounts, 3, unknowns)."""
    size = force.size
    step, still = np.zeros(size), np.zeros(3)
    moment = np.zeros((model.bodies.size, 3))
    for n in range(size):
        for sign in (1.0, -1.0):
            step[n] = sign * LENGTH_STEP
            _moved(step, state, model, y, w, e, out)
            _collect(y, model, still, moment, w, e, out, force)
            _add_forces(n, sign / (2.0 * LENGTH_STEP), y, model, w, out, rows)
            step[n] = sign * SPEED_STEP
            y[:] = state
            _set_off(step, y, model, e)
            _collect(y, model, still, moment, w, e, out, force)
            _add_forces(n, sign / (2.0 * SPEED_STEP), y, model, w, out, drags)
        step[n] = 0.0


@part
def _add_forces(n, factor, y, model, w, out, rows):
    for k in range(model.mounts.size):
        fx, fy, fz, _, _, _, _, _, _ = any_mount(k, y, model, w, out, 0.0)
        rows[k, 0, n] += factor * fx
        rows[k, 1, n] += factor * fy
        rows[k, 2, n] += factor * fz


@kernel
def mount_slopes(state, model, rows, drags):
    """How the forces of all mounts on their second bodies change about a state at rest, vehicle axes: with
    displacements into `rows`, with speeds into `drags` (mounts, 3, unknowns)."""
    w, e, y, out = np.zeros((model.bodies.size, WORK)), np.zeros(ENGINE), np.empty(state.size), np.zeros(state.size)
    rows[:], drags[:] = 0.0, 0.0
    _mount_slopes(state, model, y, w, e, out, np.zeros(rows.shape[2]), rows, drags)


@part
def _come_to_rest(x, start, model, field, moment, scale, w, e, y, out, left, more, less, change, solved):
    """Newton's method from x (6 per body) on, into x; whether it closed. The slope is taken anew every few steps."""
    step, trial = np.zeros(x.size), np.zeros(x.size)
    _moved(x, start, model, y, w, e, out)
    _collect(y, model, field, moment, w, e, out, left)
    error = np.abs(left).max()
    for turn in range(MOST_NEWTON):
        if error <= CLOSE * scale:
            return True
        if turn % SAME_SLOPE == 0:
            _slopes(x, start, model, field, moment, w, e, y, out, more, less, change)
        if not _solve(change, left, solved, step):
            return False
        limit, before = 1.0, error
        for k in range(x.size):
            limit = max(limit, abs(step[k]) / (MOVE if k % 6 < 3 else TURN))
        factor = 1.0 / limit
        for _ in range(8):
            for k in range(x.size):
                trial[k] = x[k] + factor * step[k]
            _moved(trial, start, model, y, w, e, out)
            _collect(y, model, field, moment, w, e, out, left)
            error = np.abs(left).max()
            if error < before:
                break
            factor *= 0.5
        x[:] = trial
        if not np.isfinite(error):
            return False
    return False


@part
def _drags(state, model, field, moment, w, e, y, out, more, less, drag):
    """How the forces change with the bodies' speeds, about a state at rest."""
    speeds = np.zeros(more.size)
    for n in range(more.size):
        for sign in (1.0, -1.0):
            speeds[n] = sign * SPEED_STEP
            y[:] = state
            _set_off(speeds, y, model, e)
            _collect(y, model, field, moment, w, e, out, more if sign > 0.0 else less)
        speeds[n] = 0.0
        for m in range(more.size):
            drag[m, n] = (more[m] - less[m]) / (2.0 * SPEED_STEP)


@kernel
def rest_many(
    records, numbers, model, start, guess, field, moment, scale, at, force, deflection, slope, drag, rows, drags
):
    """Rest of every candidate under one load, and matrices about it.

    `records` (candidates, mounts) and the `numbers` (candidates, n) they point to replace the model's in turn; `start`
    the state as drawn, `guess` (6 per body) where to begin, `field` and `moment` as in `forces_near`, `scale` the load
    (N). Into `at` (candidates, 6 per body) goes the displacement, NaN where there is no stable rest; into `force` and
    `deflection` (candidates, mounts, 3) what mounts put on their second bodies. Unless empty, `slope` and `drag`
    (candidates, square) take how forces change with displacement and speed, `rows` and `drags` (candidates, mounts, 3,
    unknowns) the same of the mounts.
    """
    size = guess.size
    w, e = np.zeros((model.bodies.size, WORK)), np.zeros(ENGINE)
    y, out, state = np.empty(start.size), np.zeros(start.size), np.empty(start.size)
    more, less, left = np.zeros(size), np.zeros(size), np.zeros(size)
    change, solved, x = np.zeros((size, size)), np.zeros((size, size + 1)), np.zeros(size)
    wide = max(size, slope.shape[2], rows.shape[3])  # with the modal coordinates of elastic bodies
    many, fewer, forces, still, whole = (
        np.zeros(wide),
        np.zeros(wide),
        np.zeros(wide),
        np.zeros(wide),
        np.zeros((wide, wide)),
    )
    for n in range(records.shape[0]):
        for k in range(model.mounts.size):
            model.mounts[k] = records[n, k]
        model.mount_numbers[:] = numbers[n]
        x[:], at[n] = guess, np.nan
        if not _come_to_rest(x, start, model, field, moment, scale, w, e, y, out, left, more, less, change, solved):
            continue
        _moved(x, start, model, state, w, e, out)
        _slopes(still, state, model, field, moment, w, e, y, out, many, fewer, whole)
        if not _stands(whole):
            continue
        at[n] = x
        _collect(state, model, field, moment, w, e, out, left)
        for k in range(model.mounts.size):
            fx, fy, fz, _, _, _, dx, dy, dz = any_mount(k, state, model, w, out, 0.0)
            force[n, k, 0], force[n, k, 1], force[n, k, 2] = fx, fy, fz
            deflection[n, k, 0], deflection[n, k, 1], deflection[n, k, 2] = dx, dy, dz
        if slope.size > 0:
            slope[n] = whole
        if drag.size > 0:
            _drags(state, model, field, moment, w, e, y, out, many, fewer, drag[n])
        if rows.size > 0:
            rows[n], drags[n] = 0.0, 0.0
            _mount_slopes(state, model, y, w, e, out, forces, rows[n], drags[n])
