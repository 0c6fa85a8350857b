"""Mounts between moving bodies: where their points are, what force and moment they give, in vehicle axes.

Work table w: one row per body, its columns below. Points and vectors of a body are in its own axes. A table with more
rows keeps in them force and deflection of each mount that is not special.
"""

from __future__ import annotations

import math

from numba import boolean, float64, from_dtype, int64, void

from vibsim.jit import inner
from vibsim.late import late
from vibsim.structure.attachments import elastic_motion, push_modes
from vibsim.structure.mount_laws import DF, DV, D
from vibsim.structure.mounts import (
    MOUNT,
    SECOND_AXES,
    TORQUE_ROD,
    TORSION_DAMPING,
    TORSION_WEIGHT,
    mount_force,
    plain_force,
)

# columns of the scratch table, one row per body
R, V, W, F, T = 0, 9, 12, 15, 18  # own-to-vehicle matrix, velocity, spin (own axes), force, moment (vehicle axes)
# then, in the first row alone, the mount in hand: what `mount_laws` says, force, place and deflection, moment
HELD, MOMENT, WORK = DF + 3, DF + 12, DF + 15


@inner
def point_motion(body, px, py, pz, y, w):
    """Place (m) of a point of a body (own axes; ground for −1) and its velocity, both in vehicle axes."""
    if body < 0:
        return px, py, pz, 0.0, 0.0, 0.0
    at = 13 * body
    vx = w[body, V] + w[body, W + 1] * pz - w[body, W + 2] * py
    vy = w[body, V + 1] + w[body, W + 2] * px - w[body, W] * pz
    vz = w[body, V + 2] + w[body, W] * py - w[body, W + 1] * px
    return (
        y[at] + w[body, 0] * px + w[body, 1] * py + w[body, 2] * pz,
        y[at + 1] + w[body, 3] * px + w[body, 4] * py + w[body, 5] * pz,
        y[at + 2] + w[body, 6] * px + w[body, 7] * py + w[body, 8] * pz,
        w[body, 0] * vx + w[body, 1] * vy + w[body, 2] * vz,
        w[body, 3] * vx + w[body, 4] * vy + w[body, 5] * vz,
        w[body, 6] * vx + w[body, 7] * vy + w[body, 8] * vz,
    )


@inner
def add_force(body, y, w, px, py, pz, fx, fy, fz):
    """Add a force at a place, both in vehicle axes, to a body's force and moment about its reference point."""
    if body < 0:
        return
    at = 13 * body
    x, yy, z = px - y[at], py - y[at + 1], pz - y[at + 2]
    w[body, F] += fx
    w[body, F + 1] += fy
    w[body, F + 2] += fz
    w[body, T] += yy * fz - z * fy
    w[body, T + 1] += z * fx - x * fz
    w[body, T + 2] += x * fy - yy * fx


@inner
def along(body, x, y, z, w):
    """A vector in a body's own axes (ground for −1) in vehicle axes."""
    if body < 0:
        return x, y, z
    return (
        w[body, 0] * x + w[body, 1] * y + w[body, 2] * z,
        w[body, 3] * x + w[body, 4] * y + w[body, 5] * z,
        w[body, 6] * x + w[body, 7] * y + w[body, 8] * z,
    )


@inner
def add_mounts(y, model, w, speed, out):
    """Add force and moment of all mounts to their bodies; the rates of the mounts' own states into `out`.

    Those that are not `special` come first: a call between them would keep the compiler from what it does with them.
    """
    for n in range(model.mounts.size):
        if not model.mounts[n].special:
            fx, fy, fz, x, yy, z, dx, dy, dz = plain_mount(n, y, model, w)
            if w.shape[0] > model.bodies.size:
                at = model.bodies.size + n
                w[at, 0], w[at, 1], w[at, 2], w[at, 3], w[at, 4], w[at, 5] = fx, fy, fz, dx, dy, dz
            add_force(model.mounts[n].second, y, w, x, yy, z, fx, fy, fz)
            add_force(model.mounts[n].first, y, w, x, yy, z, -fx, -fy, -fz)
    for n in range(model.mounts.size):
        if model.mounts[n].special:
            special_mounts(model.mounts, model.mount_numbers, y, w, out, speed, n, True)
            return


