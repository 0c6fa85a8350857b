"""The parts as drawn: they add up to the free forces, move as a slider-crank, and push as their momentum says."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.cases import single, skewed
from vibsim.engine.balance import forces_at, free_forces
from vibsim.engine.layout import Layout, resolve_layout
from vibsim.engine.mechanism import COUNTERWEIGHT, SHAFT, THROW, Mechanism, find_mechanism
from vibsim.engine.moving_mass import pack_train
from vibsim.inputs.loader import build_case
from vibsim.inputs.models import Engine

SPEED = 400.0  # rad/s
ROUNDING = 1e-12  # of the greatest part: sums of some ten numbers that partly cancel


def _engine() -> tuple[Engine, Layout]:
    """Unlike cylinders with pin offsets, an unbalance per throw, a counterweight and two odd shafts."""
    raw = skewed()
    raw["engine"]["crank"]["unbalance_kg_mm"] = [9.0, 4.0, 6.0]
    engine = build_case(raw).engine
    assert engine is not None
    return engine, resolve_layout(engine)


def _mechanism(angles: np.ndarray) -> Mechanism:
    return find_mechanism(*_engine(), SPEED, angles)


def test_parts_add_up_to_the_free_forces():
    # law: forces and place-weighted forces of the parts are those of the whole
    engine, layout = _engine()
    free = free_forces(pack_train(engine, layout), SPEED)
    found = find_mechanism(engine, layout, SPEED, free.angle)
    assert free.turns == 2
    assert found.total == pytest.approx(free.force, abs=ROUNDING * abs(found.force).max())
    arm = max(abs(found.at).max(), abs(found.eccentric_at).max())
    assert found.couple() == pytest.approx(free.couple, abs=ROUNDING * arm * abs(found.force).max())
    centred = free.about(np.array([0.02, 0.0, 0.0]))
    assert found.couple(0.02) == pytest.approx(centred.couple, abs=ROUNDING * arm * abs(found.force).max())


def test_each_cylinder_pushes_as_its_momentum_says():
    # independent: −d(momentum)/dt of the drawn masses, rod as two masses, from central differences of the drawn
    # places. Error of the difference h²/12 times the fourth over the second derivative, below 10 here
    step = 1e-3
    angles = np.linspace(0.0, 2.0 * math.pi, 48, endpoint=False)
    before, here, after = (_mechanism(angles + shift) for shift in (-step, 0.0, step))
    for index, cylinder in enumerate(_engine()[1].cylinders):
        masses = (cylinder.big_end_mass, cylinder.small_end_mass + cylinder.piston_mass)
        places = [(m.pin[:, index], m.wrist[:, index]) for m in (before, here, after)]
        moment = [masses[0] * pin + masses[1] * wrist for pin, wrist in places]
        expected = -(SPEED**2) * (moment[0] - 2.0 * moment[1] + moment[2]) / step**2
        assert here.force[:, index] == pytest.approx(expected, abs=step**2 * abs(expected).max())


def test_each_eccentric_pushes_outwards_at_its_own_speed():
    # derived: unbalance · (ratio · speed)² towards its heavy side
    engine, _ = _engine()
    found = _mechanism(np.array([0.0, 0.7]))
    assert found.eccentric_kind == (THROW,) * 3 + (COUNTERWEIGHT,) + (SHAFT,) * 2
    shaft = engine.balance_shaft[0]
    angle = math.degrees(np.angle(found.eccentric_force[1, 4]))
    assert angle == pytest.approx(30.0 - 2.0 * math.degrees(0.7))
    assert abs(found.eccentric_force[1, 4]) == pytest.approx(shaft.unbalance * 4.0 * SPEED**2)
    assert found.eccentric_axis[4] == pytest.approx(-0.030 - 0.040j)  # y = 40 mm, z = −30 mm
    opposite = found.pin[:, 0] / abs(found.pin[:, 0])
    assert found.heading[:, 0] == pytest.approx(-opposite)


def test_drawn_geometry_is_that_of_a_slider_crank():
    found = _mechanism(np.linspace(0.0, 4.0 * math.pi, 90))
    for index, cylinder in enumerate(_engine()[1].cylinders):
        rod = abs(found.wrist[:, index] - found.pin[:, index])
        assert rod == pytest.approx(cylinder.rod_length, rel=ROUNDING)
        assert abs(found.pin[:, index]) == pytest.approx(cylinder.radius, rel=ROUNDING)
        along = found.wrist[:, index] * np.exp(-1j * cylinder.bank)
        assert along.imag == pytest.approx(cylinder.offset, abs=ROUNDING)
        assert along.real.max() <= cylinder.top * (1.0 + ROUNDING)


def test_no_eccentrics():
    engine = build_case(single()).engine
    layout = resolve_layout(engine)
    found = find_mechanism(engine, layout, SPEED, np.zeros(1))
    assert found.eccentric_force.shape == (1, 0)
    # published (slider-crank at top dead centre): m·r·ω²·(1 + r/l) for the slider, m·r·ω² for the big end
    one = layout.cylinders[0]
    slider = (one.piston_mass + one.small_end_mass) * (1.0 + one.radius / one.rod_length)
    assert found.total[0] == pytest.approx((slider + one.big_end_mass) * one.radius * SPEED**2)


def test_forces_between_the_points_of_the_grid():
    # the course is a trigonometric polynomial to rounding at one point per degree
    train = pack_train(*_engine())
    free = free_forces(train, SPEED)
    orders = np.fft.fftfreq(len(free.force), 1.0 / len(free.force)) / free.turns
    angle = math.radians(123.4567)
    series = np.sum(np.fft.fft(free.force) / len(free.force) * np.exp(1j * orders * angle))
    assert forces_at(train, SPEED, np.array([angle])).force[0] == pytest.approx(series, rel=1e-9)
