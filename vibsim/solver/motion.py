"""Equations of motion in momentum form.

State: for each body its place x (m), quaternion, momentum P and angular momentum L about its reference point, both in
its own axes; then any other states, those of the mounts first; last crank angle φ and its momentum p. With
V = (v, ω, φ̇) in the carrier's own axes and the kinetic energy ½Vᵀ·M(φ)·V, the equations are Kirchhoff's (derived; Lamb
1932, art. 124, from memory):
Ṗ + ω×P = F,  L̇ + ω×L + v×P = τ,  ṗ = ∂T/∂φ + gas − friction − accessories − charger − load + gravity.
The moving parts enter M by S = Σ m r, J, A = Σ m r', B = Σ m r×r', C = Σ m r'·r'.
"""

from __future__ import annotations

import math

import numpy as np

from vibsim.engine.accessories import accessory_torque
from vibsim.engine.air_path import AHEAD, TORQUE, air_path_rates, fill_air_weights
from vibsim.engine.friction import STANDSTILL, friction_law, friction_under
from vibsim.engine.kinematics import slider_crank
from vibsim.engine.node_grid import WEIGHTS, at_weights, fill_weights, node_count
from vibsim.engine.packed_gas import pressure_at
from vibsim.jit import bare, inlined, inner, kernel
from vibsim.solver.carrier import solve_mass
from vibsim.solver.crank_drive import DRIVES, crank_momentum, drive_rates
from vibsim.solver.mount_motion import WORK, F, T, V, W, add_mounts
from vibsim.solver.moving_parts import A1_, A_, B1_, C_, GAS_, J1_, S_, add_block, fill_moving
from vibsim.solver.outlet import react_by_outlet
from vibsim.solver.rotor_motion import add_rotors, load_speed, solve_with_throws, torque_on, without_rotors
from vibsim.solver.vertical_motion import add_parts, laden_velocities
from vibsim.structure.attachments import start_modes
from vibsim.structure.rotation import matrix_entries

CHARGER_ = GAS_ + WEIGHTS  # torque that the air path takes from the crank, torque of the brake that holds the speed
BRAKE_ = CHARGER_ + 1
DRIVE_ = BRAKE_ + 1  # torques that what drives or holds the crank gives and takes
ENGINE = DRIVE_ + DRIVES


def scratch(bodies: int) -> tuple[np.ndarray, np.ndarray]:
    """Work arrays of the equations of motion: (bodies, WORK) and (ENGINE)."""
    return np.zeros((bodies, WORK)), np.zeros(ENGINE)


@inlined
def fill_engine(theta, model, e):
    """Write S, A = S', A', B, B', C, C', J, J' of carrier and moving parts at crank angle `theta` into e."""
    fill_moving(theta, model.train, model.crank_origin, e)
    add_block(model, e)


@inner
def solve_carrier(y, model, rotors, e, px, py, pz, lx, ly, lz):
    """Fill the engine's rows into e and solve for v, ω and crank speed; throws that twist each have a speed."""
    mass = model.bodies[model.carrier].mass + model.train.mass
    if rotors is None:
        fill_engine(y[y.size - 2], model, e)
        p = crank_momentum(y, mass, model.drive_at, model.drive, e, px, py, pz, lx, ly, lz)
        return solve_mass(mass, e, px, py, pz, lx, ly, lz, p)
    if rotors.throws == 0:
        fill_engine(y[y.size - 2], model, e)
        return solve_mass(mass, e, px, py, pz, lx, ly, lz, y[y.size - 1])
    return solve_with_throws(y, model, rotors, e, mass, px, py, pz, lx, ly, lz)


