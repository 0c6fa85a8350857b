"""Many sets of mounts at once: rest, matrices about it, and the answer to engine orders, in jitted code.

The same model as `frequency`, made quick: forces and slopes are those of the equations of motion, every candidate's
mounts copied into the model in turn; masses stand as the case's own rest has them. The complex equations of all speeds
and orders are eliminated side by side, without exchanging rows: with damping their imaginary part is positive, for
which elimination is stable (George and Ikramov 2002, from memory); a pivot too small all the same marks its answer.
"""

from __future__ import annotations

import math

import numpy as np

from vibsim.jit import kernel, part
from vibsim.solver.motion import ENGINE, WORK, one_mount
from vibsim.solver.near_rest import LENGTH_STEP, SPEED_STEP, _collect, _moved, _set_off

MOST_NEWTON = 40
CLOSE = 1e-7  # of the load: what a rest may leave
LANES = 8  # equations eliminated side by side
SMALLEST_PIVOT = 1e-9  # of what stood there before elimination
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
            _moved(x, start, model, y)
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
            _moved(step, state, model, y)
            _collect(y, model, still, moment, w, e, out, force)
            _add_forces(n, sign / (2.0 * LENGTH_STEP), y, model, w, rows)
            step[n] = sign * SPEED_STEP
            y[:] = state
            _set_off(step, y, model, e)
            _collect(y, model, still, moment, w, e, out, force)
            _add_forces(n, sign / (2.0 * SPEED_STEP), y, model, w, drags)
        step[n] = 0.0


@part
def _add_forces(n, factor, y, model, w, rows):
    for k in range(model.mounts.size):
        fx, fy, fz, _, _, _, _, _, _ = one_mount(k, y, model, w)
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


@kernel
def rest_many(records, model, start, guess, field, moment, scale, at, force, deflection, slope, drag, rows, drags):
    """Rest of every candidate under one load, and matrices about it.

    `records` (candidates, mounts) replace the model's mounts in turn; `start` the state as drawn, `guess` (6 per body)
    where to begin, `field` and `moment` as in `forces_near`, `scale` the load (N). Into `at` (candidates, 6 per body)
    goes the displacement, NaN where there is no stable rest; into `force` and `deflection` (candidates, mounts, 3) what
    mounts put on their second bodies. Unless empty, `slope` and `drag` (candidates, square) take how forces change with
    displacement and speed, `rows` and `drags` (candidates, mounts, 3, unknowns) the same of the mounts.
    """
    size, bodies = guess.size, model.bodies.size
    w, e = np.zeros((bodies, WORK)), np.zeros(ENGINE)
    y, out = np.empty(start.size), np.zeros(start.size)
    more, less, left = np.zeros(size), np.zeros(size), np.zeros(size)
    change, x, trial = np.zeros((size, size)), np.zeros(size), np.zeros(size)
    speeds, state, none = np.zeros(size), np.empty(start.size), np.zeros(size)
    solved, step = np.zeros((size, size + 1)), np.zeros(size)
    for n in range(records.shape[0]):
        for k in range(model.mounts.size):
            model.mounts[k] = records[n, k]
        x[:] = guess
        closed = False
        _moved(x, start, model, y)
        _collect(y, model, field, moment, w, e, out, left)
        error = np.abs(left).max()
        for turn in range(MOST_NEWTON):
            if error <= CLOSE * scale:
                closed = True
                break
            if turn % 4 == 0:  # the slope changes little on the way
                _slopes(x, start, model, field, moment, w, e, y, out, more, less, change)
            if not _solve(change, left, solved, step):
                break
            limit = 1.0
            for k in range(size):
                limit = max(limit, abs(step[k]) / (MOVE if k % 6 < 3 else TURN))
            factor, before = 1.0 / limit, error
            for _ in range(8):
                for k in range(size):
                    trial[k] = x[k] + factor * step[k]
                _moved(trial, start, model, y)
                _collect(y, model, field, moment, w, e, out, left)
                error = np.abs(left).max()
                if error < before:
                    break
                factor *= 0.5
            x[:] = trial
            if not np.isfinite(error):
                break
        at[n] = np.nan
        if not closed:
            continue
        _moved(x, start, model, state)
        _slopes(none, state, model, field, moment, w, e, y, out, more, less, change)
        if not _stands(change):
            continue
        at[n] = x
        _collect(state, model, field, moment, w, e, out, left)
        for k in range(model.mounts.size):
            fx, fy, fz, _, _, _, dx, dy, dz = one_mount(k, state, model, w)
            force[n, k, 0], force[n, k, 1], force[n, k, 2] = fx, fy, fz
            deflection[n, k, 0], deflection[n, k, 1], deflection[n, k, 2] = dx, dy, dz
        if slope.size > 0:
            slope[n] = change
        if drag.size > 0:
            for i in range(size):
                for sign in (1.0, -1.0):
                    speeds[i] = sign * SPEED_STEP
                    _moved(none, state, model, y)
                    _set_off(speeds, y, model, e)
                    _collect(y, model, field, moment, w, e, out, more if sign > 0.0 else less)
                speeds[i] = 0.0
                for m in range(size):
                    drag[n, m, i] = (more[m] - less[m]) / (2.0 * SPEED_STEP)
        if rows.size > 0:
            rows[n], drags[n] = 0.0, 0.0
            _mount_slopes(state, model, y, w, e, out, left, rows[n], drags[n])