@inner
def plain_mount(n, y, model, w):
    """Force of mount n, of springs and dampers along its axes, on its second body, place of that force and deflection,
    all in vehicle axes.

    The rate is that of the deflection as seen from the turning first body: the velocity of the second body's point
    less that of the first body's matter at the same place, so that force times rate is the power lost.
    """
    mount = model.mounts[n]
    a, b = mount.first, mount.second
    xa, ya, za, ua, va, wa = point_motion(a, mount.first_x, mount.first_y, mount.first_z, y, w)
    xb, yb, zb, ub, vb, wb = point_motion(b, mount.second_x, mount.second_y, mount.second_z, y, w)
    dx, dy, dz = xb - xa, yb - ya, zb - za
    ex, ey, ez = ub - ua, vb - va, wb - wa
    if a < 0:
        lx, ly, lz, rx, ry, rz = dx, dy, dz, ex, ey, ez
    else:
        lx = w[a, 0] * dx + w[a, 3] * dy + w[a, 6] * dz
        ly = w[a, 1] * dx + w[a, 4] * dy + w[a, 7] * dz
        lz = w[a, 2] * dx + w[a, 5] * dy + w[a, 8] * dz
        rx = w[a, 0] * ex + w[a, 3] * ey + w[a, 6] * ez - (w[a, W + 1] * lz - w[a, W + 2] * ly)
        ry = w[a, 1] * ex + w[a, 4] * ey + w[a, 7] * ez - (w[a, W + 2] * lx - w[a, W] * lz)
        rz = w[a, 2] * ex + w[a, 5] * ey + w[a, 8] * ez - (w[a, W] * ly - w[a, W + 1] * lx)
    gx, gy, gz = plain_force(
        mount,
        mount.xx * lx + mount.xy * ly + mount.xz * lz,
        mount.yx * lx + mount.yy * ly + mount.yz * lz,
        mount.zx * lx + mount.zy * ly + mount.zz * lz,
        mount.xx * rx + mount.xy * ry + mount.xz * rz,
        mount.yx * rx + mount.yy * ry + mount.yz * rz,
        mount.zx * rx + mount.zy * ry + mount.zz * rz,
    )
    hx = mount.xx * gx + mount.yx * gy + mount.zx * gz
    hy = mount.xy * gx + mount.yy * gy + mount.zy * gz
    hz = mount.xz * gx + mount.yz * gy + mount.zz * gz
    if a < 0:
        return hx, hy, hz, xb, yb, zb, dx, dy, dz
    fx = w[a, 0] * hx + w[a, 1] * hy + w[a, 2] * hz
    fy = w[a, 3] * hx + w[a, 4] * hy + w[a, 5] * hz
    fz = w[a, 6] * hx + w[a, 7] * hy + w[a, 8] * hz
    return fx, fy, fz, xb, yb, zb, dx, dy, dz


@inner
def any_mount(n, y, model, w, out, speed):
    """What `plain_mount` gives, of a mount of any law; of one with states of its own the rates go into `out`."""
    if not model.mounts[n].special:
        return plain_mount(n, y, model, w)
    special_mounts(model.mounts, model.mount_numbers, y, w, out, speed, n, False)
    return (
        w[0, HELD],
        w[0, HELD + 1],
        w[0, HELD + 2],
        w[0, HELD + 3],
        w[0, HELD + 4],
        w[0, HELD + 5],
        w[0, HELD + 6],
        w[0, HELD + 7],
        w[0, HELD + 8],
    )


@inner
def elastic_point_motion(body, px, py, pz, numbers, at, y, w):
    """What `point_motion` gives, of a point with an attachment (−1 none) of a body that may be flexible."""
    if at < 0:
        return point_motion(body, px, py, pz, y, w)
    ux, uy, uz, vx, vy, vz = elastic_motion(numbers, at, y)
    x, yy, z, rx, ry, rz = point_motion(body, px + ux, py + uy, pz + uz, y, w)
    ex, ey, ez = along(body, vx, vy, vz, w)
    return x, yy, z, rx + ex, ry + ey, rz + ez


@inner
def put_in_hand(mount, numbers, y, w):
    """Deflection of a mount and its rate along its own axes into row 0 of w; place of the second body's point and
    deflection, vehicle axes."""
    a, at, end = mount.first, mount.first_elastic, mount.second_elastic
    xa, ya, za, ua, va, wa = elastic_point_motion(a, mount.first_x, mount.first_y, mount.first_z, numbers, at, y, w)
    xb, yb, zb, ub, vb, wb = elastic_point_motion(
        mount.second, mount.second_x, mount.second_y, mount.second_z, numbers, end, y, w
    )
    dx, dy, dz = xb - xa, yb - ya, zb - za
    ex, ey, ez = ub - ua, vb - va, wb - wa
    if a >= 0:
        sx, sy, sz = along(a, w[a, W], w[a, W + 1], w[a, W + 2], w)
        ex, ey, ez = ex - (sy * dz - sz * dy), ey - (sz * dx - sx * dz), ez - (sx * dy - sy * dx)
    rows = (mount.xx, mount.xy, mount.xz, mount.yx, mount.yy, mount.yz, mount.zx, mount.zy, mount.zz)
    for k in range(3):
        px, py, pz = along(a, rows[3 * k], rows[3 * k + 1], rows[3 * k + 2], w)
        w[0, D + k], w[0, DV + k] = px * dx + py * dy + pz * dz, px * ex + py * ey + pz * ez
    return xb, yb, zb, dx, dy, dz


