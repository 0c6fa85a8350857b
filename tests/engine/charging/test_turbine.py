"""Exhaust turbine and the rotor it shares with the compressor: flow, efficiency, energy, balance at steady speed."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from vibsim.engine.charging.charge_air import charge_at
from vibsim.engine.charging.generic_map import generic_compressor
from vibsim.engine.charging.intercooler import NO_INTERCOOLER
from vibsim.engine.charging.nozzle import back_pressure
from vibsim.engine.charging.pack import turbine_of
from vibsim.engine.charging.turbine import (
    OFF_CURVE,
    match_turbine,
    parabola,
    read_efficiency,
    rotor_rate,
    turbine_point,
    wastegate_flow,
    wastegate_opening,
)
from vibsim.engine.charging.turbocharger import free_speed, turbo_point
from vibsim.inputs.charging_models import Turbine as TurbineTable
from vibsim.inputs.errors import InputError

TURBINE, CURVE, COMPRESSOR = turbine_of(TurbineTable(), 33e3), parabola(), generic_compressor()
GAMMA, R = 1.33, 287.0
CP = GAMMA / (GAMMA - 1.0) * R
HOT, OUT, IN, COLD = 1050.0, 1.04e5, 101325.0, 298.15


def at(speed: float, pressure: float):
    return turbine_point(speed, pressure, HOT, OUT, TURBINE, CURVE)


def test_flow_is_that_of_a_nozzle():
    """Independent: from the isentropic exit speed and density, choked and not (textbook)."""
    critical = (2.0 / (GAMMA + 1.0)) ** (GAMMA / (GAMMA - 1.0))
    for pressure in (1.2e5, 1.6e5, 2.5e5, 4e5):
        throat = max(OUT / pressure, critical)
        speed = math.sqrt(2.0 * CP * HOT * (1.0 - throat ** ((GAMMA - 1.0) / GAMMA)))
        density = pressure / (R * HOT) * throat ** (1.0 / GAMMA)
        assert at(9e3, pressure).mass_flow == pytest.approx(TURBINE.area * speed * density, rel=1e-12)


def test_power_is_what_the_gas_gives_up():
    """First law of the stage, and the definition of the total-to-static efficiency."""
    p = at(9e3, 1.5e5)
    assert p.power == pytest.approx(p.mass_flow * CP * (HOT - p.temperature), rel=1e-12)
    assert p.power == pytest.approx(p.torque * 9e3, rel=1e-14)
    ideal = HOT * (1.0 - (OUT / 1.5e5) ** ((GAMMA - 1.0) / GAMMA))
    assert HOT - p.temperature == pytest.approx(p.efficiency * ideal, rel=1e-12)


def test_efficiency_peaks_at_the_blade_speed_ratio_given():
    speeds = np.linspace(1.0, 4e4, 4001)
    points = [at(speed, 1.5e5) for speed in speeds]
    best = max(points, key=lambda p: p.efficiency)
    assert best.efficiency == pytest.approx(0.68, rel=1e-6)
    assert best.speed_ratio == pytest.approx(0.68, rel=1e-3)
    assert all((p.speed_ratio > 1.36) == (p.flags == OFF_CURVE) == (p.efficiency < 0.0) for p in points)
    torques = np.array([p.torque for p in points])
    assert np.all(np.diff(torques) < 0.0)  # greatest at rest, braking when driven too fast
    assert at(0.0, 1.5e5).torque > 0.0
    assert at(0.0, 1.5e5).power == 0.0


def test_no_flow_against_the_higher_pressure():
    point = at(9e3, 0.9 * OUT)
    assert point.mass_flow == point.torque == point.power == 0.0
    assert at(9e3, OUT * (1 + 1e-12)).mass_flow == pytest.approx(0.0, abs=1e-9)


def test_back_pressure_drives_the_flow_asked_for():
    for flow in (1e-4, 0.02, 0.08):
        pressure = back_pressure(flow, TURBINE.area, HOT, OUT, GAMMA, R)
        assert at(9e3, pressure).mass_flow == pytest.approx(flow, rel=1e-9)


def test_wastegate_opens_with_boost():
    assert [wastegate_opening(boost, TURBINE) for boost in (0.0, 29.7e3, 34.65e3, 39.6e3, 6e4)] == pytest.approx(
        [0.0, 0.0, 0.5, 1.0, 1.0], abs=1e-12
    )
    half = wastegate_flow(0.5, 1.5e5, HOT, OUT, TURBINE)
    wide = TURBINE._replace(area=0.5 * TURBINE.wastegate_area)
    assert half == pytest.approx(turbine_point(0.0, 1.5e5, HOT, OUT, wide, CURVE).mass_flow, rel=1e-12)


def test_match_gives_the_power_and_sends_the_rest_through_the_wastegate():
    match = match_turbine(1200.0, 9.5e3, 0.045, HOT, OUT, TURBINE, CURVE)
    point = at(9.5e3, match.pressure)
    assert match.enough
    assert 0.97 * point.power - 3e-7 * 9.5e3**2 == pytest.approx(1200.0, rel=1e-9)
    assert match.turbine_flow + match.wastegate_flow == pytest.approx(0.045, rel=1e-12)
    share = match.wastegate_area / TURBINE.wastegate_area
    assert wastegate_flow(share, match.pressure, HOT, OUT, TURBINE) == pytest.approx(match.wastegate_flow, rel=1e-12)
    short = match_turbine(1200.0, 9.5e3, 0.015, HOT, OUT, TURBINE, CURVE)
    assert not short.enough
    assert short.turbine_flow == pytest.approx(0.015, rel=1e-9)


@pytest.mark.parametrize(
    ("air", "target", "reached", "held"),
    [(0.012, 33e3, False, True), (0.035, 33e3, True, True), (0.05, 45e3, True, True), (0.055, 2e3, True, False)],
)
def test_powers_on_the_shaft_sum_to_zero_at_steady_speed(air, target, reached, held):
    """Law: η_m·P_turbine = P_compressor + bearing loss, below, at and above what the wastegate can hold."""
    p = turbo_point(
        IN + target, air, 1.07 * air, HOT, OUT, IN, COLD, COMPRESSOR, NO_INTERCOOLER, TURBINE, CURVE
    )  # fmt: skip
    speed = p.charge.speed
    bearing = TURBINE.bearing * speed**2
    assert 0.97 * p.turbine_power - p.charge.power - bearing == pytest.approx(0.0, abs=1e-8 * p.turbine_power)
    assert p.shaft_loss == pytest.approx(0.03 * p.turbine_power + bearing, rel=1e-6)
    assert p.turbine_flow + p.wastegate_flow == pytest.approx(1.07 * air, rel=1e-9)
    assert (p.reached, p.held) == (reached, held)
    assert p.charge.mass_flow == pytest.approx(air, rel=1e-9)
    if reached and held:
        assert p.charge.pressure == pytest.approx(IN + target, rel=1e-9)
    gas = 1.07 * air * CP * (HOT - p.outlet_temperature)
    assert gas == pytest.approx(p.turbine_power, rel=1e-9)  # the mixed gas has lost what the wheel took


def test_a_rotor_let_go_settles_at_the_steady_speed():
    """Reference: the rotor's equation of motion integrated by SciPy from low speed."""
    air, exhaust = 0.03, 0.032
    ahead = back_pressure(exhaust, TURBINE.area, HOT, OUT, GAMMA, R)

    def rate(_, y):
        turbine = turbine_point(y[0], ahead, HOT, OUT, TURBINE, CURVE)
        charge = charge_at(y[0], air, IN, COLD, COMPRESSOR, NO_INTERCOOLER)
        return [rotor_rate(turbine.torque, charge.torque, y[0], TURBINE)]

    run = solve_ivp(rate, (0.0, 10.0), [2e3], rtol=1e-9, atol=1e-6)
    steady = free_speed(0.0, air, exhaust, HOT, OUT, IN, COLD, COMPRESSOR, NO_INTERCOOLER, TURBINE, CURVE)
    assert run.y[0, -1] == pytest.approx(steady, rel=1e-6)
    balanced = brentq(lambda speed: rate(0.0, [speed])[0], 1e3, 3e4, xtol=1e-9)
    assert balanced == pytest.approx(steady, rel=1e-10)


