"""Volumes, openings, intercooler, driven compressor, and a whole load step put together from the parts."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from vibsim.engine.charging.added_mass import with_added_mass
from vibsim.engine.charging.air import GAMMA, GAS_CONSTANT, HEAT_CAPACITY
from vibsim.engine.charging.charge_air import charge_at, charge_for, delivered, flap_flow
from vibsim.engine.charging.compressor import CHOKE, compressor_flow
from vibsim.engine.charging.driven import Drive, driven_point
from vibsim.engine.charging.electric import boost_torque, bus_limit, electric_point, motor_torque_limit
from vibsim.engine.charging.generic_map import generic_compressor
from vibsim.engine.charging.intercooler import (
    NO_INTERCOOLER,
    Intercooler,
    cooled_temperature,
    cooler_loss,
    rated_loss,
)
from vibsim.engine.charging.nozzle import nozzle_flow, throttle_area
from vibsim.engine.charging.pack import motor_of, supply_of
from vibsim.engine.charging.plenum import carried, plenum_pressure, plenum_rates
from vibsim.inputs.charging_models import ElectricCharging

IN, COLD, VOLUME = 101325.0, 298.15, 2.5e-3
COMPRESSOR = generic_compressor()
COOLER = Intercooler(0.7, 303.15, rated_loss(3e3, 0.05, 1.4))
CV = HEAT_CAPACITY / GAMMA


def test_two_volumes_keep_mass_and_energy():
    """Law: gas that flows from one closed adiabatic volume to another keeps its mass and energy, and comes to rest."""

    def rates(_, y):
        pressures = [plenum_pressure(y[2 * i], y[2 * i + 1], VOLUME, GAS_CONSTANT) for i in range(2)]
        flow = nozzle_flow(1e-4, pressures[0], y[1], pressures[1], y[3], GAMMA, GAS_CONSTANT)
        out = plenum_rates(-flow, carried(-flow, y[3], y[1]), y[0], y[1], GAMMA)
        return [*out, *plenum_rates(flow, carried(flow, y[1], y[3]), y[2], y[3], GAMMA)]

    start = [3e5 * VOLUME / (GAS_CONSTANT * 320.0), 320.0, 1e5 * VOLUME / (GAS_CONSTANT * 280.0), 280.0]
    run = solve_ivp(rates, (0.0, 0.3), start, rtol=1e-10, atol=1e-12, method="LSODA")
    mass, energy = run.y[0] + run.y[2], CV * (run.y[0] * run.y[1] + run.y[2] * run.y[3])
    np.testing.assert_allclose(mass, mass[0], rtol=1e-9)
    np.testing.assert_allclose(energy, energy[0], rtol=1e-9)
    ends = [plenum_pressure(run.y[2 * i, -1], run.y[2 * i + 1, -1], VOLUME, GAS_CONSTANT) for i in range(2)]
    assert ends == pytest.approx([2e5, 2e5], rel=1e-6)  # of equal volumes at constant energy: the mean
    isentropic = 320.0 * (run.y[0, -1] / start[0]) ** (GAMMA - 1.0)
    assert run.y[1, -1] == pytest.approx(isentropic, rel=1e-7)  # what stays behind has expanded reversibly


def test_a_vessel_filled_from_nothing_gets_hot_by_gamma():
    """Textbook: an evacuated adiabatic vessel filled from a line ends at γ times the line's temperature."""

    def rates(_, y):
        pressure = plenum_pressure(y[0], y[1], VOLUME, GAS_CONSTANT)
        flow = nozzle_flow(1e-4, 1e5, 300.0, pressure, y[1], GAMMA, GAS_CONSTANT)
        return plenum_rates(flow, carried(flow, 300.0, y[1]), y[0], y[1], GAMMA)

    run = solve_ivp(rates, (0.0, 0.5), [1e-9, 300.0], rtol=1e-9, atol=1e-14, method="LSODA")
    assert run.y[1, -1] == pytest.approx(GAMMA * 300.0, rel=1e-5)  # a millionth of the gas was there before


