"""How the output torque leaves the engine's body: by the tight run of a chain, or by shafts through a differential.

Derived. A sprocket of radius r turned about n by a torque T pulls its tight run with T/r; the run touches both
sprockets, and its pull acts along it on either body. The tight run lies where the sprocket's rim moves away from the
driven one: at n×d, d the way from sprocket to driven sprocket; on the other side in overrun. A body that carries a
differential takes the propeller shaft's torque from the engine's body and gives the axle's away.
"""

from __future__ import annotations

import math

import numpy as np

from vibsim.jit import apart, inlined
from vibsim.solver.mount_motion import add_force, add_moment, along, elastic_point_motion, point_motion
from vibsim.structure.attachments import push_modes

CHAIN, DIFFERENTIAL = range(2)

# one record: kind, body with the driven sprocket or the differential, body that takes the wheels' torque (−1 ground),
# attachment of the driven sprocket; torque at gearbox and axle per crank torque, driving and in overrun; radii (m);
# `way_` the sprocket's or propeller shaft's direction and `first_` its centre, own axes of the engine's body; `axle_`
# its direction and `second_` the driven sprocket's centre, own axes of the body that carries them
DRIVE = np.dtype(
    [(name, np.int64) for name in ("kind", "body", "reactor", "elastic")]
    + [(name, float) for name in ("gearbox", "gearbox_overrun", "axle", "axle_overrun", "radius", "driven_radius")]
    + [(f"{name}_{axis}", float) for name in ("way", "first", "axle", "second") for axis in "xyz"]
)


@inlined
def react_by_outlet(y, w, drive, numbers, carrier, torque, out):
    """Add what an output torque (N m, at the crank) does to the bodies, where the model has chain or differential."""
    if drive is not None:
        _react(y, w, drive, numbers, carrier, torque, out)


@apart
def _react(y, w, drive, numbers, carrier, torque, out):
    if drive[0].kind == CHAIN:
        _pull(y, w, drive, numbers, carrier, torque, out)
    else:
        _turn(w, drive, carrier, torque)


@inlined
def _turn(w, drive, carrier, torque):
    d = drive[0]
    shaft = torque * (d.gearbox if torque >= 0.0 else d.gearbox_overrun)
    axle = torque * (d.axle if torque >= 0.0 else d.axle_overrun)
    nx, ny, nz = along(carrier, d.way_x, d.way_y, d.way_z, w)
    ax, ay, az = along(d.body, d.axle_x, d.axle_y, d.axle_z, w)
    add_moment(carrier, -shaft * nx, -shaft * ny, -shaft * nz, w)
    add_moment(d.body, shaft * nx - axle * ax, shaft * ny - axle * ay, shaft * nz - axle * az, w)
    add_moment(d.reactor, axle * ax, axle * ay, axle * az, w)


@inlined
def _pull(y, w, drive, numbers, carrier, torque, out):
    d = drive[0]
    px, py, pz, _, _, _ = point_motion(carrier, d.first_x, d.first_y, d.first_z, y, w)
    qx, qy, qz, _, _, _ = elastic_point_motion(d.body, d.second_x, d.second_y, d.second_z, numbers, d.elastic, y, w)
    nx, ny, nz = along(carrier, d.way_x, d.way_y, d.way_z, w)
    dx, dy, dz = qx - px, qy - py, qz - pz
    beside = dx * nx + dy * ny + dz * nz
    ux, uy, uz = dx - beside * nx, dy - beside * ny, dz - beside * nz
    apart_by = math.sqrt(ux * ux + uy * uy + uz * uz)
    ux, uy, uz = ux / apart_by, uy / apart_by, uz / apart_by
    sine = (d.radius - d.driven_radius) / apart_by
    cosine = math.sqrt(1.0 - sine * sine) * (1.0 if torque >= 0.0 else -1.0)
    ex = cosine * (ny * uz - nz * uy) + sine * ux
    ey = cosine * (nz * ux - nx * uz) + sine * uy
    ez = cosine * (nx * uy - ny * ux) + sine * uz
    more = d.driven_radius - d.radius
    tx, ty, tz = dx + more * ex, dy + more * ey, dz + more * ez
    length = math.sqrt(tx * tx + ty * ty + tz * tz)
    tx, ty, tz = tx / length, ty / length, tz / length
    arm = nx * (ey * tz - ez * ty) + ny * (ez * tx - ex * tz) + nz * (ex * ty - ey * tx)
    pull = abs(torque * (d.gearbox if torque >= 0.0 else d.gearbox_overrun) / (d.radius * arm))
    fx, fy, fz = pull * tx, pull * ty, pull * tz
    add_force(carrier, y, w, px + d.radius * ex, py + d.radius * ey, pz + d.radius * ez, fx, fy, fz)
    add_force(d.body, y, w, qx, qy, qz, -fx, -fy, -fz)
    if d.elastic >= 0:
        push_modes(numbers, d.elastic, d.body, -fx, -fy, -fz, w, out)
    rx, ry, rz = d.driven_radius * ex, d.driven_radius * ey, d.driven_radius * ez
    add_moment(d.reactor, rz * fy - ry * fz, rx * fz - rz * fx, ry * fx - rx * fy, w)
