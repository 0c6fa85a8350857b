"""What `vibsim modes` prints of shapes."""

import numpy as np

from vibsim.show.modes_tables import _moving


def test_shapes_name_the_bodies_that_move_alone():
    shape = np.zeros((3, 6), dtype=complex)
    shape[0, 2], shape[2, 4] = 0.019, -1.0
    assert _moving(["block", "frame", "wheel"], shape) == [("wheel", ["·", "·", "·", "·", "-1.00", "·"])]


def test_a_shape_that_moves_no_body_keeps_a_row():
    assert [body for body, _ in _moving(["block", "frame"], np.zeros((2, 6), dtype=complex))] == ["block"]
