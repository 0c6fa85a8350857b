"""The motion about an orbit, made linear over the crank angle.

A state beside the orbit is told by a few small numbers: of each body its place (m, vehicle axes), a rotation vector
that turns it further (rad, vehicle axes), its momentum and angular momentum; then the other states and the crank's
momentum. The crank angle is what all is counted over, so it is none of them. With u = ω/φ̇ the further turn δ of a body
obeys dδ/dφ = δu + u×δ (derived: R' = u×R beside the orbit and on it, to first order).
"""

from __future__ import annotations

import math

import numpy as np

from vibsim.jit import apart, bare
from vibsim.solver.motion import derivatives, scratch
from vibsim.solver.mount_motion import W
from vibsim.solver.packed import STATES_PER_BODY, Packed
from vibsim.structure.rotation import turned

BESIDE_PER_BODY = 12
STEP = 1e-3  # of the floors of the states' errors: 1e-6 m, 1e-6 rad, 1e-4 m/s, 1e-3 rad/s of the crank


def beside_scale(floor: np.ndarray, bodies: int) -> np.ndarray:
    """What the numbers (beside) are counted in: the floors (state) of the states' errors."""
    parts = []
    for at in range(0, STATES_PER_BODY * bodies, STATES_PER_BODY):
        parts += [floor[at : at + 6], floor[at + 7 : at + 13]]
    return np.concatenate([*parts, floor[STATES_PER_BODY * bodies : -2], floor[-1:]])


@apart
def _move(state, beside, bodies, y):
    """The state moved beside itself into y."""
    for b in range(bodies):
        at, own = 13 * b, 12 * b
        for k in range(3):
            y[at + k] = state[at + k] + beside[own + k]
        y[at + 3], y[at + 4], y[at + 5], y[at + 6] = turned(
            beside[own + 3],
            beside[own + 4],
            beside[own + 5],
            state[at + 3],
            state[at + 4],
            state[at + 5],
            state[at + 6],
        )
        for k in range(6):
            y[at + 7 + k] = state[at + 7 + k] + beside[own + 6 + k]
    for k in range(13 * bodies, y.size - 2):
        y[k] = state[k] + beside[k - bodies]
    y[y.size - 2], y[y.size - 1] = state[y.size - 2], state[y.size - 1] + beside[beside.size - 1]


@bare
def _move_all(states, beside, bodies, found):
    for n in range(found.shape[0]):
        _move(states[n], beside[n], bodies, found[n])


def moved_beside(states: np.ndarray, beside: np.ndarray, bodies: int) -> np.ndarray:
    """States (n, state) moved beside themselves by numbers (n, beside); or one of each."""
    found = np.empty_like(states)
    _move_all(*(np.atleast_2d(np.ascontiguousarray(rows)) for rows in (states, beside)), bodies, np.atleast_2d(found))
    return found


@bare
def _way(state, other, bodies, found):
    for b in range(bodies):
        at, own = 13 * b, 12 * b
        for k in range(3):
            found[own + k] = other[at + k] - state[at + k]
        qw, qx, qy, qz = state[at + 3], -state[at + 4], -state[at + 5], -state[at + 6]
        pw, px, py, pz = other[at + 3], other[at + 4], other[at + 5], other[at + 6]
        w = pw * qw - px * qx - py * qy - pz * qz
        x = pw * qx + px * qw + py * qz - pz * qy
        y = pw * qy - px * qz + py * qw + pz * qx
        z = pw * qz + px * qy - py * qx + pz * qw
        sine = math.sqrt(x * x + y * y + z * z)
        share = 2.0 / abs(w) if sine < 1e-12 * abs(w) else 2.0 * math.atan2(sine, abs(w)) / sine
        share = math.copysign(share, w)  # the shorter way round
        found[own + 3], found[own + 4], found[own + 5] = share * x, share * y, share * z
        for k in range(6):
            found[own + 6 + k] = other[at + 7 + k] - state[at + 7 + k]
    for k in range(13 * bodies, state.size - 2):
        found[k - bodies] = other[k] - state[k]
    found[found.size - 1] = other[state.size - 1] - state[state.size - 1]


