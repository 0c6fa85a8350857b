"""Everything the results file holds, computed from states: the second pass after integration."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import Any

import numpy as np

from vibsim.engine.air_seen import SEEN, see_air, seen_by_name
from vibsim.engine.packed_gas import pressure_at
from vibsim.inputs.models import Sensor
from vibsim.jit import inlined, inner, released_bare
from vibsim.solver.carrier import carrier_rates
from vibsim.solver.clutch_seen import see_clutch
from vibsim.solver.crank_drive import drive_torque, starter_torque
from vibsim.solver.elastic_seen import feel_elastic
from vibsim.solver.motion import (
    DRIVE_,
    V,
    W,
    charger_torque,
    derivatives,
    friction_now,
    loss_torque,
    output_torque,
    scratch,
)
from vibsim.solver.mount_motion import HELD, MOMENT, special_mounts
from vibsim.solver.moving_parts import GAS_, gas_lever
from vibsim.solver.packed import STATES_PER_BODY, Packed
from vibsim.solver.rotor_motion import (
    RATE,
    SPEED,
    load_speed,
    part_angle,
    rotor_accelerations,
    torque_on,
    without_rotors,
)
from vibsim.solver.vertical_motion import laden_rates
from vibsim.solver.vertical_seen import see_parts
from vibsim.structure.rotation import conjugate, multiply, quaternion_of_matrix, rotation_vectors


@dataclass(frozen=True)
class Observed:
    """Output quantities over n points, SI units, vehicle axes; see DESIGN of the results file for names and signs."""

    crank_angle: np.ndarray
    crank_speed: np.ndarray
    gas_torque: np.ndarray
    inertia_torque: np.ndarray
    load_torque: np.ndarray
    friction_torque: np.ndarray
    accessory_torque: np.ndarray | None  # None without accessories
    cylinder_pressure: np.ndarray
    mount_force: np.ndarray
    mount_deflection: np.ndarray
    mount_moment: np.ndarray | None  # None without torsional rates
    body_displacement: np.ndarray
    body_velocity: np.ndarray
    body_acceleration: np.ndarray
    body_rotation: np.ndarray
    sensor_acceleration: np.ndarray
    air: dict[str, np.ndarray] | None = None  # of the air path by name; None without one
    parts: dict[str, np.ndarray] = field(default_factory=dict)  # of wheels, occupants and a clutch by name
    rotor_speed: np.ndarray | None = None  # (n, rotors) and of shafts; None where a rigid crank turns alone
    shaft_torque: np.ndarray | None = None
    shaft_twist: np.ndarray | None = None
    starter_torque: np.ndarray | None = None  # None without a starter
    starter_current: np.ndarray | None = None
    battery_voltage: np.ndarray | None = None


@inner
def _rates_with_rotors(model, rotors, r, e, out, at, speed, crank):
    """What `carrier_rates` gives, also of a crank whose throws twist."""
    if rotors is None:
        return carrier_rates(model, r, e, out, at, speed, crank)
    if rotors.throws == 0:
        return carrier_rates(model, r, e, out, at, speed, crank)
    lx, ly, lz = without_rotors(model.carrier, out, rotors, out[at + 10], out[at + 11], out[at + 12])
    mass = model.bodies[model.carrier].mass + model.train.mass
    px, py, pz = out[at + 7], out[at + 8], out[at + 9]
    vx, vy, vz, wx, wy, wz = r[V], r[V + 1], r[V + 2], r[W], r[W + 1], r[W + 2]
    return rotor_accelerations(speed, out, model, rotors, e, mass, vx, vy, vz, wx, wy, wz, px, py, pz, lx, ly, lz)


@inner
def _pressures_of_one(theta, model, e, row):
    """What `_pressures` does where the whole crank has one angle."""
    total = 0.0
    for i in range(row.size):
        row[i] = pressure_at(i, theta, model.gas, e, GAS_)
        total += (row[i] - model.gas.ambient) * gas_lever(model.train.cylinders[i], theta)
    return total


@inner
def _pressures(theta, y, model, rotors, e, row):
    """Write the pressures (Pa) in the cylinders into row; torque (N m) of the gas on the crank, every throw at its own
    angle."""
    if rotors is None:
        return _pressures_of_one(theta, model, e, row)
    if rotors.throws == 0:
        return _pressures_of_one(theta, model, e, row)
    total = 0.0
    for n in range(1, 1 + rotors.throws):
        angle = part_angle(n, y, rotors)
        for i in range(rotors.parts[n].first_cylinder, rotors.parts[n].end_cylinder):
            k = rotors.order[i]
            row[k] = pressure_at(k, angle, model.gas, e, GAS_)
            total += (row[k] - model.gas.ambient) * gas_lever(rotors.cylinders[i], angle)
    return total


@inner
def _turning(model, rotors, rates, load):
    """Torque (N m) that turns the crank faster, with what it drives: load and shafts."""
    train = model.train
    if rotors is None:
        return train.rotor_inertia * rates[6] + train.rotor_momentum * rates[3] + load
    if rotors.throws == 0:
        return train.rotor_inertia * rates[6] + train.rotor_momentum * rates[3] - torque_on(0, rotors)
    total = 0.0
    for n in range(1 + rotors.throws):
        part = rotors.parts[n]
        total += part.inertia * rotors.work[n, RATE] + part.momentum * rates[3] - torque_on(n, rotors)
    return total


@inner
def _load_now(y, speed, model, rotors, w, e):
    if rotors is None:
        return output_torque(speed, model, model.air, e)
    return output_torque(load_speed(y, speed, model, rotors, w), model, model.air, e)


@inner
def _observe_rotors(y, speed, rotors, row):
    """Speeds of rotors, torques and twists of shafts, one after the other."""
    if rotors is not None:
        parts, shafts = rotors.parts.size, rotors.shafts.size
        for n in range(parts):
            row[n] = rotors.work[n, SPEED]
        row[0] = speed
        for n in range(shafts):
            row[parts + n], row[parts + shafts + n] = rotors.torques[n], y[rotors.shafts[n].state]


@inner
def _plain_rates(model, b, out, at):
    body = model.bodies[b]
    i = 1.0 / body.mass
    lx, ly, lz = without_rotors(b, out, model.rotors, out[at + 10], out[at + 11], out[at + 12])
    return (
        out[at + 7] * i,
        out[at + 8] * i,
        out[at + 9] * i,
        body.inverse_xx * lx + body.inverse_xy * ly + body.inverse_xz * lz,
        body.inverse_xy * lx + body.inverse_yy * ly + body.inverse_yz * lz,
        body.inverse_xz * lx + body.inverse_yz * ly + body.inverse_zz * lz,
        0.0,
    )


@inner
def _point_acceleration(r, a, p, out):
    """Acceleration (vehicle axes) of a body's point p (own axes); a = (v̇, ω̇) in own axes."""
    wx, wy, wz = r[W], r[W + 1], r[W + 2]
    ux = r[V] + wy * p[2] - wz * p[1]
    uy = r[V + 1] + wz * p[0] - wx * p[2]
    uz = r[V + 2] + wx * p[1] - wy * p[0]
    fx = a[0] + a[4] * p[2] - a[5] * p[1] + wy * uz - wz * uy
    fy = a[1] + a[5] * p[0] - a[3] * p[2] + wz * ux - wx * uz
    fz = a[2] + a[3] * p[1] - a[4] * p[0] + wx * uy - wy * ux
    for k in range(3):
        out[k] = r[3 * k] * fx + r[3 * k + 1] * fy + r[3 * k + 2] * fz


