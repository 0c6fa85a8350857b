"""Interpolation between traces over speed and load: exact at points, exact for what is linear, never beyond."""

from __future__ import annotations

import math
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from tests.traces import CYCLE, RPM, engine_of, invented, linear_map, linear_trace, write, write_folder
from vibsim.engine.packed_gas import cylinder_pressure
from vibsim.engine.pressure import Operating, pack_gas
from vibsim.engine.trace_map import breaks_in_speed, is_full_grid, weights
from vibsim.engine.traces import speed_nodes, trace_at
from vibsim.inputs.errors import InputError

GRID = [(rpm, load) for rpm in (1500.0, 3000.0, 4500.0) for load in (0.2, 0.6, 1.0)]
RAGGED = [(1500.0, 0.2), (1500.0, 1.0), (3000.0, 0.3), (3100.0, 0.9), (4500.0, 0.5), (4400.0, 1.0)]
GAS = {"source": "trace", "folder": "map"}


def _at(folder: Path, rpm: float, load: float) -> np.ndarray:
    engine, layout = engine_of(GAS)
    trace = trace_at(engine, layout, layout.cylinders[0], rpm * RPM, load, folder)
    assert trace.angles[0] == 0.0
    assert len(trace.angles) == 360
    return np.roll(trace.pressures, 180)  # from -360 degrees, as the files are


@pytest.mark.parametrize("points", [GRID, RAGGED], ids=["grid", "ragged"])
def test_measured_points_are_exact(points, tmp_path):
    write_folder(tmp_path / "map", {point: invented(10.0 * (n + 1)) for n, point in enumerate(points)})
    for number, (rpm, load) in enumerate(points):
        expected = invented(10.0 * (number + 1)).pressures
        # rounding of the interpolation's shares, of the largest peak
        np.testing.assert_allclose(_at(tmp_path, rpm, load), expected, rtol=0.0, atol=1e-4 * expected.max())


@pytest.mark.parametrize("points", [GRID, RAGGED], ids=["grid", "ragged"])
def test_what_is_linear_in_speed_and_load_is_exact(points, tmp_path):
    write_folder(tmp_path / "map", linear_map(points))
    for rpm, load in ((2000.0, 0.5), (3333.0, 0.77), (4200.0, 0.6)):
        expected = linear_trace(rpm, load).pressures
        np.testing.assert_allclose(_at(tmp_path, rpm, load), expected, rtol=1e-9)


def test_bilinear_inside_a_cell():
    # derived: the shares of the four corners of a unit cell are the products of the distances to the opposite sides
    points = np.array([(100.0, 0.0), (100.0, 1.0), (200.0, 0.0), (200.0, 1.0)])
    np.testing.assert_allclose(weights(points, 125.0, 0.4, ""), [0.75 * 0.6, 0.75 * 0.4, 0.25 * 0.6, 0.25 * 0.4])


@pytest.mark.parametrize("points", [GRID, RAGGED], ids=["grid", "ragged"])
def test_shares_are_straight_between_the_breaks_in_speed(points):
    table = np.array(points)
    breaks = breaks_in_speed(table, 0.6)
    assert is_full_grid(table) == (points is GRID)
    for low, high in pairwise(breaks):
        ends = [weights(table, speed, 0.6, "") for speed in (low, high)]
        between = weights(table, 0.7 * low + 0.3 * high, 0.6, "")
        np.testing.assert_allclose(between, 0.7 * ends[0] + 0.3 * ends[1], atol=1e-12)
    for outside in (breaks[0] - 1.0, breaks[-1] + 1.0):
        with pytest.raises(InputError):
            weights(table, outside, 0.6, "")


def test_solver_curves_follow_the_map_between_nodes(tmp_path):
    write_folder(tmp_path / "map", linear_map(RAGGED))
    engine, layout = engine_of(GAS)
    nodes = speed_nodes(engine, layout, 3000.0 * RPM, 0.6, tmp_path)
    gas = pack_gas(engine, layout, [Operating(node, 0.6, tmp_path) for node in nodes])
    for rpm in (1700.0, 2900.0, 4100.0):
        expected = linear_trace(rpm, 0.6)
        for n in (150, 185, 190, 300):
            found = cylinder_pressure(0, expected.angles[n] + 3.0 * CYCLE, rpm * RPM, gas)
            assert found == pytest.approx(expected.pressures[n], rel=1e-9)


def test_a_cylinder_may_have_its_own_rows(tmp_path):
    cylinders = [
        {"name": str(n + 1), "pin_deg": 120.0 * n, "at_mm": 80.0 * n, "fires_at_deg": 240.0 * n} for n in range(3)
    ]
    write(tmp_path / "map" / "all.csv", invented(30.0))
    write(tmp_path / "map" / "third.csv", invented(60.0))
    (tmp_path / "map" / "index.csv").write_text(
        "file,speed_rpm,load,cylinder\nall.csv,3000,1,\nthird.csv,3000,1,3\n", encoding="utf-8"
    )
    engine, layout = engine_of(GAS, cylinder=cylinders)
    gas = pack_gas(engine, layout, [Operating(3000.0 * RPM, 1.0, tmp_path)])
    assert gas.charges["curve"].tolist() == [0, 0, 1]
    for index, peak in enumerate((30.0, 30.0, 60.0)):
        angle = layout.cylinders[index].firing + math.radians(14.0)
        found = cylinder_pressure(index, angle, 3000.0 * RPM, gas)
        assert found == pytest.approx(invented(peak).pressures.max(), rel=1e-9)


@pytest.mark.parametrize(
    ("points", "rpm", "load", "words"),
    [
        (GRID, 6500.0, 0.6, "6500 rpm at load 0.6 is not measured; at that load the traces cover 1500 to 4500 rpm"),
        (GRID, 1000.0, 0.6, "1000 rpm at load 0.6 .* 1500 to 4500 rpm"),
        (GRID, 3000.0, 0.1, "3000 rpm at load 0.1 is not measured; the traces cover load 0.2 to 1"),
        (RAGGED, 4400.0, 0.3, "at that load the traces cover 1500 to 3000 rpm"),
        ([(3000.0, 0.5), (3000.0, 1.0)], 3300.0, 0.7, "the traces cover 3000 rpm alone"),
        ([(3000.0, 1.0), (4000.0, 1.0)], 3300.0, 0.7, "the traces cover load 1 alone"),
        ([(1000.0, 0.1), (2000.0, 0.2), (3000.0, 0.3)], 2000.0, 0.2, "lie on one slanting line"),
    ],
)
def test_outside_the_measured_range(points, rpm, load, words, tmp_path):
    write_folder(tmp_path / "map", linear_map(points))
    with pytest.raises(InputError, match=words):
        _at(tmp_path, rpm, load)


def test_one_speed_or_one_load_is_a_grid(tmp_path):
    write_folder(tmp_path / "map", linear_map([(3000.0, 0.5), (3000.0, 1.0)]))
    np.testing.assert_allclose(_at(tmp_path, 3000.0, 0.7), linear_trace(3000.0, 0.7).pressures, rtol=1e-9)
