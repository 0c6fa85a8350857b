"""The body that carries the engine: its velocities from momenta, its accelerations from their rates.

Rows of the work array `e` hold its sums with the moving parts: S, A = S', A', B, B', C, C', J, J' (see `motion`).
"""

from __future__ import annotations

from vibsim.jit import inner
from vibsim.solver.mount_motion import V, W
from vibsim.solver.moving_parts import A1_, A_, B1_, B_, C_, J1_, J_, S_
from vibsim.solver.rotor_motion import without_rotors


@inner
def solve_mass(mass, e, px, py, pz, lx, ly, lz, p):
    """Solve M·V = (P, L, p) for V = (v, ω, φ̇): v eliminated, then φ̇, then a symmetric 3 × 3 by cofactors."""
    sx, sy, sz = e[S_], e[S_ + 1], e[S_ + 2]
    ax, ay, az = e[A_], e[A_ + 1], e[A_ + 2]
    i = 1.0 / mass
    xx = e[J_] - (sy * sy + sz * sz) * i
    yy = e[J_ + 1] - (sx * sx + sz * sz) * i
    zz = e[J_ + 2] - (sx * sx + sy * sy) * i
    xy, xz, yz = e[J_ + 3] + sx * sy * i, e[J_ + 4] + sx * sz * i, e[J_ + 5] + sy * sz * i
    bx = e[B_] - (sy * az - sz * ay) * i
    by = e[B_ + 1] - (sz * ax - sx * az) * i
    bz = e[B_ + 2] - (sx * ay - sy * ax) * i
    c = e[C_] - (ax * ax + ay * ay + az * az) * i
    lx -= (sy * pz - sz * py) * i
    ly -= (sz * px - sx * pz) * i
    lz -= (sx * py - sy * px) * i
    p -= (ax * px + ay * py + az * pz) * i
    cxx, cyy, czz = yy * zz - yz * yz, xx * zz - xz * xz, xx * yy - xy * xy
    cxy, cxz, cyz = xz * yz - xy * zz, xy * yz - xz * yy, xy * xz - xx * yz
    d = 1.0 / (xx * cxx + xy * cxy + xz * cxz)
    gx, gy, gz = (
        d * (cxx * bx + cxy * by + cxz * bz),
        d * (cxy * bx + cyy * by + cyz * bz),
        d * (cxz * bx + cyz * by + czz * bz),
    )
    hx, hy, hz = (
        d * (cxx * lx + cxy * ly + cxz * lz),
        d * (cxy * lx + cyy * ly + cyz * lz),
        d * (cxz * lx + cyz * ly + czz * lz),
    )
    rate = (p - bx * hx - by * hy - bz * hz) / (c - bx * gx - by * gy - bz * gz)
    wx, wy, wz = hx - gx * rate, hy - gy * rate, hz - gz * rate
    vx = (px - (wy * sz - wz * sy) - ax * rate) * i
    vy = (py - (wz * sx - wx * sz) - ay * rate) * i
    vz = (pz - (wx * sy - wy * sx) - az * rate) * i
    return vx, vy, vz, wx, wy, wz, rate


@inner
def carrier_rates(model, r, e, out, at, speed, crank):
    """Accelerations (v̇, ω̇, φ̈) of the carrier: M·V̇ = momentum rates − φ̇·M'·V."""
    vx, vy, vz, wx, wy, wz = r[V], r[V + 1], r[V + 2], r[W], r[W + 1], r[W + 2]
    ax, ay, az = e[A_], e[A_ + 1], e[A_ + 2]
    px = out[at + 7] - speed * (wy * az - wz * ay + e[A1_] * speed)
    py = out[at + 8] - speed * (wz * ax - wx * az + e[A1_ + 1] * speed)
    pz = out[at + 9] - speed * (wx * ay - wy * ax + e[A1_ + 2] * speed)
    j = e[J1_ : J1_ + 6]
    lx = out[at + 10] - speed * (ay * vz - az * vy + j[0] * wx + j[3] * wy + j[4] * wz + e[B1_] * speed)
    ly = out[at + 11] - speed * (az * vx - ax * vz + j[3] * wx + j[1] * wy + j[5] * wz + e[B1_ + 1] * speed)
    lz = out[at + 12] - speed * (ax * vy - ay * vx + j[4] * wx + j[5] * wy + j[2] * wz + e[B1_ + 2] * speed)
    change = e[A1_] * vx + e[A1_ + 1] * vy + e[A1_ + 2] * vz
    change += e[B1_] * wx + e[B1_ + 1] * wy + e[B1_ + 2] * wz + e[C_ + 1] * speed
    p = out[crank + 1] - speed * change
    lx, ly, lz = without_rotors(model.carrier, out, model.rotors, lx, ly, lz)
    return solve_mass(model.bodies[model.carrier].mass + model.train.mass, e, px, py, pz, lx, ly, lz, p)
