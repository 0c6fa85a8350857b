"""The compressor map as a picture: speed lines, surge line and operating points where the numbers say."""

from __future__ import annotations

import math

import numpy as np
import pytest
from matplotlib.image import imread

from vibsim.engine.charging.compressor import compressor_ratio
from vibsim.engine.charging.generic_map import generic_compressor
from vibsim.show.compressor_figures import draw_compressor_map, draw_map
from vibsim.show.style import new_figure

TOP = 120e3 * math.pi / 30.0
COMPRESSOR = generic_compressor()
FLOW, RATIO = np.array([0.02, 0.04, 0.06]), np.array([1.34, 1.34, 1.34])


def test_lines_stand_where_the_map_has_them():
    axes = new_figure(6.0, 4.0, "").add_subplot()
    draw_map(axes, COMPRESSOR, [("full load", FLOW, RATIO)], TOP)
    labelled = {line.get_label(): line for line in axes.lines}
    flow, ratio = labelled["full load"].get_data()
    np.testing.assert_array_equal([flow, ratio], [FLOW, RATIO])
    flow, ratio = labelled["surge line"].get_data()
    at_surge = compressor_ratio(TOP, flow[-1], 1e5, 298.15, COMPRESSOR)
    assert ratio[-1] == pytest.approx(at_surge.ratio, rel=1e-9)
    assert {"40", "60", "80", "100", "120"} <= {text.get_text() for text in axes.texts}


@pytest.mark.parametrize("points", [[], [("full load", FLOW, RATIO), ("load step", FLOW[:1], RATIO[:1])]])
def test_the_picture_is_written(points, tmp_path):
    path = draw_compressor_map(COMPRESSOR, points, "generic map $ 45 mm", tmp_path / "map.png")
    assert imread(path).shape[:2] == (660, 900)