@inner
def velocities(y, model, w, e):
    """Matrices, velocities and spins of all bodies into w, the carrier's sums into e; returns the crank speed."""
    bodies = model.bodies.size
    speed = y[y.size - 1]
    for b in range(bodies):
        at = 13 * b
        turn = matrix_entries(y[at + 3], y[at + 4], y[at + 5], y[at + 6])
        for k in range(9):
            w[b, k] = turn[k]
        px, py, pz, lx, ly, lz = y[at + 7], y[at + 8], y[at + 9], y[at + 10], y[at + 11], y[at + 12]
        lx, ly, lz = without_rotors(b, y, model.rotors, lx, ly, lz)
        if b == model.carrier:
            solved = solve_carrier(y, model, model.rotors, e, px, py, pz, lx, ly, lz)
            w[b, V], w[b, V + 1], w[b, V + 2], w[b, W], w[b, W + 1], w[b, W + 2], speed = solved
            continue
        body = model.bodies[b]
        i = 1.0 / body.mass
        w[b, V], w[b, V + 1], w[b, V + 2] = px * i, py * i, pz * i
        w[b, W] = body.inverse_xx * lx + body.inverse_xy * ly + body.inverse_xz * lz
        w[b, W + 1] = body.inverse_xy * lx + body.inverse_yy * ly + body.inverse_yz * lz
        w[b, W + 2] = body.inverse_xz * lx + body.inverse_yz * ly + body.inverse_zz * lz
    laden_velocities(y, model.parts, w)
    return speed


@inlined
def load_torque(speed, load):
    """Output torque (N m) at the crank; positive takes power from the engine. The dry part turns with the speed."""
    return load[0] + load[1] * speed + load[2] * speed * abs(speed) + load[3] * math.tanh(speed / STANDSTILL)


@inner
def gas_weights(speed, model, e):
    """Weights of the gas's nodes at a crank speed (rad/s) into e, where there are several."""
    if node_count(model.gas.nodes) > 1:
        fill_weights(speed, model.gas.intake, model.gas.exhaust, model.gas.nodes, e, GAS_)


@inlined
def feed(y, speed, model, air, e, out):
    """Write the gas's weights, and where the model has an air path the rates of its states and its torques.

    `air` is `model.air`, by itself so that a model without one compiles nothing of it.
    """
    if air is None:
        gas_weights(speed, model, e)
    else:
        _feed(y, model.air_at, speed, air, model.losses, e, out)


@bare
def _feed(y, at, speed, air, losses, e, out):
    fill_air_weights(y, at, speed, air, e, GAS_)
    e[CHARGER_] = air_path_rates(y, at, speed, air, e, GAS_, out)
    e[BRAKE_] = 0.0
    if air.hold.slope > 0.0:
        mean = at_weights(air.flows, TORQUE, air.nodes, e, GAS_) - e[CHARGER_]
        mean -= _losses(speed, losses, air.nodes, e)
        e[BRAKE_] = mean + air.hold.slope * (speed - air.hold.speed) + air.hold.pull * y[at + AHEAD]


@inlined
def charger_torque(air, e):
    """Torque (N m) that the charger takes from the crank, as `feed` has left it in e."""
    if air is None:
        return 0.0
    return e[CHARGER_]


@inlined
def output_torque(speed, model, air, e):
    """Torque (N m) at the output: the load's law, and the brake that holds the speed."""
    if air is None:
        return load_torque(speed, model.load)
    return load_torque(speed, model.load) + e[BRAKE_]


@inner
def friction_now(speed, model, e):
    """Torque (N m) of friction against the rotation at crank speed (rad/s) under the weights in e."""
    dry, viscous, square = friction_under(model.losses, model.gas.nodes, e, GAS_)
    return friction_law(speed, dry, viscous, square)


@inner
def loss_torque(speed, model, e):
    """Torque (N m) of friction and accessories against the rotation at crank speed (rad/s) under the weights in e."""
    return _losses(speed, model.losses, model.gas.nodes, e)


@inlined
def _losses(speed, losses, nodes, e):
    dry, viscous, square = friction_under(losses, nodes, e, GAS_)
    first = node_count(nodes)
    drag = losses[first]
    total = friction_law(speed, dry + drag.dry, viscous + drag.viscous, square + drag.square)
    for n in range(first + 1, losses.size):
        total += accessory_torque(speed, losses[n])
    return total


@inner
def react(torque, carrier, body, w):
    """A torque about the crank that another body takes: off the carrier, onto that body (ground for −1)."""
    for k in range(3):
        w[carrier, T + k] -= torque * w[carrier, 3 * k]
    if body >= 0:
        for k in range(3):
            w[body, T + k] += torque * w[carrier, 3 * k]


@inlined
def leave_by_outlet(y, model, w, e, speed, out):
    torque = output_torque(speed, model, model.air, e)
    react_by_outlet(y, w, model.outlet, model.mount_numbers, model.carrier, torque, out)


