"""Smooth interpolation between what is known at nodes of crank speed, intake pressure and exhaust pressure.

Along each axis a cubic runs between neighbouring nodes with the slope there of the parabola through a node and its
neighbours (derived; three-point differences), so that values are continuous with their slopes; two nodes are joined by
a straight line. Outside the nodes the value of the nearest holds.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from vibsim.jit import apart, bare, inner

STENCIL = 4  # most nodes along an axis that count at once
AXIS = 1 + STENCIL  # first of them, then their weights
WEIGHTS = 3 * AXIS


class Nodes(NamedTuple):
    """Ascending crank speeds (S) rad/s, intake pressures (I) Pa and exhaust pressures (B) Pa; node (s, i, b) has the
    index (s·I + i)·B + b."""

    speeds: np.ndarray
    intakes: np.ndarray
    exhausts: np.ndarray

    @property
    def size(self) -> int:
        return self.speeds.size * self.intakes.size * self.exhausts.size


def one_node(speed: float = 0.0, intake: float = 0.0, exhaust: float = 0.0) -> Nodes:
    return Nodes(np.array([float(speed)]), np.array([float(intake)]), np.array([float(exhaust)]))


@inner
def _bend(axis, n):
    """Weights of node n − 1, n and n + 1 in the slope at node n, 0 for what does not exist."""
    left, right = n > 0, n + 1 < axis.size
    if left and right:
        a, b = axis[n] - axis[n - 1], axis[n + 1] - axis[n]
        return -b / (a * (a + b)), (b - a) / (a * b), a / (b * (a + b))
    if right:
        return 0.0, -1.0 / (axis[n + 1] - axis[n]), 1.0 / (axis[n + 1] - axis[n])
    return -1.0 / (axis[n] - axis[n - 1]), 1.0 / (axis[n] - axis[n - 1]), 0.0


@apart
def fill_axis(value, axis, e, at):
    """Write the first node that counts and its and the next nodes' weights at `value` into e[at : at + AXIS]."""
    n = axis.size
    for k in range(AXIS):
        e[at + k] = 0.0
    if n == 1 or value <= axis[0]:
        e[at + 1] = 1.0
        return
    if value >= axis[n - 1]:
        first = max(n - STENCIL, 0)
        e[at], e[at + n - first] = first, 1.0
        return
    low = 0
    while value >= axis[low + 1]:
        low += 1
    first = min(max(low - 1, 0), max(n - STENCIL, 0))
    e[at] = first
    h = axis[low + 1] - axis[low]
    t = (value - axis[low]) / h
    base, k = t * t * (3.0 - 2.0 * t), at + 1 + low - first
    e[k] += 1.0 - base
    e[k + 1] += base
    before, own, after = _bend(axis, low)
    s = h * t * (1.0 - t) * (1.0 - t)
    if low > 0:
        e[k - 1] += s * before
    e[k] += s * own
    e[k + 1] += s * after
    before, own, after = _bend(axis, low + 1)
    s = -h * t * t * (1.0 - t)
    e[k] += s * before
    e[k + 1] += s * own
    if low + 2 < n:
        e[k + 2] += s * after


@bare
def fill_weights(speed, intake, exhaust, nodes, e, at):
    """Weights of the nodes at a crank speed (rad/s, its size counts), intake and exhaust pressure (Pa) into
    e[at : at + WEIGHTS]."""
    end = at + WEIGHTS  # a plain number: of `at` itself, a constant, fill_axis would be compiled once more
    fill_axis(abs(speed), nodes.speeds, e, end - 3 * AXIS)
    fill_axis(intake, nodes.intakes, e, end - 2 * AXIS)
    fill_axis(exhaust, nodes.exhausts, e, end - AXIS)


@inner
def count(axis):
    """How many nodes of an axis count at once."""
    return min(axis.size, STENCIL)


@inner
def node_count(nodes):
    """How many nodes there are in all."""
    return nodes.speeds.size * nodes.intakes.size * nodes.exhausts.size


@bare
def at_weights(table, column, nodes, e, at):
    """Value of a column of a table (nodes, columns) under the weights in e[at : at + WEIGHTS]."""
    total = 0.0
    for s in range(count(nodes.speeds)):
        for i in range(count(nodes.intakes)):
            row = (int(e[at]) + s) * nodes.intakes.size + int(e[at + AXIS]) + i
            for b in range(count(nodes.exhausts)):
                weight = e[at + 1 + s] * e[at + AXIS + 1 + i] * e[at + 2 * AXIS + 1 + b]
                total += weight * table[row * nodes.exhausts.size + int(e[at + 2 * AXIS]) + b, column]
    return total


def table_at(table: np.ndarray, speed: float, intake: float, exhaust: float, nodes: Nodes) -> np.ndarray:
    """Row (columns) of a table (nodes, columns) at a crank speed (rad/s), intake and exhaust pressure (Pa)."""
    e = np.zeros(WEIGHTS)
    fill_weights(speed, intake, exhaust, nodes, e, 0)
    return np.array([at_weights(table, column, nodes, e, 0) for column in range(table.shape[1])])