def test_nozzle_flow_changes_sign_with_the_pressures():
    ahead, back = (nozzle_flow(1e-4, p, 300.0, 3e5 - p, 400.0, GAMMA, GAS_CONSTANT) for p in (2e5, 1e5))
    assert ahead / math.sqrt(400.0) == pytest.approx(-back / math.sqrt(300.0), rel=1e-12)
    assert flap_flow(6e-4, 1e5, 300.0, 0.99e5) > 0.0
    assert flap_flow(6e-4, 1e5, 300.0, 1.01e5) == 0.0


def test_throttle_area_from_leak_to_bore():
    areas = [throttle_area(x, 0.04, math.radians(8.0), 0.8, 2e-6) for x in np.linspace(0.0, 1.0, 11)]
    assert areas[0] == pytest.approx(2e-6, abs=1e-15)
    assert areas[-1] == pytest.approx(2e-6 + 0.8 * math.pi * 4e-4, rel=1e-12)
    assert np.all(np.diff(areas) > 0.0)


def test_intercooler_meets_its_rated_point():
    assert cooler_loss(0.05, 1.4, COOLER) == pytest.approx(3e3, rel=1e-12)
    assert cooler_loss(0.025, 0.7, COOLER) == pytest.approx(1.5e3, rel=1e-12)
    assert cooled_temperature(363.15, COOLER) == pytest.approx(321.15, rel=1e-12)
    assert cooled_temperature(363.15, NO_INTERCOOLER) == 363.15
    assert cooled_temperature(363.15, COOLER._replace(effectiveness=1.0)) == pytest.approx(303.15, rel=1e-14)


@settings(deadline=None, max_examples=40)
@given(speed=st.floats(1e3, 2.2e4), pressure=st.floats(7e4, 3e5))
def test_delivery_through_the_cooler_closes(speed, pressure):
    """What the compressor makes less the cooler's loss is the intake's pressure, anywhere on the map and off it."""
    charge = delivered(speed, pressure, IN, COLD, COMPRESSOR, COOLER)
    behind = charge.ratio * IN
    loss = cooler_loss(charge.mass_flow, behind / (GAS_CONSTANT * charge.compressor_temperature), COOLER)
    assert behind - loss == pytest.approx(pressure, rel=1e-9)
    alone = compressor_flow(speed, charge.ratio, IN, COLD, COMPRESSOR)
    assert alone.mass_flow == charge.mass_flow
    assert alone.flags == charge.flags
    gained = charge.mass_flow * HEAT_CAPACITY * (charge.temperature - COLD)
    assert charge.power - charge.cooler_heat == pytest.approx(gained, abs=1e-10 * max(charge.power, 1.0))


def test_steady_and_running_delivery_agree():
    for cooler in (NO_INTERCOOLER, COOLER):
        steady = charge_for(0.04, IN + 33e3, IN, COLD, COMPRESSOR, cooler)
        running = delivered(steady.speed, IN + 33e3, IN, COLD, COMPRESSOR, cooler)
        other = charge_at(steady.speed, 0.04, IN, COLD, COMPRESSOR, cooler)
        assert running == pytest.approx(steady, rel=1e-8)
        assert other == pytest.approx(steady, rel=1e-8)
        assert steady.mass_flow == pytest.approx(0.04, rel=1e-9)


def test_driven_compressor_pays_on_the_crank_and_blows_off_beyond_its_target():
    drive = Drive(17.0, 0.95, 1.5e-5)
    low = driven_point(300.0, 0.02, IN + 33e3, IN, COLD, COMPRESSOR, COOLER, drive)
    assert not low.reached
    assert low.bypass_flow == pytest.approx(0.0, abs=1e-15)
    assert low.charge.pressure < IN + 33e3
    high = driven_point(680.0, 0.05, IN + 33e3, IN, COLD, COMPRESSOR, COOLER, drive)
    assert high.reached
    assert high.charge.pressure == pytest.approx(IN + 33e3, rel=1e-12)
    assert high.bypass_flow > 0.0
    for point, crank in ((low, 300.0), (high, 680.0)):  # law: crank power is compressor power and the drive's loss
        assert point.charge.speed == 17.0 * crank
        assert point.crank_power - point.drive_loss - point.charge.power == pytest.approx(0.0, abs=1e-9)
        assert point.crank_torque * crank * 0.95 == pytest.approx(point.charge.power, rel=1e-12)


