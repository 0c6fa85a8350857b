"""Rotors and shafts in the equations of motion: throws of a crank that twists, and what the crank drives.

A plain rotor of inertia J turns at ψ̇ about an axis a fixed in its body. Its momentum h = J·(ψ̇ + ω·a) is a state and
changes by the torques on it alone, ḣ = Σ torque, for the energy does not depend on ψ (derived). The body's angular
momentum L = J_body·ω + Σ (h − J·ω·a)·a keeps its own equation: spin, block roll and gyroscopic moment are in it. So
the bodies' records hold J_body − Σ J·a·aᵀ and are solved with L − Σ h·a.

A throw has its own angle and momentum p = A·v + B·ω + C·φ̇ and sums S, A, B, C, J of what moves with it. Each speed
φ̇ = (p − A·v − B·ω)/C is eliminated, which leaves a symmetric 6 × 6 for v and ω (derived).

A shaft has a twist δ as state, δ̇ = ψ̇₁ − r·ψ̇₂ + (ω₁ − ω₂)·a₁ with a₁ the axis of its first rotor. Its torque T takes
T·δ̇ from the motion: −T on the first rotor, r·T on the second, and where their bodies differ −T·a₁ on the first's body
and T·a₁ on the second's. On one body the gear's reaction T·(1 − r) is within L, which no inner torque changes.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from vibsim.engine.moving_mass import Train
from vibsim.engine.shaft_law import damping_torque, spring_torque
from vibsim.jit import apart, inner
from vibsim.solver.clutch_motion import Clutch, through_clutch
from vibsim.solver.mount_motion import T, V, W
from vibsim.solver.moving_parts import A1_, A_, B1_, B_, C_, J1_, J_, S_, add_block, fill_moving, gas_of_cylinder

ROW = 29  # of sums, as in the carrier's row
SPEED, TORQUE, RATE, COLUMNS = ROW, ROW + 1, ROW + 2, ROW + 3  # speed rad/s, torque N m, of a solve its right side

# one record per part: see engine.drivetrain; axis in own axes of the body (−1 ground), states by index (−1 none);
# `of_crank` 1 for what is part of the crank itself
PART = np.dtype(
    [(name, float) for name in ("inertia", "ratio", "ax", "ay", "az", "mass", "moment_x", "moment_xx", "momentum")]
    + [
        (name, np.int64)
        for name in (
            "body",
            "state",
            "lead",
            "of_crank",
            "first_cylinder",
            "end_cylinder",
            "first_eccentric",
            "end_eccentric",
        )
    ]
)
SHAFT = np.dtype(
    [
        (name, float)
        for name in ("ratio", "slope", "twist", "torque", "damping", "friction", "half_lash", "lash_width", "share")
    ]
    + [(name, np.int64) for name in ("first", "second", "state", "numbers", "corners")]
)


class Rotors(NamedTuple):
    """Records of parts and shafts and the `numbers` of the shafts' corners; the first part is the crank, then
    `throws` throws, whose cylinders (`order`: their number in the engine) and eccentrics stand in one list.

    `load_on` the part that the load acts on, `reactor` the body that takes it (−1 ground). `work` (parts, COLUMNS) and
    `matrix` (6, 7) to work in, `torques` (shafts) N m as last found. `clutch` that closes in the run.
    """

    parts: np.ndarray
    shafts: np.ndarray
    numbers: np.ndarray
    throws: int
    cylinders: np.ndarray
    order: np.ndarray
    eccentrics: np.ndarray
    load_on: int
    reactor: int
    work: np.ndarray
    matrix: np.ndarray
    torques: np.ndarray
    clutch: Clutch | None = None


@inner
def torque_on(part, rotors):
    """Torque (N m) of shafts and load on a part, as `add_rotors` has left it."""
    return rotors.work[part, TORQUE]


@inner
def without_rotors(body, y, rotors, lx, ly, lz):
    """A body's angular momentum (own axes) less that of the plain rotors it carries; of rates likewise."""
    if rotors is None:
        return lx, ly, lz
    for n in range(1 + rotors.throws, rotors.parts.size):
        part = rotors.parts[n]
        if part.body == body:
            spin = y[part.state]
            lx, ly, lz = lx - spin * part.ax, ly - spin * part.ay, lz - spin * part.az
    return lx, ly, lz


@inner
def part_angle(n, y, rotors):
    """Angle (rad) of the crank or a throw."""
    theta = y[y.size - 2]
    if n > 0:
        theta += y[rotors.parts[n].lead]
    return theta


