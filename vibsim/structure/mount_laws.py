"""The mount laws that need more than rates: numbers of their own, states of their own, or the crank speed.

m is the mount's record; its numbers begin at numbers[m.numbers], in the order that each law says; its states at
y[m.state], their rates go into `out` there. The mount in hand is in row 0 of the work table w: deflection (m) from
column D, its rate (m/s) from DV, force (N) on the second body from DF, all along the mount's axes x, y, z. A law adds
its force to that of spring and damper, which is there already.
"""

from __future__ import annotations

import math

from vibsim.jit import inner

D, DV, DF = 21, 24, 27
STOPS = 5  # numbers of a pair of stops
FRICTION_NUMBERS, PLATE = 3, 6


@inner
def stops(numbers, at, d):
    """Force (N) of two stops at a deflection d (m). Numbers: where the lower begins, its stiffness, the upper's, onset.

    The stiffness comes on as 3s² − 2s³ over the onset, s = depth/onset, so the force begins as the third power and is
    twice continuously differentiable (derived: its integral).
    """
    force, onset = 0.0, numbers[at + 4]
    for side in range(2):
        sign = 1.0 - 2.0 * side
        depth, stiffness = sign * (numbers[at + 2 * side] - d), numbers[at + 2 * side + 1]
        if depth >= onset:
            force += sign * stiffness * (depth - 0.5 * onset)
        elif depth > 0.0:
            s = depth / onset
            force += sign * stiffness * onset * s * s * s * (1.0 - 0.5 * s)
    return force


@inner
def bump_stop(m, numbers, w):
    """Two stops along each axis. Numbers: those of `stops` for x, y and z."""
    for k in range(3):
        w[0, DF + k] += stops(numbers, m.numbers + STOPS * k, w[0, D + k])


@inner
def torque_rod(m, numbers, w):
    """Spring, damper and stops along the line from the first point to the second, D the whole vector between them.

    Numbers: length as drawn (m), stiffness (N/m), damping rate (N s/m), those of `stops` for its elongation.
    """
    at = m.numbers
    length = math.sqrt(w[0, D] * w[0, D] + w[0, D + 1] * w[0, D + 1] + w[0, D + 2] * w[0, D + 2])
    rate = (w[0, D] * w[0, DV] + w[0, D + 1] * w[0, DV + 1] + w[0, D + 2] * w[0, DV + 2]) / length
    longer = length - numbers[at]
    pull = stops(numbers, at + 3, longer) - numbers[at + 1] * longer - numbers[at + 2] * rate
    for k in range(3):
        w[0, DF + k] += pull * w[0, D + k] / length


@inner
def relaxation(m, numbers, y, out, w):
    """Generalised Maxwell model (Tschoegl 1989, ch. 3, from memory): along each axis springs k_j to dampers at z_j,
    ż_j = (d − z_j)/τ_j, force −Σ k_j·(d − z_j).

    Numbers: elements n, 1/τ (n), springs of x, y and z (3n). States: places z of the dampers, of x, y and z (3n).
    """
    n, at = int(numbers[m.numbers]), m.numbers + 1
    for k in range(3):
        for j in range(n):
            state = m.state + n * k + j
            stretch = w[0, D + k] - y[state]
            out[state] = stretch * numbers[at + j]
            w[0, DF + k] -= numbers[at + n * (k + 1) + j] * stretch


@inner
def friction(m, numbers, y, out, w):
    """Bouc–Wen element along each axis: ż = v·(1 − ½·(1 + sign(v·z))·|z/u|ⁿ), force −k·z (Wen 1976, with A = 1 and
    β = γ, from memory): it yields while pushed on and springs back with its first stiffness.

    Numbers: k, u, n of x, y and z. States: z (m) of x, y and z.
    """
    for k in range(3):
        at, state, v = m.numbers + FRICTION_NUMBERS * k, m.state + k, w[0, DV + k]
        z = y[state]
        out[state] = v
        if v * z > 0.0:
            share = abs(z) / numbers[at + 1]
            out[state] = v * (1.0 - (share if numbers[at + 2] == 1.0 else share ** numbers[at + 2]))
        w[0, DF + k] -= numbers[at] * z