@inner
def react_output(speed, model, rotors, e, w):
    """What takes the load's torque; where there are rotors `add_rotors` sees to it."""
    if rotors is None and model.carrier >= 0 and model.reactor != model.carrier:
        react(output_torque(speed, model, model.air, e), model.carrier, model.reactor, w)


@inner
def turn_rotors(y, speed, model, rotors, w, e, out):
    """Rates of the states of rotors and shafts, where there are any, and what they put on the bodies."""
    if rotors is not None:
        at_load = load_speed(y, speed, model, rotors, w)
        add_rotors(y, speed, output_torque(at_load, model, model.air, e), model, rotors, w, e, out)


@inner
def crank_torque(theta, speed, model, rotors, e):
    """Torque (N m) on the crank before losses: of the gas and of what it drives."""
    if rotors is None:
        return torque_of_gas(theta, model, e) - output_torque(speed, model, model.air, e)
    if rotors.throws == 0:
        return torque_of_gas(theta, model, e) + torque_on(0, rotors)
    return torque_on(0, rotors)


@inner
def add_forces(y, model, w, e, speed, out):
    """Sum gravity, mounts and the reactions of load and accessories into w (force and moment, vehicle axes); the rates
    of the mounts' own states into `out`."""
    for b in range(model.bodies.size):
        w[b, F], w[b, F + 1], w[b, F + 2] = 0.0, 0.0, -model.gravity * model.bodies[b].mass
        w[b, T], w[b, T + 1], w[b, T + 2] = 0.0, 0.0, 0.0
    start_modes(y, model.flex, out)
    add_mounts(y, model, w, speed, out)
    add_parts(y, model, model.parts, w, out)
    react_output(speed, model, model.rotors, e, w)
    if model.outlet is not None:
        leave_by_outlet(y, model, w, e, speed, out)
    for n in range(node_count(model.gas.nodes) + 1, model.losses.size):
        accessory = model.losses[n]
        if accessory.body != model.carrier:
            react(accessory_torque(speed, accessory), model.carrier, accessory.body, w)


@inner
def torque_of_gas(theta, model, e):
    """Torque (N m) of the gas on the crank, Σ (p − p_ambient)·dV/dφ, under the weights in e."""
    if not model.gas.active:
        return 0.0
    total, cos_theta, sin_theta = 0.0, math.cos(theta), math.sin(theta)
    for i in range(model.train.cylinders.size):
        cyl = model.train.cylinders[i]
        cos_psi = cos_theta * cyl.cos_phase - sin_theta * cyl.sin_phase
        sin_psi = sin_theta * cyl.cos_phase + cos_theta * cyl.sin_phase
        slope = slider_crank(cos_psi, sin_psi, cyl.radius, cyl.rod_length, cyl.offset)[1]
        total -= (pressure_at(i, theta, model.gas, e, GAS_) - model.gas.ambient) * cyl.area * slope
    return total


@kernel
def gas_torque(theta, speed, model):
    """Torque (N m) of the gas on the crank at a crank angle (rad) and speed (rad/s)."""
    e = np.zeros(ENGINE)
    gas_weights(speed, model, e)
    return torque_of_gas(theta, model, e)


@kernel
def gas_torques(angles, speed, model, out):
    """Torque of the gas on the crank at crank angles (n) rad, into `out` (n) N m."""
    e = np.zeros(ENGINE)
    gas_weights(speed, model, e)
    for n in range(angles.size):
        out[n] = torque_of_gas(angles[n], model, e)


