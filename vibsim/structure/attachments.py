"""How a point of a flexible body moves beyond the body's rigid motion, and what a force there does to its modes.

An attachment is a run of numbers: how many modes its body has, index of the first modal coordinate in the state (the
rates follow the coordinates), then the mass-normalised shape there, x, y, z of mode after mode, in the body's own axes.

Derived: with mean axes the elastic modes of a free body are orthogonal to its rigid motion, so that small elastic
motion adds ½Σq̇² to the kinetic energy and ½Σω²q² to the strain energy; coupling of second order in q is left out. A
force f at a point does the work f·(rigid motion + Σφ·dq), hence q̈ + 2ζωq̇ + ω²q = Σφ·f.
"""

from __future__ import annotations

import numpy as np

from vibsim.jit import inlined, inner

RIGID = -1
COUNT, FIRST, SHAPE = 0, 1, 2

# one record per elastic mode of all bodies: body, where its coordinate and its rate stand in the state; ω² (rad²/s²)
# and 2ζω (rad/s)
MODE = np.dtype([(name, np.int64) for name in ("body", "at", "rate")] + [(name, float) for name in ("square", "drag")])


@inner
def elastic_motion(numbers, at, y):
    """Elastic displacement (m) and its rate (m/s) at an attachment, own axes of its body."""
    count, first = int(numbers[at + COUNT]), int(numbers[at + FIRST])
    ux, uy, uz, vx, vy, vz = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for n in range(count):
        k, q, rate = at + SHAPE + 3 * n, y[first + n], y[first + count + n]
        ux, uy, uz = ux + numbers[k] * q, uy + numbers[k + 1] * q, uz + numbers[k + 2] * q
        vx, vy, vz = vx + numbers[k] * rate, vy + numbers[k + 1] * rate, vz + numbers[k + 2] * rate
    return ux, uy, uz, vx, vy, vz


@inner
def push_modes(numbers, at, body, fx, fy, fz, w, out):
    """Add what a force (vehicle axes) at an attachment does to the rates of its body's modes."""
    count, first = int(numbers[at + COUNT]), int(numbers[at + FIRST])
    gx = w[body, 0] * fx + w[body, 3] * fy + w[body, 6] * fz
    gy = w[body, 1] * fx + w[body, 4] * fy + w[body, 7] * fz
    gz = w[body, 2] * fx + w[body, 5] * fy + w[body, 8] * fz
    for n in range(count):
        k = at + SHAPE + 3 * n
        out[first + count + n] += numbers[k] * gx + numbers[k + 1] * gy + numbers[k + 2] * gz


@inlined
def start_modes(y, flex, out):
    """Write the rates of all modal coordinates without any force, for `push_modes` to add to."""
    if flex is None:
        return
    for n in range(flex.modes.size):
        mode = flex.modes[n]
        out[mode.at] = y[mode.rate]
        out[mode.rate] = -mode.square * y[mode.at] - mode.drag * y[mode.rate]