@inner
def hydraulic(m, numbers, y, out, w):
    """Fluid pumped along z through a track and past a decoupler (form: Singh, Kim and Ravindra 1992, from memory).

    Numbers: piston area A, 1/C₁, 1/C₂ of the upper and lower chamber, 1/I of the track, its R and its R₂; then the
    decoupler's: 1/R (0: there is none), those of `stops` for the volume past it (m³, Pa/m³), and the share by which R
    rises per pressure (1/Pa) on its seat, as the gap there closes.
    States: volume and flow through the track, volume past the decoupler. With V all that left the upper chamber,
    p₁ = (A·z − V)/C₁, p₂ = V/C₂, I·q̇ = p₁ − p₂ − R·q − R₂·q|q|; the plate has no mass; force −A·p₁.
    """
    at, state = m.numbers, m.state
    flow, past = y[state + 1], y[state + 2]
    moved = y[state] + past
    upper = (numbers[at] * w[0, D + 2] - moved) * numbers[at + 1]
    fall = upper - moved * numbers[at + 2]
    out[state] = flow
    out[state + 1] = (fall - (numbers[at + 4] + numbers[at + 5] * abs(flow)) * flow) * numbers[at + 3]
    out[state + 2] = 0.0
    if numbers[at + PLATE] > 0.0:
        seat = stops(numbers, at + PLATE + 1, past)
        out[state + 2] = (fall + seat) * numbers[at + PLATE] / (1.0 + numbers[at + PLATE + STOPS + 1] * abs(seat))
    w[0, DF + 2] -= numbers[at] * upper


@inner
def interval(numbers, at, count, x):
    """Index of the place at or below x among `count` from `at`; the last interval's for all beyond."""
    low, high = 0, count - 1
    while high - low > 1:
        middle = (low + high) // 2
        if numbers[at + middle] <= x:
            low = middle
        else:
            high = middle
    return low


@inner
def curve(numbers, at, count, values, low, x):
    """Value at x, in the interval `low`, of a piecewise cubic: places from `at`, values from `values`, slopes after
    these; straight beyond its ends with the end's slope."""
    high = low + 1
    if x <= numbers[at] or x >= numbers[at + count - 1]:
        end = 0 if x <= numbers[at] else count - 1
        return numbers[values + end] + numbers[values + count + end] * (x - numbers[at + end])
    h = numbers[at + high] - numbers[at + low]
    s = (x - numbers[at + low]) / h
    rise, rest = numbers[values + high] - numbers[values + low], 1.0 - s
    first, second = numbers[values + count + low] * h - rise, rise - numbers[values + count + high] * h
    return numbers[values + low] + s * (rise + rest * (rest * first + s * second))


@inner
def table(m, numbers, w):
    """Measured curves. Numbers: points n of x, y and z (0: none), then places, forces and slopes (n each) per axis."""
    at = m.numbers + 3
    for k in range(3):
        n = int(numbers[m.numbers + k])
        if n > 0:
            d = w[0, D + k]
            w[0, DF + k] -= curve(numbers, at, n, at + n, interval(numbers, at, n, d), d)
        at += 3 * n


@inner
def scheduled(m, numbers, speed, w):
    """Spring and damper along each axis whose rates follow the crank speed, held beyond the ends of the table.

    Numbers: points n, speeds (n), then values and slopes (2n) of the stiffness along x, y, z and of the damping.
    """
    n, at = int(numbers[m.numbers]), m.numbers + 1
    s = min(max(abs(speed), numbers[at]), numbers[at + n - 1])
    low = interval(numbers, at, n, s)
    for k in range(3):
        w[0, DF + k] -= curve(numbers, at, n, at + n * (1 + 2 * k), low, s) * w[0, D + k]
        w[0, DF + k] -= curve(numbers, at, n, at + n * (7 + 2 * k), low, s) * w[0, DV + k]


@inner
def rest_relaxation(m, numbers, y, w):
    """At rest no element of the chain is stretched."""
    n = int(numbers[m.numbers])
    for k in range(3):
        for j in range(n):
            y[m.state + n * k + j] = w[0, D + k]


@inner
def rest_hydraulic(m, numbers, y, w):
    """At rest both chambers have one pressure, nothing flows, the plate floats in the middle."""
    at = m.numbers
    share = numbers[at + 1] / (numbers[at + 1] + numbers[at + 2])
    y[m.state], y[m.state + 1], y[m.state + 2] = numbers[at] * w[0, D + 2] * share, 0.0, 0.0
