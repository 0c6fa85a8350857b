"""Compressor maps: their own points, inverses, edges and flags, and an interpolation written a second time in SciPy."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from tests.engine.charging import maps
from vibsim.engine.charging.air import EXPONENT, HEAT_CAPACITY
from vibsim.engine.charging.compressor import (
    CHOKE,
    FAST,
    SLOW,
    SURGE,
    compressor_flow,
    compressor_ratio,
    compressor_speed,
    flag_words,
    map_line,
)
from vibsim.engine.charging.compressor_map import Compressor, read_map
from vibsim.engine.charging.generic_map import generic_compressor
from vibsim.inputs.errors import InputError

RPM = math.pi / 30.0
T, P = maps.TEMPERATURE, maps.PRESSURE
GENERIC = generic_compressor()


@pytest.fixture(scope="module")
def measured(tmp_path_factory: pytest.TempPathFactory) -> Compressor:
    return read_map(maps.write_map(tmp_path_factory.mktemp("map") / "map.csv"), T, P)


def test_a_map_meets_its_own_points(measured):
    # roots are found to 1e-14 of a node interval; near choke flow changes little with ratio
    for speed, flow, ratio, efficiency in maps.rows():
        at_ratio = compressor_flow(speed * RPM, ratio, P, T, measured)
        assert at_ratio.mass_flow == pytest.approx(flow, rel=1e-9)
        assert at_ratio.efficiency == pytest.approx(efficiency, rel=1e-9)
        at_flow = compressor_ratio(speed * RPM, flow, P, T, measured)
        assert at_flow.ratio == pytest.approx(ratio, rel=1e-10)
        assert at_ratio.flags == at_flow.flags == 0


def test_interpolation_equals_one_written_in_scipy(measured):
    """Independent: monotone cubics of each line by share, blended straight by speed, ratio met by Brent's method."""
    points = np.array(maps.rows())
    slow, fast = (points[points[:, 0] == speed] for speed in (65e3, 90e3))
    curves = []
    for line in (slow, fast):
        along = (line[:, 1] - line[0, 1]) / np.ptp(line[:, 1])
        share = 0.5 * (along + (line[0, 2] - line[:, 2]) / np.ptp(line[:, 2]))
        n = line[0, 0] / 110e3
        head = (line[:, 2] ** EXPONENT - 1.0) / n**2
        curves.append([PchipInterpolator(share, v) for v in (line[:, 1] / n, head, head / line[:, 3])])
    for speed in (66e3, 75e3, 89e3):
        w, n = (speed - 65e3) / 25e3, speed / 110e3

        def value(column, share, w=w):
            return (1.0 - w) * curves[0][column](share) + w * curves[1][column](share)

        for place in (0.01, 0.2, 0.43, 0.77, 0.99):
            head = float(value(1, place))
            ratio = (1.0 + head * n**2) ** (1.0 / EXPONENT)
            share = brentq(lambda s, h=head: value(1, s) - h, 0.0, 1.0, xtol=1e-15)
            point = compressor_flow(speed * RPM, ratio, P, T, measured)
            assert point.mass_flow == pytest.approx(n * value(0, share), rel=1e-10)
            assert point.efficiency == pytest.approx(head / value(2, share), rel=1e-10)
            assert point.flags == 0


def test_work_power_and_torque_agree():
    """First law: power is flow times enthalpy rise; efficiency is the isentropic rise over it (definition)."""
    point = compressor_flow(95e3 * RPM, 1.3, 0.97e5, 285.0, GENERIC)
    assert point.power == pytest.approx(point.mass_flow * HEAT_CAPACITY * (point.temperature - 285.0), rel=1e-12)
    assert point.torque * 95e3 * RPM == pytest.approx(point.power, rel=1e-14)
    assert point.temperature == pytest.approx(285.0 * (1 + (1.3**EXPONENT - 1) / point.efficiency), rel=1e-14)


TOP = 0.7 * GENERIC.reference_speed / RPM  # rpm: below it flow rises with speed everywhere


@settings(deadline=None, max_examples=60)
@given(
    speed=st.floats(5e3, 260e3),
    share=st.floats(0.02, 1.15),
    pressure=st.floats(6e4, 1.2e5),
    temperature=st.floats(250.0, 330.0),
)
def test_flow_ratio_and_speed_are_inverses(speed, share, pressure, temperature):
    """Inside the map and beyond it."""
    flow = share * compressor_flow(speed * RPM, 1.0, pressure, temperature, GENERIC).mass_flow
    point = compressor_ratio(speed * RPM, flow, pressure, temperature, GENERIC)
    back = compressor_flow(speed * RPM, point.ratio, pressure, temperature, GENERIC)
    # near the flat start of a line flow answers strongly to rounding of the ratio
    assert back.mass_flow == pytest.approx(flow, rel=1e-7)
    assert back.flags & ~CHOKE == point.flags & ~CHOKE
    if point.ratio > 1.0:
        found = compressor_speed(flow, point.ratio, pressure, temperature, GENERIC)
        assert found <= speed * RPM * (1.0 + 1e-9)  # the lowest: beyond the top line's choke there may be two
        again = compressor_flow(found, point.ratio, pressure, temperature, GENERIC)
        assert again.mass_flow == pytest.approx(flow, rel=1e-7)
        if speed < TOP and not (point.flags | again.flags) & CHOKE and share < 0.9:
            assert found == pytest.approx(speed * RPM, rel=1e-9)