@inner
def fill_throws(y, model, rotors, e):
    """Rows of the flywheel end and all throws; into e those of the flywheel end, but S and J of all with the block."""
    for n in range(1 + rotors.throws):
        part = rotors.parts[n]
        cylinders = rotors.cylinders[part.first_cylinder : part.end_cylinder]
        eccentrics = rotors.eccentrics[part.first_eccentric : part.end_eccentric]
        train = Train(
            cylinders, eccentrics, part.mass, part.moment_x, part.moment_xx, part.inertia, part.momentum, part.inertia
        )
        fill_moving(part_angle(n, y, rotors), train, model.crank_origin, rotors.work[n])
    for k in range(ROW):
        e[k] = rotors.work[0, k]
    for n in range(1, 1 + rotors.throws):
        for k in range(3):
            e[S_ + k] += rotors.work[n, S_ + k]
        for k in range(6):
            e[J_ + k] += rotors.work[n, J_ + k]
    add_block(model, e)


@inner
def _solve_symmetric(m):
    """Solve a symmetric positive 6 × 6 in place, the right side in its seventh column, by square-root-free Cholesky."""
    for k in range(6):
        for i in range(k + 1, 6):
            factor = m[i, k] / m[k, k]
            for j in range(k + 1, 7):
                m[i, j] -= factor * m[k, j]
    for k in range(5, -1, -1):
        total = m[k, 6]
        for j in range(k + 1, 6):
            total -= m[k, j] * m[j, 6]
        m[k, 6] = total / m[k, k]


@apart
def solve_throws(mass, rotors, e, into, px, py, pz, lx, ly, lz):
    """Solve for v, ω and the speeds of crank and throws, whose own right sides are in RATE; speeds go to column `into`.

    Returns (v, ω, crank speed) as the solve of a rigid crank does.
    """
    m, work = rotors.matrix, rotors.work
    sx, sy, sz = e[S_], e[S_ + 1], e[S_ + 2]
    for i in range(6):
        for j in range(6):
            m[i, j] = 0.0
    for k in range(3):
        m[k, k] = mass
        m[3 + k, 3 + k] = e[J_ + k]
    m[3, 4] = m[4, 3] = e[J_ + 3]
    m[3, 5] = m[5, 3] = e[J_ + 4]
    m[4, 5] = m[5, 4] = e[J_ + 5]
    m[0, 4] = m[4, 0] = sz  # P = m·v + ω×S
    m[0, 5] = m[5, 0] = -sy
    m[1, 3] = m[3, 1] = -sz
    m[1, 5] = m[5, 1] = sx
    m[2, 3] = m[3, 2] = sy
    m[2, 4] = m[4, 2] = -sx
    m[0, 6], m[1, 6], m[2, 6], m[3, 6], m[4, 6], m[5, 6] = px, py, pz, lx, ly, lz
    for n in range(1 + rotors.throws):
        inverse = 1.0 / work[n, C_]
        for i in range(6):
            own = work[n, (A_ if i < 3 else B_ - 3) + i] * inverse
            m[i, 6] -= own * work[n, RATE]
            for j in range(6):
                m[i, j] -= own * work[n, (A_ if j < 3 else B_ - 3) + j]
    _solve_symmetric(m)
    for n in range(1 + rotors.throws):
        left = work[n, RATE]
        for i in range(6):
            left -= work[n, (A_ if i < 3 else B_ - 3) + i] * m[i, 6]
        work[n, into] = left / work[n, C_]
    return m[0, 6], m[1, 6], m[2, 6], m[3, 6], m[4, 6], m[5, 6], work[0, into]


@inner
def solve_with_throws(y, model, rotors, e, mass, px, py, pz, lx, ly, lz):
    """Fill the rows of crank and throws, then v, ω and the crank speed from the momenta."""
    fill_throws(y, model, rotors, e)
    rotors.work[0, RATE] = y[y.size - 1]
    for n in range(1, 1 + rotors.throws):
        rotors.work[n, RATE] = y[rotors.parts[n].state]
    return solve_throws(mass, rotors, e, SPEED, px, py, pz, lx, ly, lz)


