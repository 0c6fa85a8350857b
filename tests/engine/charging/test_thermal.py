"""Two-node temperatures: closed form against SciPy's integration, limits, time to a limit, duty cycle."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from vibsim.engine.charging.electric import COPPER_REFERENCE, electric_point, motor_loss
from vibsim.engine.charging.pack import motor_of, supply_of, thermal_of
from vibsim.engine.charging.thermal import (
    HeatLoad,
    Thermal,
    heat_load,
    holding,
    mean_duty,
    periodic_duty,
    temperatures,
    thermal_rates,
    time_to_limits,
)
from vibsim.inputs.charging_models import ElectricCharging

CHARGING = ElectricCharging(source="electric", boost_pressure=3e4, thermal_coupling=2.0)
MOTOR, SUPPLY, THERMAL = motor_of(CHARGING), supply_of(CHARGING), thermal_of(CHARGING)
LIMITS = (413.15, 363.15)
TORQUE, SPEED = 0.4, 9e3
COOL = THERMAL.coolant


def integrated(until: float, on: float = 1.0, start: tuple[float, float] = (COOL, COOL), events=None):
    """The same temperatures by SciPy from the rates and losses as the run uses them."""

    def rates(_, y):
        loss = motor_loss(TORQUE, SPEED, y[0], MOTOR)
        return thermal_rates(y[0], y[1], on * loss, on * MOTOR.inverter * (TORQUE * SPEED + loss), THERMAL)

    return solve_ivp(rates, (0.0, until), start, rtol=1e-10, atol=1e-9, dense_output=True, events=events)


def test_closed_form_equals_integration():
    times, start = np.array([0.0, 3.0, 40.0, 200.0, 900.0]), (350.0, 341.0)
    found = temperatures(times, heat_load(TORQUE, SPEED, MOTOR), THERMAL, start)
    np.testing.assert_allclose(found, integrated(900.0, start=start).sol(times).T, rtol=1e-8)  # of the integration


def test_one_node_is_the_textbook_exponential():
    """T = T_c + Q·R·(1 − exp(−t/(R·C))), time to a limit from it (lumped capacity)."""
    load, thermal = HeatLoad(300.0, 0.0), Thermal(500.0, 100.0, 1.0 / 0.4, 1.0, 0.0, 330.0)
    times = np.array([10.0, 100.0, 1000.0])
    expected = 330.0 + 120.0 * (1.0 - np.exp(-times / 200.0))
    np.testing.assert_allclose(temperatures(times, load, thermal)[:, 0], expected, rtol=1e-12)
    limit_time = -200.0 * math.log(1.0 - 90.0 / 120.0)
    assert time_to_limits(load, (420.0, 400.0), thermal) == pytest.approx(limit_time, rel=1e-9)
    assert mean_duty(load, (420.0, 400.0), thermal) == pytest.approx(0.75, rel=1e-9)


def test_periodic_duty_of_one_node_is_the_textbook_one():
    """Peak of a switched single node: (1 − e^(−on/τ))/(1 − e^(−P/τ)) of the settled rise, turned round for `on`."""
    load, thermal = HeatLoad(300.0, 0.0), Thermal(500.0, 100.0, 1.0 / 0.4, 1.0, 0.0, 330.0)
    share, period = 0.75, 120.0
    on = -200.0 * math.log(1.0 - share * (1.0 - math.exp(-period / 200.0)))
    assert periodic_duty(load, (420.0, 400.0), thermal, period) == pytest.approx(on / period, rel=1e-9)


def test_time_to_limits_is_when_integration_meets_one():
    def meets(_, y):
        return max(y[0] - LIMITS[0], y[1] - LIMITS[1])

    meets.terminal = True
    event = integrated(2000.0, events=meets).t_events[0][0]
    assert time_to_limits(heat_load(TORQUE, SPEED, MOTOR), LIMITS, THERMAL) == pytest.approx(event, rel=1e-7)


def test_duty_found_holds_when_switched_in_time():
    """Independent: a hundred periods on and off by SciPy; the peaks settle just below the limit."""
    period, load = 40.0, heat_load(TORQUE, SPEED, MOTOR)
    share = periodic_duty(load, LIMITS, THERMAL, period)
    y = (COOL, COOL)
    for _ in range(100):
        peak = integrated(share * period, start=tuple(y)).y[:, -1]
        y = integrated((1.0 - share) * period, on=0.0, start=tuple(peak)).y[:, -1]
    assert np.max(peak - LIMITS) == pytest.approx(0.0, abs=0.01)  # K, what is left of the settling


def test_short_periods_tend_to_the_mean_and_long_ones_fall_below():
    load = heat_load(TORQUE, SPEED, MOTOR)
    mean = mean_duty(load, LIMITS, THERMAL)
    shares = [periodic_duty(load, LIMITS, THERMAL, period) for period in (0.01, 10.0, 100.0, 1000.0)]
    assert 0.0 < mean < 1.0
    assert shares[0] == pytest.approx(mean, rel=1e-3)
    assert mean > shares[1] > shares[2] > shares[3]


def test_limits_of_capacity_and_cooling():
    load = heat_load(TORQUE, SPEED, MOTOR)
    deep = THERMAL._replace(winding_capacity=math.inf, inverter_capacity=math.inf)
    assert time_to_limits(load, LIMITS, deep) == math.inf
    np.testing.assert_array_equal(temperatures(np.array([1e6]), load, deep), [[COOL, COOL]])
    cold = THERMAL._replace(winding_conductance=1e6, inverter_conductance=1e6)
    assert time_to_limits(load, LIMITS, cold) == math.inf
    assert mean_duty(load, LIMITS, cold) == periodic_duty(load, LIMITS, cold, 60.0) == 1.0
    bare = Thermal(500.0, 100.0, 0.0, 0.0, 0.0, 330.0)
    fixed = HeatLoad(250.0, 10.0)
    assert time_to_limits(fixed, (400.0, 400.0), bare) == pytest.approx(500.0 * 70.0 / 250.0, rel=1e-9)
    assert mean_duty(fixed, (400.0, 400.0), bare) == pytest.approx(0.0, abs=1e-9)
    assert periodic_duty(fixed, (400.0, 400.0), bare, 60.0) == 0.0


def test_copper_that_heats_faster_than_it_cools_runs_away():
    """Its loss grows by more per kelvin than the coolant takes: no settled temperature, yet a finite time."""
    load, thermal = HeatLoad(300.0, 0.0, winding_rise=3.0), Thermal(500.0, 100.0, 2.5, 1.0, 0.0, 330.0)
    rise = 300.0 + 3.0 * (330.0 - COPPER_REFERENCE)
    expected = math.log(1.0 + 80.0 * 0.5 / rise) * 500.0 / 0.5
    assert time_to_limits(load, (410.0, 400.0), thermal) == pytest.approx(expected, rel=1e-9)
    assert 0.0 < mean_duty(load, (410.0, 400.0), thermal) < 2.5 / 3.0


def test_already_hot_lasts_no_time_and_no_load_for_ever():
    load = heat_load(TORQUE, SPEED, MOTOR)
    assert time_to_limits(load, LIMITS, THERMAL, (420.0, 340.0)) == 0.0
    assert time_to_limits(HeatLoad(0.0, 0.0), LIMITS, THERMAL) == math.inf
    assert mean_duty(load, (COOL - 1.0, 400.0), THERMAL) == 0.0


def test_holding_says_which_gives_out_first():
    hold = holding(TORQUE, SPEED, 500.0, 60.0, MOTOR, SUPPLY._replace(share=1.0), THERMAL)
    assert hold.until_derating == time_to_limits(heat_load(TORQUE, SPEED, MOTOR), LIMITS, THERMAL)
    drain = electric_point(TORQUE, SPEED, LIMITS[0], 500.0, MOTOR, SUPPLY._replace(share=1.0)).battery
    assert hold.until_empty == pytest.approx(4e5 / drain, rel=1e-12)
    assert hold.periodic_duty < hold.mean_duty < 1.0
    assert holding(0.1, SPEED, 500.0, 60.0, MOTOR, SUPPLY, THERMAL).until_empty == math.inf
    assert holding(0.5, SPEED, 0.0, 60.0, MOTOR, SUPPLY._replace(resistance=1.0), THERMAL).until_empty == 0.0
