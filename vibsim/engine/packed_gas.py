"""Pressure curves packed for the solver, and the pressure read from them at a crank angle."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from vibsim.engine.node_grid import AXIS, WEIGHTS, Nodes, count, fill_weights
from vibsim.jit import apart, inner, kernel

# which curve a cylinder follows, the crank angle (rad) of its firing top dead centre, and where its first row of shares
# begins
CHARGE = np.dtype([("curve", np.int64), ("firing", float), ("begins", float)])
HINTS = 1024
BLEND = 1.0 / 24.0  # of a cycle: 30 degrees of a four-stroke


class Gas(NamedTuple):
    """Packed pressure curves at nodes of crank speed, intake and exhaust pressure, between them smooth.

    `coefficients` (curves, segments, nodes, 4) Pa; `intake` and `exhaust` Pa where no state of the run gives them.
    `unfired` (as `coefficients`, or no curves) is the same with nothing burned, `shares` (cycles, cylinders) what part
    of the difference acts in each cycle, none of them all of it; see `burning_share`.
    """

    active: bool
    charges: np.ndarray
    cycle: float
    ambient: float
    nodes: Nodes
    intake: float
    exhaust: float
    breaks: np.ndarray
    hint: np.ndarray
    coefficients: np.ndarray
    unfired: np.ndarray
    shares: np.ndarray


@inner
def pressure_at(i, theta, gas, e, at):
    """Absolute pressure (Pa) in cylinder `i` at crank angle `theta` (rad) under the weights in e[at : at + WEIGHTS]."""
    if not gas.active:
        return gas.ambient
    turned = (theta - gas.charges[i].firing) / gas.cycle
    turned -= math.floor(turned)
    local, k = turned * gas.cycle, gas.charges[i].curve
    segment = gas.hint[k, min(int(turned * HINTS), HINTS - 1)]
    while segment < gas.breaks.shape[1] - 2 and local >= gas.breaks[k, segment + 1]:
        segment += 1
    x = local - gas.breaks[k, segment]
    if gas.coefficients.shape[2] > 1 or gas.shares.shape[0] > 0:
        return _mixed(i, theta, k, segment, x, gas, e, at)
    high = gas.coefficients[k, segment, 0, 2] + x * gas.coefficients[k, segment, 0, 3]
    return gas.coefficients[k, segment, 0, 0] + x * (gas.coefficients[k, segment, 0, 1] + x * high)


@apart
def _mixed(i, theta, k, segment, x, gas, e, at):
    """Pressure at a place in a segment of curve k where there are several nodes, or shares."""
    fired = _cubic(gas.coefficients, k, segment, x, gas.nodes, e, at)
    if gas.shares.shape[0] == 0:
        return fired
    share = burning_share(i, theta, gas)
    return share * fired + (1.0 - share) * _cubic(gas.unfired, k, segment, x, gas.nodes, e, at)


@inner
def _cubic(c, k, segment, x, nodes, e, at):
    """The cubic with the coefficients of the nodes under their weights."""
    if c.shape[2] == 1:  # no weights are kept; just as one curve is read, to the last bit
        high = c[k, segment, 0, 2] + x * c[k, segment, 0, 3]
        return c[k, segment, 0, 0] + x * (c[k, segment, 0, 1] + x * high)
    c0, c1, c2, c3 = 0.0, 0.0, 0.0, 0.0
    for s in range(count(nodes.speeds)):
        for i in range(count(nodes.intakes)):
            row = (int(e[at]) + s) * nodes.intakes.size + int(e[at + AXIS]) + i
            first, both = row * nodes.exhausts.size + int(e[at + 2 * AXIS]), e[at + 1 + s] * e[at + AXIS + 1 + i]
            for b in range(count(nodes.exhausts)):
                weight = both * e[at + 2 * AXIS + 1 + b]
                c0 += weight * c[k, segment, first + b, 0]
                c1 += weight * c[k, segment, first + b, 1]
                c2 += weight * c[k, segment, first + b, 2]
                c3 += weight * c[k, segment, first + b, 3]
    return c0 + x * (c1 + x * (c2 + x * c3))


@inner
def burning_share(i, theta, gas):
    """Part of cylinder `i`'s burning that acts at crank angle `theta` (rad).

    A row of `gas.shares` holds from half a cycle before a firing to half a cycle after; after the last comes the first
    again. Over BLEND of a cycle either side of that, about the dead centre of gas exchange, it passes to the next
    without a jump in its slope (smoothstep).
    """
    turned, rows = (theta - gas.charges[i].begins) / gas.cycle, gas.shares.shape[0]
    row = math.floor(turned)
    rest = turned - row
    if rest < BLEND:
        t = 0.5 * (rest + BLEND) / BLEND
        row -= 1
    elif rest > 1.0 - BLEND:
        t = 0.5 * (rest - 1.0 + BLEND) / BLEND
    else:
        return gas.shares[row % rows, i]
    this = gas.shares[row % rows, i]
    return this + t * t * (3.0 - 2.0 * t) * (gas.shares[(row + 1) % rows, i] - this)


@kernel
def cylinder_pressures(angle, speed, gas):
    """Absolute pressures (n, cylinders) Pa at crank angles (n) rad and one crank speed (rad/s)."""
    found, e = np.empty((angle.size, gas.charges.size)), np.zeros(WEIGHTS)
    fill_weights(speed, gas.intake, gas.exhaust, gas.nodes, e, 0)
    for n in range(angle.size):
        for i in range(gas.charges.size):
            found[n, i] = pressure_at(i, angle[n], gas, e, 0)
    return found


@kernel
def cylinder_pressure(i, theta, speed, gas):
    """Absolute pressure (Pa) in cylinder `i` at crank angle `theta` (rad) and crank speed (rad/s)."""
    return cylinder_pressures(np.array([theta]), speed, gas)[0, i]
