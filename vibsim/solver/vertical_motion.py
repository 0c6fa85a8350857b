"""Wheels, anti-roll bars and seated people in the equations of motion: forces on bodies, rates of their own states.

`parts` is `model.parts`, by itself so that a model without any compiles nothing of them. A part's force on a body and
that of the body on the part lie on one vertical line through the body's point, so they give no momentum and no moment.
"""

from __future__ import annotations

from vibsim.jit import apart, bare, inlined, inner
from vibsim.solver.mount_motion import V, add_force, point_motion
from vibsim.structure.rotation import matrix_entries
from vibsim.structure.vertical_parts import contact, road_under, suspension, tyre

MOST_SWEEPS, MOST_STEPS = 1000, 60
CLOSE = 1e-13  # m, to which wheels come to rest


@inlined
def add_parts(y, model, parts, w, out):
    """Add the forces of all parts to their bodies; the rates of their states into `out`."""
    if parts is not None:
        _add_parts(y, model.gravity, parts, w, out)


@inlined
def laden_velocities(y, parts, w):
    """Velocities of bodies that carry parts, whose mass differs by direction, into w."""
    if parts is not None:
        _laden(y, parts, w)


@inlined
def laden_rates(b, out, parts, rates):
    """Accelerations of a body that carries parts from the rates of its momenta, own axes, into `rates` (bodies, 7)."""
    if parts is not None and parts.laden[b]:
        for i in range(6):
            rates[b, i] = 0.0
            for j in range(6):
                rates[b, i] += parts.inverse[b, i, j] * out[13 * b + 7 + j]


@bare
def _laden(y, parts, w):
    for b in range(parts.laden.size):
        if not parts.laden[b]:
            continue
        for i in range(6):
            total = 0.0
            for j in range(6):
                total += parts.inverse[b, i, j] * y[13 * b + 7 + j]
            w[b, V + i] = total


@inlined
def set_laden_off(v, y, parts):
    """Momenta of bodies that carry parts, from speeds v (6 per body, vehicle axes), into y."""
    if parts is not None:
        _set_laden_off(v, y, parts)