@inlined
def _observe_air(y, at, speed, air, e, row):
    if air is not None:
        see_air(y, at, speed, air, e, GAS_, row)


@released_bare
def _observe(
    states,
    model,
    work,
    sensor_body,
    sensor_point,
    torque,
    pressure,
    force,
    deflection,
    moment,
    velocity,
    acceleration,
    feel,
    air,
    turning,
):
    """Fill the output arrays from states (n, state); torque (n, 7): speed, gas, inertia, load, friction, accessory
    with the charger's, starter; air (n, SEEN) of the air path; turning (n, rotors + 2 shafts)."""
    bodies, crank = model.bodies.size, states.shape[1] - 2
    w, e, out, origin, rates = work
    for n in range(states.shape[0]):
        y = states[n]
        derivatives(y, model, w, e, out)
        speed, theta = out[crank], y[crank]
        for b in range(bodies):
            at, r = STATES_PER_BODY * b, w[b]
            if b == model.carrier:
                solved = _rates_with_rotors(model, model.rotors, r, e, out, at, speed, crank)
            else:
                solved = _plain_rates(model, b, out, at)
            for k in range(7):
                rates[b, k] = solved[k]
            laden_rates(b, out, model.parts, rates)
            for k in range(3):
                velocity[n, b, k] = out[at + k]
            _point_acceleration(r, rates[b], origin, acceleration[n, b])
        for m in range(sensor_body.size):
            _point_acceleration(w[sensor_body[m]], rates[sensor_body[m]], sensor_point[m], feel[n, m])
        for m in range(model.mounts.size):
            if not model.mounts[m].special:
                for k in range(3):
                    force[n, m, k], deflection[n, m, k] = w[bodies + m, k], w[bodies + m, 3 + k]
        for m in range(model.mounts.size):
            if not model.mounts[m].special:
                continue
            special_mounts(model.mounts, model.mount_numbers, y, w, out, speed, m, False)
            for k in range(3):
                force[n, m, k], deflection[n, m, k] = w[0, HELD + k], w[0, HELD + 6 + k]
            if model.mounts[m].torsion:
                for k in range(3):
                    moment[n, m, k] = w[0, MOMENT + k]
        gas = _pressures(theta, y, model, model.rotors, e, pressure[n])
        load = _load_now(y, speed, model, model.rotors, w, e)
        load += drive_torque(model.drive, e, DRIVE_)
        starter = starter_torque(model.drive, e, DRIVE_)
        friction = friction_now(speed, model, e)
        losses = loss_torque(speed, model, e) + charger_torque(model.air, e)
        _observe_air(y, model.air_at, speed, model.air, e, air[n])
        driven = load
        if model.carrier >= 0:
            driven = _turning(model, model.rotors, rates[model.carrier], load)
        _observe_rotors(y, speed, model.rotors, turning[n])
        torque[n, 0], torque[n, 1], torque[n, 2] = speed, gas, driven - gas + losses - starter
        torque[n, 3], torque[n, 4], torque[n, 5], torque[n, 6] = load, friction, losses - friction, starter