def way_beside(state: np.ndarray, other: np.ndarray, bodies: int) -> np.ndarray:
    """The numbers (beside) that move a state (state) to another, bodies turned the shorter way round."""
    found = np.empty(state.size - 1 - bodies)
    _way(state, other, bodies, found)
    return found


@bare
def _rates_over_angle(states, steps, model, work, found):
    """Rates over the crank angle at each state moved by each of the steps (steps, beside), into `found` (states, steps,
    beside + 1); the last is that of the time."""
    w, e, y, out = work
    bodies, last = model.bodies.size, found.shape[2] - 1
    for n in range(states.shape[0]):
        for m in range(steps.shape[0]):
            _move(states[n], steps[m], bodies, y)
            derivatives(y, model, w, e, out)
            rates, per = found[n, m], 1.0 / out[y.size - 2]
            for b in range(bodies):
                at, own = 13 * b, 12 * b
                for k in range(3):
                    rates[own + k] = out[at + k] * per
                    rates[own + 6 + k], rates[own + 9 + k] = out[at + 7 + k] * per, out[at + 10 + k] * per
                    spin = w[b, 3 * k] * w[b, W] + w[b, 3 * k + 1] * w[b, W + 1] + w[b, 3 * k + 2] * w[b, W + 2]
                    rates[own + 3 + k] = spin * per
            for k in range(13 * bodies, y.size - 2):
                rates[k - bodies] = out[k] * per
            rates[last - 1], rates[last] = out[y.size - 1] * per, per


def rates_over_angle(states: np.ndarray, steps: np.ndarray, packed: Packed) -> np.ndarray:
    """Rates (states, steps, beside + 1) over the crank angle at states (n, state), each moved beside itself by steps
    (steps, beside); the last is that of the time, s/rad."""
    found = np.empty((len(states), len(steps), steps.shape[1] + 1))
    work = (*scratch(len(packed.names)), np.zeros(packed.state_size), np.zeros(packed.state_size))
    _rates_over_angle(np.ascontiguousarray(states), steps, packed.model, work, found)
    return found


def orbit_slopes(
    states: np.ndarray,
    packed: Packed,
    scale: np.ndarray,
    both_sides: bool = False,
    other: tuple[Packed, float] | None = None,
) -> np.ndarray:
    """Matrices (n, beside + 2, beside + 2) at states (n, state) of an orbit: how the rates over the crank angle change
    with the numbers beside it, in units of `scale` (beside), with the time (s) and with what holds the speed, which are
    the last two columns and rows: a torque added to the load (N m), or what makes the `other` model, by how much.
    Differences, to one side or to both.
    """
    size, still, step = scale.size, np.zeros((1, scale.size)), np.diag(STEP * scale)
    steps = np.concatenate([still, step, -step] if both_sides else [still, step])
    rates = rates_over_angle(states, steps, packed)
    here, ahead = rates[:, 0], rates[:, 1 : size + 1]
    change = (ahead - rates[:, size + 1 :]) / (2.0 * STEP) if both_sides else (ahead - here[:, None]) / STEP
    found = np.zeros((len(states), size + 2, size + 2))
    found[:, : size + 1, :size] = np.swapaxes(change, 1, 2)
    for at in range(3, BESIDE_PER_BODY * len(packed.names), BESIDE_PER_BODY):
        found[:, at : at + 3, at : at + 3] += _crosses(here[:, at : at + 3]) * scale[at : at + 3]
    beyond, by = other or (with_added_load(packed, 1.0), 1.0)
    found[:, : size + 1, size + 1] = (rates_over_angle(states, still, beyond)[:, 0] - here) / by
    found[:, :size] /= scale[:, None]
    return found


def _crosses(vectors: np.ndarray) -> np.ndarray:
    """Matrices (n, 3, 3) of vectors (n, 3) × ... ."""
    found = np.zeros((len(vectors), 3, 3))
    x, y, z = vectors.T
    found[:, 0, 1], found[:, 0, 2] = -z, y
    found[:, 1, 0], found[:, 1, 2] = z, -x
    found[:, 2, 0], found[:, 2, 1] = -y, x
    return found


def with_added_load(packed: Packed, torque: float) -> Packed:
    """The model with a constant torque (N m) added to its load."""
    constant, linear, quadratic, dry = packed.model.load
    return packed._replace(model=packed.model._replace(load=(constant + torque, linear, quadratic, dry)))
