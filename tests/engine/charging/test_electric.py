"""Electric drive: its power balance closes, its limits hold, its losses meet the rated point."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vibsim.engine.charging.electric import (
    COPPER_REFERENCE,
    boost_torque,
    bus_limit,
    derating,
    electric_point,
    motor_loss,
    motor_torque_limit,
)
from vibsim.engine.charging.pack import motor_of, supply_of
from vibsim.inputs.charging_models import Battery, ElectricCharging
from vibsim.inputs.charging_models import Motor as MotorTable

CHARGING = ElectricCharging(source="electric", boost_pressure=3e4)
MOTOR, SUPPLY = motor_of(CHARGING), supply_of(CHARGING)
CRANK = 500.0
PLENTY = 1e9  # W


def supply(**changes: float):
    return supply_of(CHARGING.model_copy(update={"battery": Battery(**changes)}))


@settings(deadline=None, max_examples=100)
@given(
    torque=st.floats(0.0, 0.5),
    speed=st.floats(0.0, 1.2e4),
    winding=st.floats(250.0, 450.0),
    crank=st.floats(0.0, 1000.0),
    share=st.floats(0.0, 1.0),
)
def test_powers_from_battery_and_crank_to_shaft_sum_to_zero(torque, speed, winding, crank, share):
    """Law: what battery and crank give is what the shaft gets and all parts lose."""
    p = electric_point(torque, speed, winding, crank, MOTOR, supply(share=share))
    given = p.battery + p.crank_torque * crank
    taken = p.shaft + p.motor_loss + p.inverter_loss + p.battery_loss + p.alternator_loss
    assert given - taken == pytest.approx(0.0, abs=1e-12 * max(given, 1.0))
    assert p.bus == pytest.approx(p.bus_voltage * p.bus_current, rel=1e-12)
    assert p.bus == pytest.approx(p.bus_voltage * p.battery_current + p.alternator, rel=1e-12)
    assert min(p.motor_loss, p.inverter_loss, p.battery_loss, p.alternator_loss, p.alternator) >= 0.0


def test_rated_point_has_the_rated_efficiency():
    speed = 5e3 / 0.6  # the default motor's power limit over its torque limit
    loss = motor_loss(0.6, speed, COPPER_REFERENCE, MOTOR)
    assert 5e3 / (5e3 + loss) == pytest.approx(0.91, rel=1e-12)
    still = motor_loss(0.6, 0.0, COPPER_REFERENCE, MOTOR) - motor_loss(0.0, 0.0, COPPER_REFERENCE, MOTOR)
    assert still == pytest.approx(0.6 * loss, rel=1e-12)  # the copper share
    idle = motor_loss(0.0, speed, COPPER_REFERENCE, MOTOR) - motor_loss(0.0, 0.0, COPPER_REFERENCE, MOTOR)
    assert idle == pytest.approx(0.3 * loss, rel=1e-12)  # the iron share
    warm = motor_loss(0.6, 0.0, COPPER_REFERENCE + 100.0, MOTOR) - motor_loss(0.0, 0.0, 400.0, MOTOR)
    assert warm == pytest.approx(1.393 * still, rel=1e-12)  # copper, 0.393 % per kelvin


def test_constant_efficiency_is_constant():
    table = MotorTable(losses="constant_efficiency", efficiency=0.9)
    motor = motor_of(CHARGING.model_copy(update={"motor": table}))
    for torque, speed, winding in ((0.1, 2e3, 300.0), (0.5, 9e3, 400.0)):
        assert motor_loss(torque, speed, winding, motor) == pytest.approx(torque * speed / 9.0, rel=1e-12)


def test_torque_then_power_then_speed_limits():
    def limit(speed: float) -> float:
        return motor_torque_limit(speed, 300.0, 300.0, PLENTY, MOTOR)

    assert limit(0.0) == limit(8e3) == pytest.approx(0.6, rel=1e-14)
    assert limit(1e4) * 1e4 == pytest.approx(5e3, rel=1e-12)
    top = MOTOR.speed_limit
    assert limit(0.99 * top) == pytest.approx(0.5 * 5e3 / (0.99 * top), rel=1e-9)
    assert limit(top) == limit(1.1 * top) == 0.0


def test_torque_fades_with_the_hotter_part():
    def limit(winding: float, inverter: float) -> float:
        return motor_torque_limit(1e3, winding, inverter, PLENTY, MOTOR)

    assert derating(400.0, 350.0, MOTOR) == 1.0
    assert limit(423.15, 350.0) == pytest.approx(0.3, rel=1e-12)  # half way from 140 to 160 degC
    assert limit(423.15, 374.4) == pytest.approx(0.15, rel=1e-12)  # inverter three quarters from 90 to 105 degC
    assert limit(433.15, 350.0) == limit(450.0, 350.0) == limit(350.0, 400.0) == 0.0


@pytest.mark.parametrize("share", [0.0, 0.4, 1.0])
@pytest.mark.parametrize("speed", [500.0, 6e3, 1.1e4])
def test_the_torque_that_the_bus_can_feed_takes_all_of_it(share, speed):
    """The limit, from the losses turned round, draws just what battery and alternator give."""
    weak = supply(share=share, current_limit=20.0)
    power = bus_limit(CRANK, weak._replace(power_limit=600.0))
    torque = motor_torque_limit(speed, 380.0, 300.0, power, MOTOR._replace(torque_limit=9.0, power_limit=1e6))
    point = electric_point(torque, speed, 380.0, CRANK, MOTOR, weak._replace(power_limit=600.0))
    assert point.bus == pytest.approx(power, rel=1e-10)
    assert point.battery_current == pytest.approx(20.0, rel=1e-9)
    assert motor_torque_limit(speed, 380.0, 300.0, 10.0, MOTOR) == 0.0  # less than iron and constant loss


def test_no_battery_gives_more_than_matched_to_its_resistance():
    """Greatest power of a source with resistance: V²/(4·R) (maximum power transfer)."""
    weak = supply(resistance=0.5, current_limit=None, share=1.0)
    assert bus_limit(0.0, weak) == pytest.approx(48.0**2 / 2.0, rel=1e-12)
    torque = motor_torque_limit(8e3, 300.0, 300.0, bus_limit(0.0, weak), MOTOR)
    assert electric_point(0.999999 * torque, 8e3, 300.0, 0.0, MOTOR, weak).bus_voltage == pytest.approx(24.0, rel=0.01)
    assert math.isnan(electric_point(1.01 * torque, 8e3, 300.0, 0.0, MOTOR, weak).bus_voltage)


def test_alternator_pays_its_share_within_its_limits():
    half = supply(share=0.5)
    point = electric_point(0.2, 8e3, 330.0, CRANK, MOTOR, half)
    assert point.alternator == pytest.approx(0.5 * point.bus, rel=1e-12)
    assert point.crank_torque == pytest.approx(point.alternator / 0.75 / CRANK, rel=1e-12)
    slow = electric_point(0.2, 8e3, 330.0, 20.0, MOTOR, supply(share=0.0))
    assert slow.crank_torque == pytest.approx(25.0, rel=1e-12)  # the torque limit
    assert slow.battery_current > 0.0
    still = electric_point(0.2, 8e3, 330.0, 0.0, MOTOR, supply(share=0.0))
    assert still.crank_torque == still.alternator == 0.0
    capped = electric_point(0.5, 9e3, 330.0, CRANK, MOTOR, supply(share=0.0))
    assert capped.alternator == 4e3


def test_boost_control_holds_the_load_at_target_and_pushes_below():
    torques = [boost_torque(share, 9e3, 0.15, 0.55, 0.1, MOTOR) for share in np.linspace(0.0, 1.3, 14)]
    assert boost_torque(1.0, 9e3, 0.15, 0.55, 0.1, MOTOR) == pytest.approx(0.15, rel=1e-12)
    assert torques[0] == 0.55
    assert torques[-1] == 0.0
    assert np.all(np.diff(torques) <= 0.0)