@inner
def rotor_accelerations(speed, out, model, rotors, e, mass, vx, vy, vz, wx, wy, wz, px, py, pz, lx, ly, lz):
    """v̇, ω̇ and the crank's acceleration with throws: M·V̇ = momentum rates − Σ φ̇·M'·V over crank and throws.

    The speeds of the throws are those of the state; their accelerations go to column RATE.
    """
    work = rotors.work
    for n in range(1 + rotors.throws):
        q = work[n]
        rate = speed if n == 0 else q[SPEED]
        ax, ay, az = q[A_], q[A_ + 1], q[A_ + 2]
        px -= rate * (wy * az - wz * ay + q[A1_] * rate)
        py -= rate * (wz * ax - wx * az + q[A1_ + 1] * rate)
        pz -= rate * (wx * ay - wy * ax + q[A1_ + 2] * rate)
        lx -= rate * (ay * vz - az * vy + q[J1_] * wx + q[J1_ + 3] * wy + q[J1_ + 4] * wz + q[B1_] * rate)
        ly -= rate * (az * vx - ax * vz + q[J1_ + 3] * wx + q[J1_ + 1] * wy + q[J1_ + 5] * wz + q[B1_ + 1] * rate)
        lz -= rate * (ax * vy - ay * vx + q[J1_ + 4] * wx + q[J1_ + 5] * wy + q[J1_ + 2] * wz + q[B1_ + 2] * rate)
        change = q[A1_] * vx + q[A1_ + 1] * vy + q[A1_ + 2] * vz
        change += q[B1_] * wx + q[B1_ + 1] * wy + q[B1_ + 2] * wz + q[C_ + 1] * rate
        state = out.size - 1 if n == 0 else rotors.parts[n].state
        q[RATE] = out[state] - rate * change
    return solve_throws(mass, rotors, e, RATE, px, py, pz, lx, ly, lz)


@inner
def _along(part, w):
    """A part's axis in vehicle axes."""
    b = part.body
    if b < 0:
        return part.ax, part.ay, part.az
    return (
        w[b, 0] * part.ax + w[b, 1] * part.ay + w[b, 2] * part.az,
        w[b, 3] * part.ax + w[b, 4] * part.ay + w[b, 5] * part.az,
        w[b, 6] * part.ax + w[b, 7] * part.ay + w[b, 8] * part.az,
    )


@inner
def _spin_about(body, x, y, z, w):
    """Spin (rad/s) of a body about a direction in vehicle axes."""
    if body < 0:
        return 0.0
    sx = w[body, 0] * w[body, W] + w[body, 1] * w[body, W + 1] + w[body, 2] * w[body, W + 2]
    sy = w[body, 3] * w[body, W] + w[body, 4] * w[body, W + 1] + w[body, 5] * w[body, W + 2]
    sz = w[body, 6] * w[body, W] + w[body, 7] * w[body, W + 1] + w[body, 8] * w[body, W + 2]
    return sx * x + sy * y + sz * z


@inner
def _pass_on(torque, x, y, z, giver, taker, w):
    """A torque along a direction off one body and onto another."""
    for body, sign in ((giver, -1.0), (taker, 1.0)):
        if body >= 0:
            w[body, T] += sign * torque * x
            w[body, T + 1] += sign * torque * y
            w[body, T + 2] += sign * torque * z


@inner
def rotor_speed(n, y, rotors, w):
    """Speed (rad/s) of a plain rotor relative to the body that carries it."""
    part = rotors.parts[n]
    speed = y[part.state] / part.inertia
    if part.body >= 0:
        b = part.body
        speed -= part.ax * w[b, W] + part.ay * w[b, W + 1] + part.az * w[b, W + 2]
    return speed


@inner
def load_speed(y, speed, model, rotors, w):
    """Speed (rad/s) of the part that the load acts on, as a crank speed; writes the speeds of all parts."""
    rotors.work[0, SPEED] = speed
    for n in range(1 + rotors.throws, rotors.parts.size):
        rotors.work[n, SPEED] = rotor_speed(n, y, rotors, w)
    return rotors.work[rotors.load_on, SPEED] / rotors.parts[rotors.load_on].ratio


@apart
def _twist_shafts(y, rotors, w, out):
    """Torques of all shafts on parts and bodies, rates of their twists."""
    work = rotors.work
    for n in range(rotors.shafts.size):
        shaft = rotors.shafts[n]
        a, b = shaft.first, shaft.second
        rate, twist = work[a, SPEED] - shaft.ratio * work[b, SPEED], y[shaft.state]
        giver, taker = rotors.parts[a].body, rotors.parts[b].body
        x, yy, z = _along(rotors.parts[a], w)
        if giver != taker:
            rate += _spin_about(giver, x, yy, z, w) - _spin_about(taker, x, yy, z, w)
        spring = spring_torque(
            twist, shaft.slope, shaft.twist, shaft.torque, rotors.numbers, shaft.numbers, shaft.corners
        )
        torque = spring + damping_torque(twist, rate, shaft.damping, shaft.friction, shaft.half_lash, shaft.lash_width)
        torque, rate = through_clutch(n, twist, rate, spring, torque, shaft, rotors.clutch, y, out)
        torque *= shaft.share
        rotors.torques[n] = torque
        out[shaft.state] = rate
        work[a, TORQUE] -= torque
        work[b, TORQUE] += shaft.ratio * torque
        if giver != taker:
            _pass_on(torque, x, yy, z, giver, taker, w)