@inner
def mount_moment(mount, numbers, w):
    """Moment (N m, vehicle axes) of a mount on its second body from the turn between its two bodies.

    With p_i the mount's axes as its first body carries them and q_i as its second does, the moment is −Σ g_i·p_i×q_i,
    which small turns θ make −k·θ with k_x = g_y + g_z; it is the gradient of Σ g_i·(1 − p_i·q_i) at any turn (derived),
    so it makes no energy. The damper turns against the relative spin.
    """
    a, b, at = mount.first, mount.second, mount.extra
    rows = (mount.xx, mount.xy, mount.xz, mount.yx, mount.yy, mount.yz, mount.zx, mount.zy, mount.zz)
    sx, sy, sz = 0.0, 0.0, 0.0
    if b >= 0:
        sx, sy, sz = along(b, w[b, W], w[b, W + 1], w[b, W + 2], w)
    if a >= 0:
        rx, ry, rz = along(a, w[a, W], w[a, W + 1], w[a, W + 2], w)
        sx, sy, sz = sx - rx, sy - ry, sz - rz
    mx, my, mz = 0.0, 0.0, 0.0
    for i in range(3):
        px, py, pz = along(a, rows[3 * i], rows[3 * i + 1], rows[3 * i + 2], w)
        own = at + SECOND_AXES + 3 * i
        qx, qy, qz = along(b, numbers[own], numbers[own + 1], numbers[own + 2], w)
        weight = numbers[at + TORSION_WEIGHT + i]
        drag = numbers[at + TORSION_DAMPING + i] * (px * sx + py * sy + pz * sz)
        mx -= weight * (py * qz - pz * qy) + drag * px
        my -= weight * (pz * qx - px * qz) + drag * py
        mz -= weight * (px * qy - py * qx) + drag * pz
    return mx, my, mz


@inner
def _special_mount(mount, numbers, y, w, out, speed):
    """Force, place and deflection as of a plain mount into row 0 of w from column HELD, and the moment after them; the
    rates of the mount's own states into `out`. The deflection of a rod is its elongation, along its line."""
    x, yy, z, dx, dy, dz = put_in_hand(mount, numbers, y, w)
    mount_force(mount, numbers, y, out, w, speed)
    gx, gy, gz = w[0, DF], w[0, DF + 1], w[0, DF + 2]
    fx, fy, fz = along(
        mount.first,
        mount.xx * gx + mount.yx * gy + mount.zx * gz,
        mount.xy * gx + mount.yy * gy + mount.zy * gz,
        mount.xz * gx + mount.yz * gy + mount.zz * gz,
        w,
    )
    if mount.law == TORQUE_ROD:
        share = 1.0 - numbers[mount.numbers] / math.sqrt(dx * dx + dy * dy + dz * dz)
        dx, dy, dz = share * dx, share * dy, share * dz
    w[0, HELD], w[0, HELD + 1], w[0, HELD + 2] = fx, fy, fz
    w[0, HELD + 3], w[0, HELD + 4], w[0, HELD + 5] = x, yy, z
    w[0, HELD + 6], w[0, HELD + 7], w[0, HELD + 8] = dx, dy, dz
    if mount.torsion:
        w[0, MOMENT], w[0, MOMENT + 1], w[0, MOMENT + 2] = mount_moment(mount, numbers, w)


@inner
def add_moment(body, x, y, z, w):
    """Add a moment in vehicle axes to a body's, none for ground."""
    if body >= 0:
        w[body, T] += x
        w[body, T + 1] += y
        w[body, T + 2] += z


@late(void(from_dtype(MOUNT)[::1], float64[::1], float64[::1], float64[:, ::1], float64[::1], float64, int64, boolean))
def special_mounts(mounts, numbers, y, w, out, speed, first, all_of_them):
    """Add force and moment of all special mounts from the first on; or of one alone have them in hand in row 0 of w."""
    last = mounts.size if all_of_them else first + 1
    for n in range(first, last):
        mount = mounts[n]
        if not mount.special:
            continue
        _special_mount(mount, numbers, y, w, out, speed)
        if not all_of_them:
            continue
        fx, fy, fz = w[0, HELD], w[0, HELD + 1], w[0, HELD + 2]
        x, yy, z = w[0, HELD + 3], w[0, HELD + 4], w[0, HELD + 5]
        add_force(mount.second, y, w, x, yy, z, fx, fy, fz)
        add_force(mount.first, y, w, x, yy, z, -fx, -fy, -fz)
        if mount.second_elastic >= 0:
            push_modes(numbers, mount.second_elastic, mount.second, fx, fy, fz, w, out)
        if mount.first_elastic >= 0:
            push_modes(numbers, mount.first_elastic, mount.first, -fx, -fy, -fz, w, out)
        if mount.torsion:
            mx, my, mz = w[0, MOMENT], w[0, MOMENT + 1], w[0, MOMENT + 2]
            add_moment(mount.second, mx, my, mz, w)
            add_moment(mount.first, -mx, -my, -mz, w)