@pytest.mark.parametrize("speed", [20e3, 65e3, 77e3, 110e3, 150e3])
def test_flow_falls_without_jumps_as_the_ratio_rises(measured, speed):
    """Along a speed line, through choke, map and surge: flow falls, and in small steps by little."""
    at_surge = compressor_ratio(speed * RPM, 1e-9, P, T, measured).ratio
    ratios = np.linspace(0.6, at_surge, 4001)
    flow = np.array([compressor_flow(speed * RPM, ratio, P, T, measured).mass_flow for ratio in ratios])
    assert np.all(np.diff(flow) < 0.0)
    for edge in ratios[np.argsort(np.diff(flow))[:3]]:  # where it falls fastest, a step a thousand times finer
        fine = np.linspace(edge, edge + ratios[1] - ratios[0], 1001)
        drops = [compressor_flow(speed * RPM, ratio, P, T, measured).mass_flow for ratio in fine]
        assert np.diff(drops).min() > 0.2 * np.diff(flow).min()


def test_points_change_without_jumps_as_the_speed_passes_lines(measured):
    for speed in (40e3, 65e3, 90e3, 110e3):
        below, above = (compressor_flow(speed * RPM * (1.0 + side), 1.05, P, T, measured) for side in (-1e-8, 1e-8))
        assert above.mass_flow == pytest.approx(below.mass_flow, rel=1e-6)
        assert above.power == pytest.approx(below.power, rel=1e-6)


@pytest.mark.parametrize(
    ("speed", "flow", "flags"),
    [
        (90e3, 0.035, 0),
        (90e3, 0.010, SURGE),
        (90e3, 0.070, CHOKE),
        (30e3, 0.010, SLOW),
        (115e3, 0.045, FAST),
        (30e3, 0.001, SLOW + SURGE),
        (130e3, 0.120, FAST + CHOKE),
    ],
)
def test_points_off_the_map_are_flagged_not_clipped(measured, speed, flow, flags):
    point = compressor_ratio(speed * RPM, flow, P, T, measured)
    assert point.flags == flags
    assert point.mass_flow == pytest.approx(flow, rel=1e-14)
    assert len(flag_words(point.flags)) == bin(flags).count("1")
    assert (point.surge_margin < 0.0) == bool(flags & SURGE)


def test_a_standing_wheel_is_a_resistance_and_takes_no_power():
    for ratio in (0.9, 0.97, 1.0, 1.1):
        point = compressor_flow(0.0, ratio, P, T, GENERIC)
        assert point.power == point.torque == 0.0
        assert (point.mass_flow > 0.0) == (ratio < 1.0)
        assert point.temperature == T or ratio > 1.0
    quarter, whole = (compressor_flow(0.0, (1.0 - x) ** 3.5, P, T, GENERIC).mass_flow for x in (0.01, 0.04))
    assert whole == pytest.approx(2.0 * quarter, rel=1e-2)  # the square root, softened near no flow


def test_corrected_values_make_other_inlets_similar():
    """Similarity: at the same corrected speed and ratio, flow goes with p/√T and relative temperature rise stays."""
    reference = compressor_flow(90e3 * RPM, 1.25, P, T, GENERIC)
    thin = compressor_flow(90e3 * RPM * math.sqrt(0.9), 1.25, 0.7 * P, 0.9 * T, GENERIC)
    assert thin.mass_flow == pytest.approx(reference.mass_flow * 0.7 / math.sqrt(0.9), rel=1e-12)
    assert thin.temperature / (0.9 * T) == pytest.approx(reference.temperature / T, rel=1e-13)


def test_generic_map_has_the_efficiency_and_size_asked_for():
    large = generic_compressor(0.09, 0.70)
    out = np.empty((GENERIC.shares.size, 3))
    best = 0.0
    for line in large.lines:
        map_line(line * large.reference_speed, large.shares, large, out)
        best = max(best, out[:, 2].max())
    assert best == pytest.approx(0.70, rel=1e-6)  # the table's nodes carry it
    small = generic_compressor(0.045, 0.70)
    one, other = compressor_flow(90e3 * RPM, 1.25, P, T, small), compressor_flow(45e3 * RPM, 1.25, P, T, large)
    assert other.mass_flow == pytest.approx(4.0 * one.mass_flow, rel=1e-12)
    assert other.efficiency == pytest.approx(one.efficiency, rel=1e-12)