@apart
def add_rotors(y, speed, load, model, rotors, w, e, out):
    """Rates of rotors, throws and shafts, and what they put on the bodies; `load` N m, as felt at the crank."""
    work = rotors.work
    for n in range(rotors.parts.size):
        work[n, TORQUE] = 0.0
    _twist_shafts(y, rotors, w, out)
    part = rotors.parts[rotors.load_on]
    work[rotors.load_on, TORQUE] -= load / part.ratio
    if part.body != rotors.reactor:
        x, yy, z = _along(part, w)
        _pass_on(load / part.ratio, x, yy, z, part.body, rotors.reactor, w)
    for n in range(1 + rotors.throws, rotors.parts.size):
        out[rotors.parts[n].state] = work[n, TORQUE]
    for n in range(1, 1 + rotors.throws):
        out[rotors.parts[n].lead] = work[n, SPEED] - speed
        out[rotors.parts[n].state] = work[n, TORQUE] + _throw_rate(n, y, model, rotors, w, e)


@inner
def throw_gas(n, y, model, rotors, e):
    """Torque (N m) of the gas on a throw."""
    total = 0.0
    if model.gas.active:
        theta = part_angle(n, y, rotors)
        for i in range(rotors.parts[n].first_cylinder, rotors.parts[n].end_cylinder):
            total += gas_of_cylinder(rotors.order[i], rotors.cylinders[i], theta, model.gas, e)
    return total


@inner
def _throw_rate(n, y, model, rotors, w, e):
    """∂T/∂φ of a throw, as of the crank, and the torques of weight and gas on it."""
    c, q = model.carrier, rotors.work[n]
    vx, vy, vz, wx, wy, wz = w[c, V], w[c, V + 1], w[c, V + 2], w[c, W], w[c, W + 1], w[c, W + 2]
    rate = q[SPEED]
    spin = 0.5 * (wx * wx * q[J1_] + wy * wy * q[J1_ + 1] + wz * wz * q[J1_ + 2])
    spin += wx * wy * q[J1_ + 3] + wx * wz * q[J1_ + 4] + wy * wz * q[J1_ + 5]
    ax, ay, az = q[A_], q[A_ + 1], q[A_ + 2]
    sway = vx * (wy * az - wz * ay) + vy * (wz * ax - wx * az) + vz * (wx * ay - wy * ax)
    both = vx * q[A1_] + vy * q[A1_ + 1] + vz * q[A1_ + 2] + wx * q[B1_] + wy * q[B1_ + 1] + wz * q[B1_ + 2]
    weight = -model.gravity * (ax * w[c, 6] + ay * w[c, 7] + az * w[c, 8])
    return spin + sway + rate * (both + 0.5 * q[C_ + 1] * rate) + weight + throw_gas(n, y, model, rotors, e)


@inner
def hold_rotors(b, y, model, rotors, e, vx, vy, vz, wx, wy, wz):
    """Give the rotors of body b the momenta of parts that stand still in it, at its speeds in own axes."""
    for n in range(1 + rotors.throws, rotors.parts.size):
        part = rotors.parts[n]
        if part.body == b:
            spin = part.inertia * (part.ax * wx + part.ay * wy + part.az * wz)
            y[part.state] = spin
            at = 13 * b + 10
            y[at], y[at + 1], y[at + 2] = y[at] + spin * part.ax, y[at + 1] + spin * part.ay, y[at + 2] + spin * part.az
    if b == model.carrier and rotors.throws > 0:
        fill_throws(y, model, rotors, e)
        for n in range(1 + rotors.throws):
            q = rotors.work[n]
            along = q[A_] * vx + q[A_ + 1] * vy + q[A_ + 2] * vz
            state = y.size - 1 if n == 0 else rotors.parts[n].state
            y[state] = along + q[B_] * wx + q[B_ + 1] * wy + q[B_ + 2] * wz


@inner
def hold(b, y, model, rotors, e, vx, vy, vz, wx, wy, wz):
    """`hold_rotors` where there are any."""
    if rotors is not None:
        hold_rotors(b, y, model, rotors, e, vx, vy, vz, wx, wy, wz)
