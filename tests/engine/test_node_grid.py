"""Interpolation between nodes: it meets them, is smooth, exact for straight lines, and its error falls as it should."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vibsim.engine.node_grid import WEIGHTS, Nodes, fill_weights, one_node, table_at

NODES = Nodes(np.array([50.0, 120.0, 160.0, 300.0, 500.0]), np.array([3e4, 5e4, 8e4, 1e5, 1.4e5]), np.array([1e5, 2e5]))
MESH = np.stack(np.meshgrid(*NODES, indexing="ij"), axis=-1).reshape(-1, 3)
rng = np.random.default_rng(5)
TABLE = rng.normal(size=(NODES.size, 2))
speeds, intakes, exhausts = st.floats(20.0, 600.0), st.floats(2e4, 1.6e5), st.floats(0.5e5, 2.5e5)


def test_nodes_are_met():
    for row, node in zip(TABLE, MESH, strict=True):
        assert table_at(TABLE, *node, NODES) == pytest.approx(row, abs=1e-13)
    assert table_at(TABLE[:1], 1.0, 2.0, 3.0, one_node()) == pytest.approx(TABLE[0], abs=0.0)


@given(speed=speeds, intake=intakes, exhaust=exhausts)
def test_weights_add_up_and_planes_are_exact(speed, intake, exhaust):
    """Law: three-point differences are exact for straight lines, so that planes are met, held outside the nodes."""
    e = np.zeros(WEIGHTS)
    fill_weights(speed, intake, exhaust, NODES, e, 0)
    for at in (0, 5, 10):
        assert e[at + 1 : at + 5].sum() == pytest.approx(1.0, abs=1e-13)
    inside = [
        float(np.clip(value, axis[0], axis[-1])) for value, axis in zip((speed, intake, exhaust), NODES, strict=True)
    ]
    plane = (MESH @ [0.02, 3e-5, -2e-5])[:, None]
    assert table_at(plane, speed, intake, exhaust, NODES)[0] == pytest.approx(
        np.dot(inside, [0.02, 3e-5, -2e-5]), rel=1e-11
    )


def test_slopes_do_not_jump_at_nodes():
    for node in NODES.speeds[1:-1]:
        sides = [
            (table_at(TABLE, node + h, 6e4, 1.5e5, NODES) - table_at(TABLE, node, 6e4, 1.5e5, NODES)) / h
            for h in (-1e-6, 1e-6)
        ]
        assert sides[0] == pytest.approx(sides[1], abs=1e-5 * np.abs(TABLE).max())


def test_error_falls_with_the_cube_of_the_spacing():
    """Method: slopes by three-point differences are of second order, so values inside are of third or better."""

    def worst(points):
        nodes = Nodes(np.linspace(0.0, 1.0, points), np.zeros(1), np.zeros(1))
        table, at = np.sin(3.0 * nodes.speeds)[:, None], np.linspace(0.4, 0.6, 57)
        return max(abs(table_at(table, x, 0.0, 0.0, nodes)[0] - np.sin(3.0 * x)) for x in at)

    assert worst(41) < worst(21) / 7.0