@bare
def derivatives(y, model, w, e, out):
    """Time derivative of the state y into out; what drives or holds the crank comes last, for it asks how the crank
    would go without it."""
    bodies = model.bodies.size
    speed = velocities(y, model, w, e)
    feed(y, speed, model, model.air, e, out)
    add_forces(y, model, w, e, speed, out)
    turn_rotors(y, speed, model, model.rotors, w, e, out)
    out[y.size - 2], out[y.size - 1] = speed, 0.0
    for b in range(bodies):
        at = 13 * b
        vx, vy, vz, wx, wy, wz = w[b, V], w[b, V + 1], w[b, V + 2], w[b, W], w[b, W + 1], w[b, W + 2]
        out[at] = w[b, 0] * vx + w[b, 1] * vy + w[b, 2] * vz
        out[at + 1] = w[b, 3] * vx + w[b, 4] * vy + w[b, 5] * vz
        out[at + 2] = w[b, 6] * vx + w[b, 7] * vy + w[b, 8] * vz
        qw, qx, qy, qz = y[at + 3], y[at + 4], y[at + 5], y[at + 6]
        out[at + 3] = -0.5 * (qx * wx + qy * wy + qz * wz)
        out[at + 4] = 0.5 * (qw * wx + qy * wz - qz * wy)
        out[at + 5] = 0.5 * (qw * wy + qz * wx - qx * wz)
        out[at + 6] = 0.5 * (qw * wz + qx * wy - qy * wx)
        fx = w[b, 0] * w[b, F] + w[b, 3] * w[b, F + 1] + w[b, 6] * w[b, F + 2]
        fy = w[b, 1] * w[b, F] + w[b, 4] * w[b, F + 1] + w[b, 7] * w[b, F + 2]
        fz = w[b, 2] * w[b, F] + w[b, 5] * w[b, F + 1] + w[b, 8] * w[b, F + 2]
        tx = w[b, 0] * w[b, T] + w[b, 3] * w[b, T + 1] + w[b, 6] * w[b, T + 2]
        ty = w[b, 1] * w[b, T] + w[b, 4] * w[b, T + 1] + w[b, 7] * w[b, T + 2]
        tz = w[b, 2] * w[b, T] + w[b, 5] * w[b, T + 1] + w[b, 8] * w[b, T + 2]
        px, py, pz, lx, ly, lz = y[at + 7], y[at + 8], y[at + 9], y[at + 10], y[at + 11], y[at + 12]
        if b == model.carrier:  # the moving parts' weight, whose arm and torque turn with the crank
            gx, gy, gz = -model.gravity * w[b, 6], -model.gravity * w[b, 7], -model.gravity * w[b, 8]
            moving = model.train.mass
            fx, fy, fz = fx + moving * gx, fy + moving * gy, fz + moving * gz
            tx += e[S_ + 1] * gz - e[S_ + 2] * gy
            ty += e[S_ + 2] * gx - e[S_] * gz
            tz += e[S_] * gy - e[S_ + 1] * gx
            weight = e[A_] * gx + e[A_ + 1] * gy + e[A_ + 2] * gz
            out[y.size - 1] = weight + _crank_rate(y[y.size - 2], speed, model, e, vx, vy, vz, wx, wy, wz)
        out[at + 7] = fx - (wy * pz - wz * py)
        out[at + 8] = fy - (wz * px - wx * pz)
        out[at + 9] = fz - (wx * py - wy * px)
        out[at + 10] = tx - (wy * lz - wz * ly) - (vy * pz - vz * py)
        out[at + 11] = ty - (wz * lx - wx * lz) - (vz * px - vx * pz)
        out[at + 12] = tz - (wx * ly - wy * lx) - (vx * py - vy * px)
    drive_rates(y, speed, model, model.drive, w, e, DRIVE_, out)


@inner
def _crank_rate(theta, speed, model, e, vx, vy, vz, wx, wy, wz):
    """∂T/∂φ plus the torques on the crank: ½ω·J'ω + v·(ω×A) + φ̇(v·A' + ω·B') + ½C'φ̇² + gas − losses − load."""
    spin = 0.5 * (wx * wx * e[J1_] + wy * wy * e[J1_ + 1] + wz * wz * e[J1_ + 2])
    spin += wx * wy * e[J1_ + 3] + wx * wz * e[J1_ + 4] + wy * wz * e[J1_ + 5]
    ax, ay, az = e[A_], e[A_ + 1], e[A_ + 2]
    sway = vx * (wy * az - wz * ay) + vy * (wz * ax - wx * az) + vz * (wx * ay - wy * ax)
    both = vx * e[A1_] + vy * e[A1_ + 1] + vz * e[A1_ + 2] + wx * e[B1_] + wy * e[B1_ + 1] + wz * e[B1_ + 2]
    energy = spin + sway + speed * (both + 0.5 * e[C_ + 1] * speed)
    torque = crank_torque(theta, speed, model, model.rotors, e)
    return energy + torque - loss_torque(speed, model, e) - charger_torque(model.air, e)