def test_added_mass_is_that_of_a_point():
    """Independent: two points in place of the added one's share, summed about the new centre."""
    bodies = [(40.0, np.array([0.1, 0.0, 0.0])), (20.0, np.array([-0.1, 0.2, 0.3])), (3.5, np.array([0.4, -0.2, 0.5]))]

    def summed(parts):
        mass = sum(m for m, _ in parts)
        centre = sum(m * x for m, x in parts) / mass
        return mass, centre, sum(m * ((x - centre) @ (x - centre) * np.eye(3) - np.outer(x - centre, x - centre))
                                 for m, x in parts)  # fmt: skip

    found = with_added_mass(*summed(bodies[:2]), *bodies[2])
    for ours, theirs in zip(found, summed(bodies), strict=True):
        np.testing.assert_allclose(ours, theirs, rtol=1e-12, atol=1e-14)


def test_an_electric_load_step_comes_to_its_steady_point():
    """The parts together as a run uses them: rotor, intake and flap, an engine that draws by volume.

    The rotor spins up from rest within its torque limit; the intake never goes far below ambient, as the flap feeds it;
    in the end speed, pressure and power are those of the steady functions.
    """
    charging = ElectricCharging(source="electric", boost_pressure=33e3)
    motor, supply, target = motor_of(charging), supply_of(charging), IN + 33e3
    displaced, crank = 0.0146 * 0.9, 262.0  # m³/s: 0.7 litre at 2500 rpm

    def parts(y):
        speed, mass, temperature = y
        pressure = plenum_pressure(mass, temperature, VOLUME, GAS_CONSTANT)
        charge = delivered(speed, pressure, IN, COLD, COMPRESSOR, NO_INTERCOOLER)
        limit = motor_torque_limit(speed, 340.0, 340.0, bus_limit(crank, supply), motor)
        share = max(pressure - IN, 0.0) / (target - IN)
        return pressure, charge, boost_torque(share, speed, charge.torque, limit, 0.1, motor)

    def rates(_, y):
        pressure, charge, torque = parts(y)
        flap = flap_flow(6e-4, IN, COLD, pressure)
        drawn = -displaced * pressure / (GAS_CONSTANT * y[2])
        flow = charge.mass_flow + flap + drawn
        heat = carried(charge.mass_flow, charge.temperature, y[2]) + carried(flap, COLD, y[2]) + drawn * y[2]
        return [(torque - charge.torque) / motor.inertia, *plenum_rates(flow, heat, y[1], y[2], GAMMA)]

    start = [0.0, IN * VOLUME / (GAS_CONSTANT * COLD), COLD]
    run = solve_ivp(rates, (0.0, 4.0), start, rtol=1e-7, atol=[1e-3, 1e-9, 1e-5], method="LSODA")
    pressures = np.array([parts(y)[0] for y in run.y.T])
    assert pressures.min() > 0.99 * IN
    assert pressures.max() < 1.02 * target
    pressure, charge, torque = parts(run.y[:, -1])
    assert pressure == pytest.approx(target, rel=1e-6)
    steady = charge_for(charge.mass_flow, target, IN, COLD, COMPRESSOR, NO_INTERCOOLER)
    assert run.y[0, -1] == pytest.approx(steady.speed, rel=1e-5)
    assert run.y[2, -1] == pytest.approx(steady.temperature, rel=1e-5)
    point = electric_point(torque, run.y[0, -1], 340.0, crank, motor, supply)
    assert point.shaft == pytest.approx(steady.power, rel=1e-4)
    assert charge.flags & CHOKE == 0
    reached = run.t[np.argmax(pressures > IN + 0.9 * 33e3)]
    assert 0.05 < reached < 1.5  # s: at most what the kinetic energy takes at full power several times over