@bare
def _set_laden_off(v, y, parts):
    for b in range(parts.laden.size):
        if not parts.laden[b]:
            continue
        at, n = 13 * b, 6 * b
        r = matrix_entries(y[at + 3], y[at + 4], y[at + 5], y[at + 6])
        for i in range(6):
            y[at + 7 + i] = 0.0
        for j in range(6):
            k, block = j % 3, n + 3 * (j // 3)
            own = r[k] * v[block] + r[3 + k] * v[block + 1] + r[6 + k] * v[block + 2]
            for i in range(6):
                y[at + 7 + i] += parts.mass[b, i, j] * own


@bare
def _add_parts(y, gravity, parts, w, out):
    out[parts.distance] = parts.road.speed
    ax, ay, az = parts.acceleration
    felt = gravity + az
    for n in range(parts.wheels.size):
        wheel = parts.wheels[n]
        px, py, pz, fx, fy, push, up, cx, cy, cz = wheel_forces(n, y, parts, w)
        out[wheel.state] = y[wheel.state + 1]
        out[wheel.state + 1] = (push - up) / wheel.mass - felt
        add_force(wheel.body, y, w, px, py, pz, -wheel.mass * ax, -wheel.mass * ay, up)
        add_force(wheel.body, y, w, cx, cy, cz, fx, fy, 0.0)
    for n in range(parts.bars.size):
        bar = parts.bars[n]
        first, second = parts.wheels[bar.first], parts.wheels[bar.second]
        ax1, ay1, az1, _, _, _ = point_motion(first.body, first.x, first.y, first.z, y, w)
        ax2, ay2, az2, _, _, _ = point_motion(second.body, second.x, second.y, second.z, y, w)
        force = bar.stiffness * ((y[first.state] - az1) - (y[second.state] - az2))
        out[first.state + 1] -= force / first.mass
        out[second.state + 1] += force / second.mass
        add_force(first.body, y, w, ax1, ay1, az1, 0.0, 0.0, force)
        add_force(second.body, y, w, ax2, ay2, az2, 0.0, 0.0, -force)
    for n in range(parts.occupants.size):
        person = parts.occupants[n]
        at = person.state
        x, yy, z, _, _, rate = point_motion(person.body, person.x, person.y, person.z, y, w)
        seat = contact(person.stiffness, person.damping, z - y[at], rate - y[at + 1])
        first = person.first_stiffness * (y[at + 2] - y[at]) + person.first_damping * (y[at + 3] - y[at + 1])
        second = person.second_stiffness * (y[at + 4] - y[at]) + person.second_damping * (y[at + 5] - y[at + 1])
        out[at], out[at + 2], out[at + 4] = y[at + 1], y[at + 3], y[at + 5]
        out[at + 1] = (seat + first + second) / person.frame - felt
        out[at + 3] = -first / person.first_mass - felt
        out[at + 5] = -second / person.second_mass - felt
        whole = person.frame + person.first_mass + person.second_mass
        add_force(person.body, y, w, x, yy, z, -whole * ax, -whole * ay, -seat)


@inner
def wheel_forces(n, y, parts, w):
    """Of wheel n: its place on the body, force of the road along X, Y, Z, force of the suspension up on the body, and
    where the tyre's foot holds the body, vehicle axes."""
    wheel = parts.wheels[n]
    px, py, pz, _, _, rate = point_motion(wheel.body, wheel.x, wheel.y, wheel.z, y, w)
    cx, cy, cz, u, v, _ = point_motion(wheel.body, wheel.foot_x, wheel.foot_y, wheel.foot_z, y, w)
    height, speed = y[wheel.state], y[wheel.state + 1]
    up, _ = suspension(wheel, height - pz, speed - rate)
    road, rise = road_under(parts.road, wheel.ahead, wheel.track, y[parts.distance])
    depth = road + wheel.height - height
    fx, fy, push = tyre(wheel, depth, rise - speed, cx - wheel.stand_x, cy - wheel.stand_y, u, v)
    return px, py, pz, fx, fy, push, up, cx, cy, cz


@inlined
def relax_parts(y, gravity, parts):
    """Write into y the heights that the parts come to rest at where the bodies are, unless they are frozen."""
    if parts is not None:
        _relax(y, gravity, parts)


@inner
def _place(body, px, py, pz, y):
    """Place (m) of a point of a body (own axes) in vehicle axes."""
    at = 13 * body
    r = matrix_entries(y[at + 3], y[at + 4], y[at + 5], y[at + 6])
    return (
        y[at] + r[0] * px + r[1] * py + r[2] * pz,
        y[at + 1] + r[3] * px + r[4] * py + r[5] * pz,
        y[at + 2] + r[6] * px + r[7] * py + r[8] * pz,
    )


@apart
def _relax(y, gravity, parts):
    if parts.frozen:
        return
    felt = gravity + parts.acceleration[2]
    for _ in range(MOST_SWEEPS):
        moved = 0.0
        for n in range(parts.wheels.size):
            moved = max(moved, _settle_wheel(n, felt, y, parts))
        if moved < CLOSE or parts.bars.size == 0:
            break
    for n in range(parts.occupants.size):
        person = parts.occupants[n]
        at, weight = person.state, max(felt, 0.0)
        whole = person.frame + person.first_mass + person.second_mass
        _, _, z = _place(person.body, person.x, person.y, person.z, y)
        y[at] = z - whole * weight / person.stiffness
        y[at + 2] = y[at] - person.first_mass * weight / person.first_stiffness
        y[at + 4] = y[at] - person.second_mass * weight / person.second_stiffness
        y[at + 1], y[at + 3], y[at + 5] = 0.0, 0.0, 0.0


@apart
def _settle_wheel(n, felt, y, parts):
    """Bring wheel n to rest, the others as they are: Newton's method within an interval that holds the height, whose
    force falls as it rises. Returns how far it went (m)."""
    wheel = parts.wheels[n]
    _, _, pz = _place(wheel.body, wheel.x, wheel.y, wheel.z, y)
    cx, cy, _ = _place(wheel.body, wheel.foot_x, wheel.foot_y, wheel.foot_z, y)
    road, _ = road_under(parts.road, wheel.ahead, wheel.track, y[parts.distance])
    begin = y[wheel.state]
    low, high = -1e9, 1e9
    y[wheel.state + 1] = 0.0
    for _ in range(MOST_STEPS):
        height = y[wheel.state]
        up, rate = suspension(wheel, height - pz, 0.0)
        depth = road + wheel.height - height
        _, _, push = tyre(wheel, depth, 0.0, cx - wheel.stand_x, cy - wheel.stand_y, 0.0, 0.0)
        force = push - up - wheel.mass * felt
        if depth > 0.0:
            rate += wheel.tyre_stiffness
        for k in range(parts.bars.size):
            bar = parts.bars[k]
            if n in (bar.first, bar.second):
                other = parts.wheels[bar.first + bar.second - n]
                _, _, oz = _place(other.body, other.x, other.y, other.z, y)
                force -= bar.stiffness * ((height - pz) - (y[other.state] - oz))
                rate += bar.stiffness
        if force > 0.0:
            low = height
        else:
            high = height
        trial = height + force / rate
        if not low <= trial <= high:
            trial = 0.5 * (low + high)
        y[wheel.state] = trial
        if abs(trial - height) < CLOSE:
            break
    return abs(y[wheel.state] - begin)
