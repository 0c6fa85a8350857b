"""Forces on bodies near rest and their slopes, from the equations of motion themselves: every mount law takes part.

Slopes are central differences taken inside the jitted code: a step of 1e-6 m on a smooth law leaves about 1e-9 of the
stiffness from rounding, and the law's third derivative times 1e-12 m² / 6 from the step.
"""

from __future__ import annotations

import numpy as np

from vibsim.jit import apart, bare, inlined, kernel
from vibsim.solver.modal_rest import rest_of_mounts
from vibsim.solver.motion import ENGINE, derivatives, fill_engine, scratch
from vibsim.solver.moving_parts import A_, B_, C_, J_, S_
from vibsim.solver.packed import Model
from vibsim.solver.rotor_motion import hold
from vibsim.solver.vertical_motion import set_laden_off
from vibsim.structure.rotation import matrix_entries, turned

LENGTH_STEP, SPEED_STEP = 1e-6, 1e-4  # m or rad, m/s or rad/s
BODY_STATES = 13


@apart
def _moved(x, start, model, y, w, e, out):
    """The state `start` with bodies moved by x (6 per body, then modal coordinates) and mounts relaxed there, into y.

    Without the modal coordinates in x, elastic modes come to rest too.
    """
    for k in range(y.size):
        y[k] = start[k]
    for b in range(model.bodies.size):
        at, i = BODY_STATES * b, 6 * b
        for k in range(3):
            y[at + k] += x[i + k]
        y[at + 3], y[at + 4], y[at + 5], y[at + 6] = turned(
            x[i + 3], x[i + 4], x[i + 5], y[at + 3], y[at + 4], y[at + 5], y[at + 6]
        )
    rest_of_mounts(x, y, model, model.flex, w, e, out)


@inlined
def _set_modes_off(v, y, flex, first):
    if flex is not None and v.size > first:
        for n in range(flex.modes.size):
            y[flex.modes[n].rate] = v[first + n]


@inlined
def _collect_modes(out, flex, first, force):
    if flex is not None and force.size > first:
        for n in range(flex.modes.size):
            force[first + n] = out[flex.modes[n].rate]


@apart
def _set_off(v, y, model, e):
    """Give the bodies of state y the speeds v (6 per body, then modal rates) by their momenta, the crank still in its
    moving block.

    In own axes: P = m·v + ω×S, L = S×v + J·ω, crank A·v + B·ω (see `motion`; S and A are nothing of a plain body).
    """
    _set_modes_off(v, y, model.flex, 6 * model.bodies.size)
    for b in range(model.bodies.size):
        at, i, body = BODY_STATES * b, 6 * b, model.bodies[b]
        r = matrix_entries(y[at + 3], y[at + 4], y[at + 5], y[at + 6])
        vx, wx = r[0] * v[i] + r[3] * v[i + 1] + r[6] * v[i + 2], r[0] * v[i + 3] + r[3] * v[i + 4] + r[6] * v[i + 5]
        vy, wy = r[1] * v[i] + r[4] * v[i + 1] + r[7] * v[i + 2], r[1] * v[i + 3] + r[4] * v[i + 4] + r[7] * v[i + 5]
        vz, wz = r[2] * v[i] + r[5] * v[i + 1] + r[8] * v[i + 2], r[2] * v[i + 3] + r[5] * v[i + 4] + r[8] * v[i + 5]
        mass, sx, sy, sz = body.mass, 0.0, 0.0, 0.0
        xx, yy, zz, xy, xz, yz = body.xx, body.yy, body.zz, body.xy, body.xz, body.yz
        if b == model.carrier:
            fill_engine(y[y.size - 2], model, e)
            mass += model.train.mass
            sx, sy, sz = e[S_], e[S_ + 1], e[S_ + 2]
            xx, yy, zz, xy, xz, yz = e[J_], e[J_ + 1], e[J_ + 2], e[J_ + 3], e[J_ + 4], e[J_ + 5]
            along = e[A_] * vx + e[A_ + 1] * vy + e[A_ + 2] * vz
            y[y.size - 1] = along + e[B_] * wx + e[B_ + 1] * wy + e[B_ + 2] * wz
        y[at + 7] = mass * vx + wy * sz - wz * sy
        y[at + 8] = mass * vy + wz * sx - wx * sz
        y[at + 9] = mass * vz + wx * sy - wy * sx
        y[at + 10] = sy * vz - sz * vy + xx * wx + xy * wy + xz * wz
        y[at + 11] = sz * vx - sx * vz + xy * wx + yy * wy + yz * wz
        y[at + 12] = sx * vy - sy * vx + xz * wx + yz * wy + zz * wz
        hold(b, y, model, model.rotors, e, vx, vy, vz, wx, wy, wz)
    set_laden_off(v, y, model.parts)