@kernel
def orders_many(slope, drag, mass, gyration, share, speed, rate, push, added, feel, felt, moved):
    """Displacements and what sensors feel under pushes, of every candidate.

    `slope`, `drag` (loads, candidates, square) of one or two loads; lane l is one speed and order: `share` (lanes) of
    the second load in it, `speed` and `rate` (rad/s), complex `push` (lanes, unknowns). `gyration` (square) N m s per
    rad/s of the crank, `added` (candidates, lanes, square) complex stiffness beside, or empty; `feel` (rows, unknowns).
    Into `felt` (candidates, lanes, rows) goes the acceleration, into `moved` (candidates, lanes, unknowns), unless
    empty, the displacement; NaN where elimination met a pivot of nothing.
    """
    size, lanes = mass.shape[0], rate.size
    re, im = np.zeros((size, size + 1, LANES)), np.zeros((size, size + 1, LANES))
    fr, fi, large = np.zeros(LANES), np.zeros(LANES), np.zeros((size, LANES))
    pr, pi = np.zeros(LANES), np.zeros(LANES)
    two = slope.shape[0] > 1
    for n in range(slope.shape[1]):
        for first in range(0, lanes, LANES):
            for i in range(size):
                for j in range(size):
                    for b in range(LANES):
                        lane = min(first + b, lanes - 1)
                        s, r = share[lane], rate[lane]
                        stiff, damp = -slope[0, n, i, j], -drag[0, n, i, j]
                        if two:
                            stiff += s * (-slope[1, n, i, j] - stiff)
                            damp += s * (-drag[1, n, i, j] - damp)
                        re[i, j, b] = stiff - r * r * mass[i, j]
                        im[i, j, b] = r * (damp + speed[lane] * gyration[i, j])
                        if added.size > 0:
                            re[i, j, b] += added[n, lane, i, j].real
                            im[i, j, b] += added[n, lane, i, j].imag
                for b in range(LANES):
                    lane = min(first + b, lanes - 1)
                    re[i, size, b], im[i, size, b] = push[lane, i].real, push[lane, i].imag
                    large[i, b] = abs(re[i, i, b]) + abs(im[i, i, b])
            _eliminate(re, im, large, fr, fi, pr, pi)
            for b in range(min(LANES, lanes - first)):
                lane = first + b
                back = -rate[lane] * rate[lane]
                for k in range(feel.shape[0]):
                    total = 0.0j
                    for i in range(size):
                        total += feel[k, i] * complex(re[i, size, b], im[i, size, b])
                    felt[n, lane, k] = back * total
                if moved.size > 0:
                    for i in range(size):
                        moved[n, lane, i] = complex(re[i, size, b], im[i, size, b])


@part
def _eliminate(re, im, large, fr, fi, pr, pi):
    """Solve all lanes in place: rows scaled by 1/pivot, the answers end in the last column."""
    size, lanes = re.shape[0], re.shape[2]
    for k in range(size):
        for b in range(lanes):
            square = re[k, k, b] * re[k, k, b] + im[k, k, b] * im[k, k, b]
            good = square > (SMALLEST_PIVOT * large[k, b]) ** 2
            pr[b] = re[k, k, b] / square if good else np.nan
            pi[b] = -im[k, k, b] / square if good else np.nan
        for j in range(k + 1, size + 1):
            for b in range(lanes):
                a, c = re[k, j, b], im[k, j, b]
                re[k, j, b] = a * pr[b] - c * pi[b]
                im[k, j, b] = a * pi[b] + c * pr[b]
        for i in range(k + 1, size):
            for b in range(lanes):
                fr[b], fi[b] = re[i, k, b], im[i, k, b]
            for j in range(k + 1, size + 1):
                for b in range(lanes):
                    re[i, j, b] -= fr[b] * re[k, j, b] - fi[b] * im[k, j, b]
                    im[i, j, b] -= fr[b] * im[k, j, b] + fi[b] * re[k, j, b]
    for k in range(size - 1, 0, -1):
        for i in range(k):
            for b in range(lanes):
                a, c = re[i, k, b], im[i, k, b]
                re[i, size, b] -= a * re[k, size, b] - c * im[k, size, b]
                im[i, size, b] -= a * im[k, size, b] + c * re[k, size, b]