def test_generic_map_is_a_map_as_good_as_a_file(tmp_path):
    """Written out and read in, it passes every check and gives the same points."""
    out, points = np.empty((33, 3)), []
    for line in GENERIC.lines * GENERIC.reference_speed:
        map_line(line, np.linspace(0.0, 1.0, 33), GENERIC, out)
        points += [[round(line / RPM, 3), *row] for row in out.tolist()]
    lines = [maps.HEADER, *(",".join(f"{value:.12g}" for value in row) for row in points)]
    (tmp_path / "map.csv").write_text("\n".join(lines))
    again = read_map(tmp_path / "map.csv", T, P)
    for speed, ratio in ((50e3, 1.06), (97e3, 1.33), (180e3, 2.4)):
        ours, theirs = (compressor_flow(speed * RPM, ratio, P, T, compressor) for compressor in (GENERIC, again))
        assert theirs.mass_flow == pytest.approx(ours.mass_flow, rel=1e-4)  # of the table's even spread
        assert theirs.efficiency == pytest.approx(ours.efficiency, rel=1e-4)


def _changed(change) -> list[list[float]]:
    points = maps.rows()
    change(points)
    return points


def _set(index: int, column: int, value: float):
    def change(points):
        points[index][column] = value

    return change


BAD = {
    "a hole": (_set(7, 3, math.nan), ["line 9", "isentropic_efficiency", "got ''", "must be a number"]),
    "per cent": (_set(2, 3, 70.0), ["line 4", "isentropic_efficiency", "70", "not in per cent"]),
    "no compression": (_set(2, 2, 0.9), ["line 4", "total_pressure_ratio", "0.9"]),
    "flow in grams": (_set(3, 1, 45.0), ["line 5", "corrected_mass_flow", "45 kg/s", "check the unit"]),
    "speed in thousands": (_set(0, 0, 40.0), ["line 2", "corrected_speed", "check the unit"]),
    "folded line": (_set(7, 2, 1.2), ["65000 rpm", "pressure ratio rises with flow", "surge side"]),
    "doubled point": (_set(7, 1, maps.rows()[8][1]), ["65000 rpm", "same flow"]),
    "speed of its own": (_set(7, 0, 65001.0), ["65001 rpm", "has 1 points", "at least 3"]),
    "two lines": (lambda points: points.__delitem__(slice(11, None)), ["has 2 speed lines", "at least 3"]),
    "a line left out": (lambda points: points.__delitem__(slice(5, 11)), ["a hole", "40000 and 90000 rpm"]),
    "a line left out that halves no speed": (
        lambda points: points.__delitem__(slice(11, 18)),
        ["a hole", "65000 and 110000 rpm", "1.75 times as far apart", "25000 rpm"],
    ),
    "two points left out of seven": (lambda points: points.__delitem__(slice(15, 17)), ["90000 rpm", "a hole", "kg/s"]),
    "a valley": (_set(8, 3, 0.5), ["65000 rpm", "row 10", "efficiency: got 0.5", "one peak"]),
    "points left out": (lambda points: points.__delitem__(slice(12, 17)), ["90000 rpm", "needs at least 3"]),
    "gap in a line": (lambda points: points.__delitem__(slice(20, 25)), ["110000 rpm", "a hole", "kg/s"]),
    "crossing lines": (
        lambda points: [points[i].__setitem__(1, 3.0 * points[i][1]) for i in range(5, 11)],
        ["65000 and 90000 rpm", "cross"],
    ),
}


@pytest.mark.parametrize("name", BAD)
def test_a_bad_map_gets_one_clear_line(name, tmp_path):
    change, words = BAD[name]
    path = maps.write_map(tmp_path / "map.csv", _changed(change))
    with pytest.raises(InputError) as error:
        read_map(path, T, P)
    assert len(error.value.problems) == 1
    for word in ["engine.charging.compressor.file", "map.csv", *words]:
        assert word in str(error.value)


@pytest.mark.parametrize(
    ("header", "words"),
    [
        (maps.HEADER.replace("kg_per_s", "kg"), ["corrected_mass_flow_kg", "is not a mass flow"]),
        (maps.HEADER.replace("_rpm", ""), ["corrected_speed", "unit is missing"]),
        (maps.HEADER.replace("total_pressure_ratio", "ratio"), ["must have one column total_pressure_ratio"]),
        (maps.HEADER.replace(",", ";"), ["has one column", "separated by commas"]),
    ],
)
def test_bad_columns_get_one_clear_line(header, words, tmp_path):
    path = maps.write_map(tmp_path / "map.csv", header=header)
    with pytest.raises(InputError) as error:
        read_map(path, T, P)
    for word in words:
        assert word in str(error.value)


def test_units_and_order_of_rows_do_not_matter(measured, tmp_path):
    header = maps.HEADER.replace("kg_per_s", "g_per_s")
    points = [[speed, 1e3 * flow, ratio, efficiency] for speed, flow, ratio, efficiency in maps.rows()]
    again = read_map(maps.write_map(tmp_path / "map.csv", points[::-1], header), T, P)
    np.testing.assert_allclose(again.table, measured.table, rtol=1e-9, atol=1e-12)


def test_no_such_file(tmp_path: Path):
    with pytest.raises(InputError, match="no such file"):
        read_map(tmp_path / "absent.csv", T, P)