def write(path, rows, header="blade_speed_ratio,efficiency"):
    path.write_text("\n".join([header, *(f"{u},{e}" for u, e in rows)]))
    return path


def test_an_efficiency_file_is_met_at_its_points(tmp_path):
    rows = [(0.4, 0.55), (0.55, 0.66), (0.68, 0.70), (0.8, 0.67), (0.95, 0.55)]
    curve = read_efficiency(write(tmp_path / "curve.csv", rows))
    spouting = math.sqrt(2.0 * CP * HOT * (1.0 - (OUT / 1.5e5) ** ((GAMMA - 1.0) / GAMMA)))
    for ratio, efficiency in rows:
        point = turbine_point(ratio * spouting / TURBINE.radius, 1.5e5, HOT, OUT, TURBINE, curve)
        assert point.efficiency == pytest.approx(efficiency, rel=1e-9)
    for ratio, flags in ((0.2, OFF_CURVE), (0.6, 0), (1.2, OFF_CURVE)):
        point = turbine_point(ratio * spouting / TURBINE.radius, 1.5e5, HOT, OUT, TURBINE, curve)
        assert point.flags == flags
    assert turbine_point(0.0, 1.5e5, HOT, OUT, TURBINE, curve).torque > 0.0


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([(0.4, 0.5), (0.6, 0.7)], "at least 3"),
        ([(0.4, 0.5), (0.6, 70.0), (0.7, 0.6)], "line 3: efficiency: got 70"),
        ([(0.4, 0.5), (0.4, 0.6), (0.7, 0.6)], "line 3: blade_speed_ratio must rise"),
        ([(0.0, 0.5), (0.4, 0.6), (0.7, 0.6)], "line 2: blade_speed_ratio: got 0"),
        ([(0.3, "x"), (0.4, 0.6), (0.7, 0.6)], "line 2: efficiency: got 'x'"),
    ],
)
def test_a_bad_efficiency_file_gets_one_clear_line(rows, words, tmp_path):
    with pytest.raises(InputError, match=words) as error:
        read_efficiency(write(tmp_path / "curve.csv", rows))
    assert len(error.value.problems) == 1
