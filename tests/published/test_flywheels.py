"""Flywheel examples of Khurmi & Gupta, Theory of Machines, ch. 16, as worked in FOSSEE's Python Textbook Companions
(Theory_Of_Machines/ch16), and one of Shigley. Where the printed figure is rounded the exact one stands beside it.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from vibsim.post.energy_excess import excess_of, fluctuation_with, flywheel_inertia

RPM = math.pi / 30.0
FINE = 20001  # points of a smooth torque: error of straight lines between them 1e-8 of a swing


def lines(*points: tuple[float, float]) -> tuple[np.ndarray, np.ndarray]:
    """Angles and torques of a course of straight lines."""
    angle, torque = np.array(points, dtype=float).T
    return angle, torque


def test_16_1_speeds_from_energy() -> None:
    inertia, speed = 6500.0 * 1.8**2, 120.0 * RPM
    cs = fluctuation_with(56e3, speed, inertia)
    assert cs * 120.0 == pytest.approx(2.0207, abs=1e-4)  # printed: 121 and 119 rpm
    assert (120.0 * (1 + 0.5 * cs), 120.0 * (1 - 0.5 * cs)) == pytest.approx((121.0, 119.0), abs=0.02)


def test_16_3_mass_from_coefficient_of_energy() -> None:
    work = 300e3 * 60.0 / 90.0
    mass = flywheel_inertia(0.1 * work, 90.0 * RPM, 0.01) / 2.0**2
    assert mass == pytest.approx(5628.95, abs=0.01)  # printed 5628


def test_16_4_areas_of_a_turning_moment_diagram() -> None:
    swing = 985.0 * 5.0 * math.radians(1.0)
    cs = fluctuation_with(swing, 1800.0 * RPM, 36.0 * 0.15**2)
    assert cs == pytest.approx(0.002987, abs=1e-6)  # printed 0.3 %


def test_16_6_load_that_rises_and_falls() -> None:
    """A motor of constant torque drives a load over 6π: 750 N m at the ends, 3000 N m on a plateau of 2π."""
    pi = math.pi
    angle, load = lines((0, 750), (pi, 750), (2 * pi, 3000), (4 * pi, 3000), (5 * pi, 750), (6 * pi, 750))
    mean = float(np.trapezoid(load, angle)) / (6.0 * pi)
    found = excess_of(angle, np.full(6, mean), load)
    assert 1e-3 * mean * 250.0 * RPM == pytest.approx(49.087, abs=1e-3)
    assert fluctuation_with(found.swing, 250.0 * RPM, 500.0 * 0.6**2) == pytest.approx(0.071620, abs=1e-6)


def test_16_8_three_cylinders() -> None:
    """Each pulls over half a turn by a triangle of 90 N m at 60°; 120° apart."""
    angle = np.radians(np.arange(0.0, 361.0, 60.0))
    one = np.array([0.0, 90.0, 45.0, 0.0, 0.0, 0.0])
    torque = sum(np.roll(one, shift) for shift in (0, 2, 4))
    torque = np.append(torque, torque[0])
    found = excess_of(angle, torque)
    speed, inertia = 600.0 * RPM, 12.0 * 0.08**2
    assert found.work * 10.0 == pytest.approx(4241.2, abs=0.05)  # W at 600 rpm
    assert found.swing == pytest.approx(11.7810, abs=1e-4)
    assert fluctuation_with(found.swing, speed, inertia) == pytest.approx(0.038856, abs=1e-6)
    assert found.coefficient == pytest.approx(0.027778, abs=1e-6)
    greatest = float(torque.max() - found.work / (2.0 * math.pi)) / inertia
    assert greatest == pytest.approx(292.97, abs=0.01)


def test_16_9_four_stroke_gas_engine() -> None:
    """20 kW at 300 rpm; the work of expansion is 3/2 of the net, a triangle over its stroke; the rest taken by the
    others, of which the last three strokes are taken as one constant resistance that the mean has in it."""
    net = 20e3 * 60.0 / 150.0
    top = 2.0 * 1.5 * net / math.pi
    mean = net / (4.0 * math.pi)
    assert (net, top, mean) == pytest.approx((8000.0, 7639.44, 636.62), abs=0.01)
    pi, resisting = math.pi, -0.5 * net / (3.0 * math.pi)
    angle, torque = lines((0, 0), (pi / 2, top), (pi, 0), (pi, resisting), (4 * pi, resisting))
    found = excess_of(angle, torque)
    assert found.work == pytest.approx(net, rel=1e-12)
    assert found.swing == pytest.approx(10083.33, abs=0.01)
    assert flywheel_inertia(found.swing, 300.0 * RPM, 0.04) == pytest.approx(255.414, abs=1e-3)


def smooth(torque, load=None) -> tuple[np.ndarray, np.ndarray, object]:
    angle = np.linspace(0.0, 2.0 * math.pi, FINE)
    given = None if load is None else load(angle)
    return angle, torque(angle), excess_of(angle, torque(angle), given)


def test_16_11_second_order_torque() -> None:
    _, _, found = smooth(lambda t: 20000.0 + 9500.0 * np.sin(2 * t) - 5700.0 * np.cos(2 * t))
    speed = 180.0 * RPM
    inertia = flywheel_inertia(found.swing, speed, 0.01)
    assert 1e-3 * found.work * 3.0 == pytest.approx(376.991, abs=1e-3)
    assert found.swing == pytest.approx(11078.81, abs=0.01)
    assert inertia == pytest.approx(3118.11, abs=0.01)  # printed 3121 from a rounded speed
    assert 9500.0 / inertia == pytest.approx(3.0467, abs=1e-4)  # acceleration at 45°


def test_16_12_load_that_varies() -> None:
    torque, load = (lambda t: 5000.0 + 600.0 * np.sin(2 * t)), (lambda t: 5000.0 + 500.0 * np.sin(t))
    angle, values, found = smooth(torque, load)
    inertia, speed = 500.0 * 0.4**2, 150.0 * RPM
    assert found.swing == pytest.approx(1204.17, abs=0.01)
    assert fluctuation_with(found.swing, speed, inertia) == pytest.approx(0.061004, abs=1e-6)
    rate = (values - load(angle)) / inertia
    for low, high, place, value in ((0.0, 1.3, 35.0247, 3.46284), (1.3, 3.1, 127.6308, -12.20299)):
        at = np.flatnonzero((angle > low) & (angle < high))
        extreme = at[np.argmax(np.abs(rate[at]))]
        assert math.degrees(angle[extreme]) == pytest.approx(place, abs=0.02)  # a step of the grid
        assert rate[extreme] == pytest.approx(value, abs=1e-5)


def test_16_13_third_order_torque_constant_and_varying_load() -> None:
    torque = lambda t: 5000.0 + 1500.0 * np.sin(3 * t)  # noqa: E731
    _, _, constant = smooth(torque)
    _, _, varying = smooth(torque, lambda t: 5000.0 + 600.0 * np.sin(t))
    speed = 300.0 * RPM
    assert 1e-3 * constant.work * 5.0 == pytest.approx(157.080, abs=1e-3)
    assert constant.swing == pytest.approx(1000.0, abs=1e-3)
    assert fluctuation_with(constant.swing, speed, 1000.0) == pytest.approx(0.00101321, abs=1e-8)
    assert varying.swing == pytest.approx(1656.50, abs=0.01)  # derived; the companion's figure is a slip
    assert fluctuation_with(varying.swing, speed, 1000.0) == pytest.approx(0.00167839, abs=1e-8)


def test_shigley_one_cylinder() -> None:
    """Largest loop 3531 in·lbf, work of a cycle 3368 in·lbf over 4π, 250 rad/s, Cs 0.1."""
    assert flywheel_inertia(3531.0, 250.0, 0.1) == pytest.approx(0.56496, abs=1e-5)
    assert 3368.0 / (4.0 * math.pi) == pytest.approx(268.017, abs=1e-3)
