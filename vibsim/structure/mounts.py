"""Mount laws: the force of a mount from its deflection, its rate and its own states, in the mount's own axes.

A law is one jitted function that adds its force on the second body; one with states of its own also writes their rates.
To add one: write the function in `mount_laws`, give it a number and a branch in `mount_force` (and in `rest_states` if
it has states), enter how it is packed in `law_data.LAWS`, give its keys a model in
`inputs.mount_models`, and test it.
"""

from __future__ import annotations

import numpy as np

from vibsim.jit import inner
from vibsim.structure.mount_laws import (
    DF,
    DV,
    D,
    bump_stop,
    friction,
    hydraulic,
    relaxation,
    rest_hydraulic,
    rest_relaxation,
    scheduled,
    table,
    torque_rod,
)

LINEAR, PROGRESSIVE, BUMP_STOP, RELAXATION, FRICTION, HYDRAULIC, TABLE, TORQUE_ROD, SCHEDULED = range(9)

# where the extras of a mount lie, counted from the record's `extra`: entries xy, xz, yz of its stiffness; then torsion:
# weights and damping rates about its axes, and the matrix from the second body's own axes to the mount's
TORSION_WEIGHT, TORSION_DAMPING, SECOND_AXES, EXTRA = 3, 6, 9, 18

# one record per mount: bodies (−1 ground), law, where its numbers begin, where its extras begin (−1 none), index of its
# first state (−1 none), whether it is more than springs and dampers along its axes, whether it has torsion,
# attachments of its ends (−1 rigid); points in the bodies' own axes (m), matrix from the first body's own axes to the
# mount's, rates along the mount's axes (N/m, N s/m) and three further numbers of the law
MOUNT = np.dtype(
    [(name, np.int64) for name in ("first", "second", "law", "numbers", "extra", "state", "special", "torsion")]
    + [(name, np.int64) for name in ("first_elastic", "second_elastic")]
    + [(name, float) for name in ("first_x", "first_y", "first_z", "second_x", "second_y", "second_z")]
    + [(name, float) for name in ("xx", "xy", "xz", "yx", "yy", "yz", "zx", "zy", "zz")]
    + [(name, float) for name in ("stiff_x", "stiff_y", "stiff_z", "damp_x", "damp_y", "damp_z")]
    + [(name, float) for name in ("more_x", "more_y", "more_z")]
)


@inner
def linear(m, dx, dy, dz, vx, vy, vz):
    """Spring and viscous damper along three axes."""
    return -m.stiff_x * dx - m.damp_x * vx, -m.stiff_y * dy - m.damp_y * vy, -m.stiff_z * dz - m.damp_z * vz


@inner
def progressive(m, dx, dy, dz, vx, vy, vz):
    """Stiffness k·(1 + (d/d₂)²) along each axis, d₂ in `more`; the force is its integral, k·d·(1 + (d/d₂)²/3)."""
    hx, hy, hz = dx / m.more_x, dy / m.more_y, dz / m.more_z
    return (
        -m.stiff_x * dx * (1.0 + hx * hx / 3.0) - m.damp_x * vx,
        -m.stiff_y * dy * (1.0 + hy * hy / 3.0) - m.damp_y * vy,
        -m.stiff_z * dz * (1.0 + hz * hz / 3.0) - m.damp_z * vz,
    )


@inner
def plain_force(m, dx, dy, dz, vx, vy, vz):
    """Force (N) on the second body, in mount axes, of a mount that is not `special`."""
    if m.law == PROGRESSIVE:
        return progressive(m, dx, dy, dz, vx, vy, vz)
    return linear(m, dx, dy, dz, vx, vy, vz)


@inner
def mount_force(m, numbers, y, out, w, speed):
    """Force of any mount in hand, from its deflection D and rate DV in row 0 of the work table w into DF there.

    m the mount's record, numbers those of all mounts, y the state and out its rate (those of the mount's own states are
    written), speed that of the crank (rad/s).
    """
    dx, dy, dz = w[0, D], w[0, D + 1], w[0, D + 2]
    fx, fy, fz = plain_force(m, dx, dy, dz, w[0, DV], w[0, DV + 1], w[0, DV + 2])
    if m.extra >= 0:
        xy, xz, yz = numbers[m.extra], numbers[m.extra + 1], numbers[m.extra + 2]
        fx, fy, fz = fx - xy * dy - xz * dz, fy - xy * dx - yz * dz, fz - xz * dx - yz * dy
    w[0, DF], w[0, DF + 1], w[0, DF + 2] = fx, fy, fz
    if m.law == RELAXATION:
        relaxation(m, numbers, y, out, w)
    elif m.law == HYDRAULIC:
        hydraulic(m, numbers, y, out, w)
    elif m.law == FRICTION:
        friction(m, numbers, y, out, w)
    elif m.law == BUMP_STOP:
        bump_stop(m, numbers, w)
    elif m.law == TABLE:
        table(m, numbers, w)
    elif m.law == TORQUE_ROD:
        torque_rod(m, numbers, w)
    elif m.law == SCHEDULED:
        scheduled(m, numbers, speed, w)


@inner
def rest_states(m, numbers, y, w):
    """Write the states that a mount held at a deflection comes to rest in: relaxed, no flow, no friction force."""
    if m.law == RELAXATION:
        rest_relaxation(m, numbers, y, w)
    elif m.law == HYDRAULIC:
        rest_hydraulic(m, numbers, y, w)
    elif m.law == FRICTION:
        y[m.state], y[m.state + 1], y[m.state + 2] = 0.0, 0.0, 0.0
