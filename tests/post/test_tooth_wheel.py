"""The crank-speed signal of a tooth wheel, against a speed known exactly."""

from __future__ import annotations

import math
import tomllib

import numpy as np
import pytest

from tests.conftest import DEMO
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import CaseFile, build_case
from vibsim.post.tooth_wheel import Wheel, passing_times, stamped, tooth_wheel_group, turning_span
from vibsim.results.labelled import Group
from vibsim.show.speed_tables import speed_lines, speed_summary
from vibsim.show.wheel_figure import wheel_figure
from vibsim.studies.run import run_case

SPEED, SHARE, ORDER = 300.0, 0.05, 1.5


def known(time: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Angle and speed of a crank whose speed swings in time."""
    rate = ORDER * SPEED
    angle = SPEED * (time + SHARE / rate * (1.0 - np.cos(rate * time)))
    return angle, SPEED * (1.0 + SHARE * np.sin(rate * time))


def record(seconds: float = 0.3, rate: float = 10000.0) -> Group:
    time = np.arange(round(seconds * rate) + 1) / rate
    angle, speed = known(time)
    group = Group()
    for name, data in (("time", time), ("crank_angle", angle), ("crank_speed", speed)):
        group.add(name, ("time",), data, "1", name)
    return group


def test_times_of_passing() -> None:
    """Error of the cubic: h⁴/384 of the fourth derivative, 1e-16/384·15·450³ rad: 4e-10 rad, 1e-12 s."""
    time = np.arange(0.0, 0.1, 1e-4)
    angle, speed = known(time)
    wanted = np.linspace(angle[0], angle[-1], 501)
    found = passing_times(time, angle, speed, wanted)
    np.testing.assert_allclose(known(found)[0], wanted, atol=1e-9)


def test_edges_and_gap() -> None:
    wheel = Wheel(60, 2, 1e6, first_edge=0.1)
    angles, teeth = wheel.edges_between(0.0, 4.0 * math.pi)
    assert len(angles) == 2 * 58
    assert teeth[0] == 0
    assert angles[0] == pytest.approx(0.1)
    assert set(teeth.tolist()) == set(range(58))
    gaps = np.round(np.diff(angles) / wheel.pitch)
    assert sorted(set(gaps.tolist())) == [1.0, 3.0]
    assert np.count_nonzero(gaps == 3.0) == 1  # two turns of 116 edges hold one gap whole


def test_stamps_do_not_add_up() -> None:
    times = np.sort(np.random.default_rng(3).uniform(0.0, 1.0, 500))
    stamps = stamped(times, 1e5)
    assert np.all(times - stamps > -1e-12)
    assert np.all(times - stamps < 1e-5)
    np.testing.assert_allclose(stamps * 1e5, np.round(stamps * 1e5), atol=1e-6)


def test_speed_per_tooth_is_quantised_within_its_resolution() -> None:
    """Derived: two stamps are each at most a tick late, so that a period is off by less than one tick; the speed by
    less than ω²/(pitch·clock), to first order in a tick over a period (1/350)."""
    group = tooth_wheel_group(record(), Wheel(60, 2, 1e6))
    error = np.abs(group["speed"] - group["speed_exact"])
    assert np.all(error <= group["resolution"] * 1.01)
    assert error.max() > 0.5 * group["resolution"].mean()
    resolution = SPEED**2 / (2.0 * math.pi / 60.0 * 1e6)
    assert group["resolution"].max() == pytest.approx(resolution * (1.0 + SHARE) ** 2, rel=0.02)
    assert group.attributes["error_rms_rad_per_s"] == pytest.approx(resolution / math.sqrt(6.0), rel=0.15)
    counts = group["period"] * 1e6
    np.testing.assert_allclose(counts, np.round(counts), atol=1e-6)


def test_fine_clock_and_fine_wheel_see_the_true_fluctuation() -> None:
    """A tooth's mean over its pitch p lowers an order's swing by sinc(order·p/2), 3e-4 for 120 teeth; the highest tooth
    may miss the top by half a pitch, 8e-4; and the mean over teeth is SHARE²/2 above that over time."""
    group = tooth_wheel_group(record(), Wheel(120, 0, 1e9))
    assert group.attributes["speed_fluctuation_seen"] == pytest.approx(2.0 * SHARE, rel=3e-3)
    coarse = tooth_wheel_group(record(), Wheel(8, 0, 1e9))
    assert coarse.attributes["speed_fluctuation_seen"] < 0.97 * 2.0 * SHARE
    pitch = 2.0 * math.pi / 8
    turn = math.sin(0.5 * ORDER * pitch) / (0.5 * ORDER * pitch)
    assert coarse.attributes["speed_fluctuation_seen"] == pytest.approx(2.0 * SHARE * turn, rel=0.05)


def test_signal_ends_where_the_crank_stands_still() -> None:
    angle, speed = np.array([0.0, 1.0, 1.5, 1.4, 1.2]), np.array([9.0, 5.0, 0.0, -1.0, -2.0])
    assert turning_span(angle, speed) == 2


def test_run_with_a_wheel_has_the_signal() -> None:
    raw = tomllib.loads(DEMO.read_text(encoding="utf-8"))
    raw["engine"]["tooth_wheel"] = {"teeth": 60, "missing": 2, "clock_kHz": 1000}
    raw["run"] |= {"duration_s": 0.1, "settle_tolerance": 1e-2}
    case = build_case(raw)
    results = run_case(CaseFile(case, "", DEMO.parent, "wheel"))
    group = results.groups["tooth_wheel"]
    assert len(group["speed"]) == pytest.approx(0.1 * 4000 / 60 * 58, abs=3)
    seen = group.attributes["speed_fluctuation_over_teeth"]
    assert seen == pytest.approx(results.groups["cyclic"].attributes["speed_fluctuation"], rel=0.02)
    assert wheel_figure(results) is not None
    lines = speed_lines(speed_summary(results))
    assert lines[1].startswith("tooth wheel 60 − 2: fluctuation seen 2.")
    assert case.engine is not None
    wheel = case.engine.tooth_wheel
    assert wheel is not None
    assert (wheel.teeth, wheel.missing, wheel.clock) == (60, 2, 1e6)
    for change, words in (({"teeth": 4}, "tooth_wheel.teeth: got 4"), ({"clock_kHz": 0}, "tooth_wheel.clock_kHz")):
        raw["engine"]["tooth_wheel"] = {"teeth": 60} | change
        with pytest.raises(InputError, match=words):
            build_case(raw)