@apart
def _collect(y, model, field, moment, w, e, out, force):
    """Force and moment (6 per body, vehicle axes) in state y, with a field (m/s²) on all mass and moments besides; then
    the forces on the elastic modes, which a uniform field leaves alone."""
    derivatives(y, model, w, e, out)
    _collect_modes(out, model.flex, 6 * model.bodies.size, force)
    for b in range(model.bodies.size):
        at, i, mass = BODY_STATES * b, 6 * b, model.bodies[b].mass
        for k in range(3):
            force[i + k], force[i + 3 + k] = 0.0, 0.0
            for n in range(3):
                force[i + k] += w[b, 3 * k + n] * out[at + 7 + n]
                force[i + 3 + k] += w[b, 3 * k + n] * out[at + 10 + n]
                if model.carrier >= 0:
                    force[i + 3 + k] += w[model.carrier, 3 * k + n] * moment[b, n]
        if b == model.carrier:
            mass += model.train.mass
            sx, sy, sz = 0.0, 0.0, 0.0
            for n in range(3):
                sx, sy, sz = sx + w[b, n] * e[S_ + n], sy + w[b, 3 + n] * e[S_ + n], sz + w[b, 6 + n] * e[S_ + n]
            force[i + 3] += sy * field[2] - sz * field[1]
            force[i + 4] += sz * field[0] - sx * field[2]
            force[i + 5] += sx * field[1] - sy * field[0]
        for k in range(3):
            force[i + k] += mass * field[k]


@bare
def _forces_near(x, start, model, field, moment, force, slope, drag, work):
    """Force (N) and moment (N m, about reference points), vehicle axes, into `force` (6 per body).

    Bodies at rest, moved by x (6 per body: m, rotation vector) from state `start`, elastic modes at rest there; or x,
    `force` and the rest go on with the modal coordinates, and modes move by these. `field` (3) m/s² acts on all mass
    besides the weight; `moment` (bodies, 3) N m along the axes of the engine's body. Into `slope` (square, or empty)
    goes how the forces change with x, into `drag` (square, or empty) how with the bodies' speeds. `work` are arrays to
    work in.
    """
    (w, e, y, out, place, speeds, found), size = work, x.size
    for m in range(size):
        place[m] = x[m]
    slopes, drags = 2 * slope.shape[0], 2 * drag.shape[0]
    for n in range(slopes + drags + 1):  # one call of each part, in one loop: every further call costs compile time
        k, sign = n % (2 * size) // 2, 1.0 - 2.0 * (n % 2)
        if n < slopes:
            place[k] = x[k] + sign * LENGTH_STEP
        elif n < slopes + drags:
            speeds[k] = sign * SPEED_STEP
        _moved(place, start, model, y, w, e, out)
        if slopes <= n < slopes + drags:
            _set_off(speeds, y, model, e)
        _collect(y, model, field, moment, w, e, out, found)
        for m in range(size):
            if n < slopes:
                slope[m, k] = 0.5 * (slope[m, k] - found[m]) / LENGTH_STEP if sign < 0.0 else found[m]
            elif n < slopes + drags:
                drag[m, k] = 0.5 * (drag[m, k] - found[m]) / SPEED_STEP if sign < 0.0 else found[m]
            else:
                force[m] = found[m]
        place[k], speeds[k] = x[k], 0.0


def forces_near(
    x: np.ndarray,
    start: np.ndarray,
    model: Model,
    field: np.ndarray,
    moment: np.ndarray,
    force: np.ndarray,
    slope: np.ndarray,
    drag: np.ndarray,
) -> None:
    """`_forces_near` with its work arrays, which what compiles without reference counts cannot make."""
    states = np.zeros(start.size), np.zeros(start.size)
    work = (*scratch(model.bodies.size), *states, *(np.zeros(x.size) for _ in range(3)))
    _forces_near(x, start, model, field, moment, force, slope, drag, work)


@bare
def _move(x, start, model, y, w, e, out):
    _moved(x, start, model, y, w, e, out)


def move(x: np.ndarray, start: np.ndarray, model: Model, y: np.ndarray) -> None:
    """The state `start` with bodies moved by x (6 per body: m, rotation vector), mounts and elastic modes at rest
    there, into y."""
    _move(x, start, model, y, *scratch(model.bodies.size), np.zeros(start.size))


@kernel
def mean_carrier_mass(angles, model, crank_free, mean):
    """Mass matrix (6, 6) of the engine's body in its own axes, averaged over crank angles (rad), into `mean`.

    With the crank free its own motion is eliminated: M − m·mᵀ/C with m = (A, B) (derived).
    """
    e, along = np.zeros(ENGINE), np.zeros(6)
    total = model.bodies[model.carrier].mass + model.train.mass
    for angle in angles:
        fill_engine(angle, model, e)
        share = 1.0 / angles.size
        sx, sy, sz = share * e[S_], share * e[S_ + 1], share * e[S_ + 2]
        for k in range(3):
            mean[k, k] += share * total
            mean[3 + k, 3 + k] += share * e[J_ + k]
            along[k], along[3 + k] = e[A_ + k], e[B_ + k]
        mean[0, 4], mean[0, 5], mean[1, 5] = mean[0, 4] + sz, mean[0, 5] - sy, mean[1, 5] + sx
        mean[1, 3], mean[2, 3], mean[2, 4] = mean[1, 3] - sz, mean[2, 3] + sy, mean[2, 4] - sx
        mean[3, 4] += share * e[J_ + 3]
        mean[3, 5] += share * e[J_ + 4]
        mean[4, 5] += share * e[J_ + 5]
        if crank_free:
            for k in range(6):
                for n in range(k, 6):
                    mean[k, n] -= share * along[k] * along[n] / e[C_]
    for k in range(6):
        for n in range(k):
            mean[k, n] = mean[n, k]