def observe(states: np.ndarray, packed: Packed, sensors: tuple[Sensor, ...]) -> Observed:
    """Output quantities at states (n, state)."""
    model, points = packed.model, len(states)
    bodies, mounts = len(packed.names), model.mounts.size
    cylinders = model.train.cylinders.size
    torque, pressure = np.empty((points, 7)), np.empty((points, cylinders))
    force, deflection = np.empty((points, mounts, 3)), np.empty((points, mounts, 3))
    twisted = bool(np.any(model.mounts["torsion"]))
    moment = np.zeros((points if twisted else 0, mounts, 3))
    velocity, acceleration = np.empty((points, bodies, 3)), np.empty((points, bodies, 3))
    feel = np.empty((points, len(sensors), 3))
    air = np.zeros((points, 0 if model.air is None else len(SEEN)))
    body, point = _sensor_places(packed, sensors)
    rotors, shafts = _rotor_counts(packed)
    turning = np.empty((points, rotors + 2 * shafts))
    work = (*scratch(bodies + mounts), np.zeros(packed.state_size), np.zeros(3), np.zeros((bodies, 7)))
    _observe(
        states,
        model,
        work,
        body,
        point,
        torque,
        pressure,
        force,
        deflection,
        moment,
        velocity,
        acceleration,
        feel,
        air,
        turning,
    )
    parts = see_parts(states, packed)
    parts |= see_clutch(states, packed, turning[:, :rotors], turning[:, rotors : rotors + shafts])
    feel_elastic(states, packed, sensors, feel)
    for n, sensor in enumerate(sensors):
        occupant = packed.felt_on(sensor.body)[1]
        if occupant >= 0:
            feel[:, n, 2] = parts["occupant_acceleration"][:, occupant]
    displaced, turned = _moved(states, packed)
    return Observed(
        crank_angle=states[:, -2].copy(),
        crank_speed=torque[:, 0],
        gas_torque=torque[:, 1],
        inertia_torque=torque[:, 2],
        load_torque=torque[:, 3],
        friction_torque=torque[:, 4],
        accessory_torque=torque[:, 5] if packed.accessories else None,
        cylinder_pressure=pressure,
        mount_force=force,
        mount_deflection=deflection,
        mount_moment=moment if twisted else None,
        body_displacement=displaced,
        body_velocity=velocity,
        body_acceleration=acceleration,
        body_rotation=turned,
        sensor_acceleration=feel,
        air=None if model.air is None else seen_by_name(air, model.air),
        parts=parts,
        rotor_speed=turning[:, :rotors] if rotors else None,
        shaft_torque=turning[:, rotors : rotors + shafts] if rotors else None,
        shaft_twist=turning[:, rotors + shafts :] if rotors else None,
        **(packed.starter.seen(torque[:, 6], torque[:, 0]) if packed.starter is not None else {}),
    )


def _moved(states: np.ndarray, packed: Packed) -> tuple[np.ndarray, np.ndarray]:
    """Displacements and rotation vectors (n, bodies, 3) from the drawn places, column by column: NumPy is slow where
    the innermost axis is a short one."""
    displaced, turned = (np.empty((len(states), len(packed.names), 3)) for _ in range(2))
    for b, centre in enumerate(packed.centres):
        place = np.asfortranarray(states[:, STATES_PER_BODY * b : STATES_PER_BODY * b + 7])
        for k in range(3):
            np.subtract(place[:, k], centre[k], out=displaced[:, b, k])
        back = conjugate(quaternion_of_matrix(packed.axes[b]))
        turned[:, b] = rotation_vectors(multiply(place[:, 3:], back))
    return displaced, turned


def _rotor_counts(packed: Packed) -> tuple[int, int]:
    rotors = packed.model.rotors
    return (0, 0) if rotors is None else (rotors.parts.size, rotors.shafts.size)


def joined(*pieces: Observed) -> Observed:
    """What several stretches give, one after the other, as one record."""
    found: dict[str, Any] = {}
    for item in fields(Observed):
        parts = [getattr(piece, item.name) for piece in pieces]
        if isinstance(parts[0], dict):
            found[item.name] = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
        else:
            found[item.name] = None if parts[0] is None else np.concatenate(parts)
    return Observed(**found)


def _sensor_places(packed: Packed, sensors: tuple[Sensor, ...]) -> tuple[np.ndarray, np.ndarray]:
    body = np.array([packed.felt_on(sensor.body)[0] for sensor in sensors], dtype=np.int64)
    point = np.zeros((len(sensors), 3))
    for n, sensor in enumerate(sensors):
        b = body[n]
        point[n] = packed.axes[b].T @ (np.array(sensor.at) - packed.centres[b])
    return body, point
