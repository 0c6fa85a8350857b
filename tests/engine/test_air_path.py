"""The air path as states of a run: balances at every moment and along a run, and where it comes to rest."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from tests.air_cases import AMBIENT, BOOST, COLD, DISPLACED, OUTLET, RICHER, VOLUME, air_path, warmed
from tests.gas_cases import engine_with
from vibsim.engine.air_flows import flow_table, node_conditions
from vibsim.engine.air_junction import Command, joint_behind
from vibsim.engine.air_path import (
    COUNTS,
    ENERGY,
    EXHAUST_MASS,
    INTAKE_MASS,
    INTAKE_TEMPERATURE,
    OPENING,
    ROTOR,
    WINDING,
    AirPath,
)
from vibsim.engine.air_steady import command_for, first_states, point_at, rates_at, settled_states
from vibsim.engine.charging.air import GAMMA, GAS_CONSTANT, HEAT_CAPACITY
from vibsim.engine.charging.charge_air import charge_for
from vibsim.engine.charging.driven import driven_point
from vibsim.engine.charging.nozzle import nozzle_flow
from vibsim.engine.charging.turbine import match_turbine
from vibsim.engine.charging.turbocharger import turbo_point
from vibsim.engine.cycle import solve_at
from vibsim.engine.layout import resolve_layout
from vibsim.engine.node_grid import Nodes
from vibsim.engine.throttle import opened_area
from vibsim.inputs.charging_models import Battery, BusAlternator, Intercooler
from vibsim.jit import kernel

CRANK = 262.0  # rad/s, 2500 rpm
TARGET = AMBIENT + BOOST
FULL = Command(1.0, TARGET)
CHARGED = ("electric", "exhaust_turbine", "engine_driven")
CV = HEAT_CAPACITY / GAMMA
joint_at = kernel(lambda *a: joint_behind(a[0], a[1], a[2], a[3], a[4]))


def run_of(path: AirPath, duration: float, start: np.ndarray | None = None, sums=None):
    """States over a run at one crank speed from a start; `sums` of a point are integrated beside them."""
    start = first_states(path) if start is None else start
    size, more = start.size, len(sums(point_at(start, CRANK, path), start)) if sums else 0

    def rates(_, y):
        own = rates_at(y[:size].copy(), CRANK, path)
        return own if not sums else np.append(own, sums(point_at(y[:size].copy(), CRANK, path), y))

    run = solve_ivp(rates, (0.0, duration), np.append(start, np.zeros(more)), method="LSODA", rtol=1e-9, atol=1e-12)
    assert run.success
    return run


@pytest.mark.parametrize("source", ["none", *CHARGED])
def test_the_intake_keeps_mass_and_energy(source):
    """Law: what came through compressor and flap less what was blown off and drawn is what the volume gained; its
    energy is the enthalpy of that, with the compressor's work and the walls' heat, less the intercooler's."""
    cooler = {} if source == "none" else {"intercooler": Intercooler()}
    path = air_path(source, FULL, **cooler)

    def sums(point, y):
        joint, drawn = point.joint, point.drawn
        came = joint.compressor_flow + joint.flap_flow if source != "none" else joint.flow
        work = joint.power - joint.cooler_heat - HEAT_CAPACITY * joint.blow_off * (joint.temperature - COLD)
        warmth = HEAT_CAPACITY * joint.flow * (warmed(joint.temperature) - joint.temperature)
        energy = HEAT_CAPACITY * ((came - joint.blow_off) * COLD - drawn.air * y[INTAKE_TEMPERATURE]) + work + warmth
        return [came - joint.blow_off - drawn.air, energy]

    start = first_states(path)
    start[OPENING], start[INTAKE_MASS] = 0.1, 0.4 * start[INTAKE_MASS]
    run = run_of(path, 1.5, start, sums)
    mass, temperature = run.y[INTAKE_MASS], run.y[INTAKE_TEMPERATURE]
    assert mass[-1] - mass[0] == pytest.approx(run.y[-2, -1], rel=1e-6)
    energy = CV * mass * temperature
    assert energy[-1] - energy[0] == pytest.approx(run.y[-1, -1], rel=1e-5)
    assert mass[-1] > 2.0 * mass[0]


def test_the_exhaust_volume_keeps_mass_and_energy():
    path = air_path("exhaust_turbine", FULL)
    gamma, constant = 1.33, 287.0
    capacity = gamma / (gamma - 1.0) * constant

    def sums(point, y):
        gone = point.spent.turbine_flow + point.spent.wastegate_flow
        drawn = point.drawn
        heat = capacity * (drawn.exhaust * drawn.temperature - gone * y[EXHAUST_MASS + 1])
        return [drawn.exhaust - gone, heat]

    run = run_of(path, 1.0, None, sums)
    mass, energy = run.y[EXHAUST_MASS], constant / (gamma - 1.0) * run.y[EXHAUST_MASS] * run.y[EXHAUST_MASS + 1]
    assert mass[-1] - mass[0] == pytest.approx(run.y[-2, -1], rel=1e-5)
    assert energy[-1] - energy[0] == pytest.approx(run.y[-1, -1], rel=1e-5)


@pytest.mark.parametrize("source", CHARGED)
def test_powers_balance_at_every_moment(source):
    """Law: what crank, battery and exhaust give is the compressor's work, the losses and what the rotor gains."""
    path = air_path(source, FULL)
    run = run_of(path, 1.0)
    for y in run.y.T[::20]:
        point = point_at(y.copy(), CRANK, path)
        shaft, electric, work = point.shaft, point.electric, point.joint.power
        given = shaft.crank_torque * CRANK
        if source == "engine_driven":
            assert given * 0.95 == pytest.approx(work, rel=1e-12)
            continue
        parts = path.charger.parts[0]
        if source == "electric":
            gained = parts.motor.inertia * shaft.rate * shaft.speed
            losses = electric.motor_loss + electric.inverter_loss + electric.battery_loss + electric.alternator_loss
            assert electric.battery + given == pytest.approx(work + losses + gained, abs=1e-9 * max(given, 1.0))
        else:
            turbine = parts.turbine
            gained = turbine.inertia * shaft.rate * shaft.speed
            losses = (1.0 - turbine.mechanical_efficiency) * point.spent.power + turbine.bearing * shaft.speed**2
            assert point.spent.power == pytest.approx(work + losses + gained, abs=1e-9 * max(point.spent.power, 1.0))
    if source == "electric":  # what left the battery is its power summed up
        battery = [point_at(y.copy(), CRANK, path).electric.battery for y in run.y.T]
        assert run.y[ENERGY, -1] == pytest.approx(np.trapezoid(battery, run.t), rel=1e-3)  # of the trapezoidal rule


def test_electric_boost_comes_to_its_steady_point():
    path = air_path("electric", FULL, intercooler=Intercooler())
    y = settled_states(path, CRANK)
    point, parts = point_at(y, CRANK, path), path.charger.parts[0]
    assert point.joint.pressure == pytest.approx(TARGET, rel=1e-7)
    flow = point.drawn.air
    steady = charge_for(flow, TARGET, AMBIENT, COLD, path.charger.compressor, parts.cooler)
    assert y[ROTOR] == pytest.approx(steady.speed, rel=1e-6)
    assert y[INTAKE_TEMPERATURE] == pytest.approx(warmed(steady.temperature), rel=1e-7)
    assert point.electric.shaft == pytest.approx(steady.power, rel=1e-6)
    # the intake's pressure is below the target by what the throttle's flow asks for
    area = float(opened_area(1.0, path.butterfly))
    args = TARGET, point.joint.temperature, point.intake_pressure, y[INTAKE_TEMPERATURE]
    assert flow == pytest.approx(float(nozzle_flow(area, *args, GAMMA, GAS_CONSTANT)), rel=1e-6)


def test_a_turbine_comes_to_its_steady_point():
    path = air_path("exhaust_turbine", FULL)
    y = settled_states(path, 2.0 * CRANK)
    point, parts = point_at(y, 2.0 * CRANK, path), path.charger.parts[0]
    assert 0.0 < point.spent.opening < 1.0
    drawn, ahead = point.drawn, point.joint.pressure
    args = drawn.air, drawn.exhaust, y[EXHAUST_MASS + 1], OUTLET, AMBIENT, COLD
    steady = turbo_point(ahead, *args, path.charger.compressor, parts.cooler, parts.turbine, path.charger.curve)
    assert y[ROTOR] == pytest.approx(steady.charge.speed, rel=1e-6)
    assert point.spent.pressure == pytest.approx(steady.back_pressure, rel=1e-6)
    assert point.spent.opening * parts.turbine.wastegate_area == pytest.approx(steady.wastegate_area, rel=1e-4)
    assert point.spent.wastegate_flow == pytest.approx(steady.wastegate_flow, rel=1e-4)
    assert y[EXHAUST_MASS + 1] == pytest.approx(drawn.temperature, rel=1e-7)
    power = match_turbine(
        point.joint.power, y[ROTOR], drawn.exhaust, y[EXHAUST_MASS + 1], OUTLET, parts.turbine, path.charger.curve
    )
    assert power.pressure == pytest.approx(point.spent.pressure, rel=1e-6)


@pytest.mark.parametrize("crank", [CRANK, 3.0 * CRANK])
def test_a_driven_compressor_comes_to_its_steady_point(crank):
    path = air_path("engine_driven", FULL)
    y = settled_states(path, crank)
    point, parts = point_at(y, crank, path), path.charger.parts[0]
    target = point.joint.pressure if crank == CRANK else TARGET
    steady = driven_point(
        crank, point.drawn.air, target, AMBIENT, COLD, path.charger.compressor, parts.cooler, parts.drive
    )
    assert steady.reached == (crank > CRANK) or point.joint.blow_off == pytest.approx(0.0, abs=1e-12)
    assert point.shaft.crank_torque == pytest.approx(steady.crank_torque, rel=1e-7)
    assert point.joint.pressure == pytest.approx(steady.charge.pressure, rel=1e-8)
    assert point.joint.blow_off == pytest.approx(steady.bypass_flow, rel=1e-6, abs=1e-9)
    assert (point.joint.blow_off > 0.0) == (crank > CRANK)


def test_without_charging_the_throttle_sets_the_pressure():
    path = air_path("none", Command(0.2, AMBIENT))
    y = settled_states(path, CRANK)
    pressure = point_at(y, CRANK, path).intake_pressure
    drawn = DISPLACED * CRANK * pressure / (GAS_CONSTANT * warmed(COLD))
    area = float(opened_area(0.2, path.butterfly))
    assert float(nozzle_flow(area, AMBIENT, COLD, pressure, COLD, GAMMA, GAS_CONSTANT)) == pytest.approx(
        drawn, rel=1e-8
    )
    assert pressure < 0.9 * AMBIENT


@settings(deadline=None, max_examples=60)
@given(
    source=st.sampled_from(CHARGED),
    speed=st.floats(0.0, 1.6e4),
    opening=st.floats(0.0, 1.0),
    intake=st.floats(2.5e4, 1.9e5),
)
def test_as_much_comes_to_the_throttle_as_goes_on(source, speed, opening, intake):
    """Law: mass of what meets ahead of the throttle, and energy with compressor's work and intercooler's heat."""
    path = air_path(source, FULL, intercooler=Intercooler())
    joint = joint_at(speed, opening, intake, 310.0, path)
    brought = joint.compressor_flow + joint.flap_flow
    # where pressures meet, flow answers steeply to their rounding: 1e-10 of what the flap passes at most, 0.14 kg/s
    assert brought == pytest.approx(joint.flow + joint.blow_off, rel=1e-9, abs=1.4e-11)
    heat = HEAT_CAPACITY * (brought * (joint.temperature - COLD)) - joint.power + joint.cooler_heat
    assert heat == pytest.approx(0.0, abs=1e-9 * (abs(joint.power) + abs(joint.cooler_heat) + 1.0))
    if source != "engine_driven":
        assert joint.pressure >= intake * (1.0 - 1e-9)
    assert joint.blow_off >= 0.0
    assert joint.flap_flow == 0.0 or joint.pressure < AMBIENT


def test_the_charge_counts_by_its_density():
    """At a node's temperature a node's flow; at another the flow of equal density, beyond the nodes in proportion."""
    path = air_path("none", Command(0.5, AMBIENT))
    for pressure, temperature in ((9e4, 310.0), (8e4, 310.0), (8e4, 360.0), (2.4e4, 310.0), (2.3e5, 310.0)):
        y = np.array([0.0, 0.5, pressure * VOLUME / (GAS_CONSTANT * temperature), temperature])
        drawn = point_at(y, CRANK, path).drawn
        expected = DISPLACED * CRANK * pressure / (GAS_CONSTANT * temperature)
        assert drawn.air == pytest.approx(expected, rel=2e-3)  # cubics between nodes some 10 % apart in density
        assert drawn.exhaust == pytest.approx(RICHER * drawn.air, rel=1e-12)
    assert point_at(y, 0.0, path).drawn.air == 0.0
    assert point_at(y, -5.0, path).drawn.air == 0.0


def test_an_empty_battery_leaves_the_alternator_alone():
    small = {"battery": Battery(energy=1500.0), "alternator": BusAlternator(power_limit=600.0)}
    path = air_path("electric", FULL, **small)
    run = run_of(path, 4.0)
    point = point_at(run.y[:, -1].copy(), CRANK, path)
    assert run.y[ENERGY, -1] == pytest.approx(1500.0, rel=0.02)
    assert point.electric.bus == pytest.approx(600.0, rel=1e-2)
    assert AMBIENT + 5e3 < point.intake_pressure < TARGET - 5e3
    peak = max(point_at(y.copy(), CRANK, path).intake_pressure for y in run.y.T)
    assert peak > point.intake_pressure + 2e3


def test_a_hot_winding_takes_the_boost_back():
    path = air_path("electric", FULL)
    y = settled_states(path, CRANK)
    y[WINDING] = 0.5 * (path.charger.parts[0].motor.winding_start + path.charger.parts[0].motor.winding_limit)
    hot = point_at(y, CRANK, path)
    y[WINDING] = path.charger.parts[0].motor.winding_limit
    assert point_at(y, CRANK, path).shaft.drive_torque == 0.0
    assert hot.shaft.drive_torque > 0.0


def test_switched_off_the_rotor_runs_down_and_nothing_is_drawn():
    path = air_path("electric", Command(1.0, AMBIENT))
    start = first_states(path)
    start[ROTOR] = 8000.0
    run = run_of(path, 3.0, start)
    assert np.all(np.diff(run.y[ROTOR]) < 0.0)
    assert run.y[ROTOR, -1] < 0.7 * 8000.0
    assert run.y[ENERGY, -1] == 0.0
    assert point_at(run.y[:, -1].copy(), CRANK, path).shaft.crank_torque == 0.0


@pytest.mark.parametrize("source", ["none", *CHARGED])
def test_the_command_meets_a_pressure(source):
    path = air_path(source, FULL)
    command, y = command_for(path, CRANK, 6e4)
    point = point_at(y, CRANK, path._replace(command=command))
    assert point.intake_pressure == pytest.approx(6e4, rel=1e-5)  # of the opening's accuracy
    assert 0.0 < command.opening < 0.5
    assert np.abs(rates_at(y, CRANK, path._replace(command=command))[OPENING:ROTOR] / y[OPENING:ROTOR]).max() < 1e-5
    assert command_for(path, CRANK, 3e5)[0].opening == 1.0  # as near as it comes


def test_the_charge_is_that_of_all_cylinders():
    """Flows per radian of crank are those of the cycles, over a cycle's angle."""
    engine, cylinder = engine_with({})
    layout = resolve_layout(engine)
    nodes = Nodes(np.array([200.0, 300.0]), np.array([8e4]), np.array([1.05e5, 1.5e5]))
    points = node_conditions(nodes, np.array([320.0]))
    table = flow_table(engine, layout, points)
    assert [(at.speed, at.exhaust_pressure) for at in points] == [(s, b) for s in nodes.speeds for b in nodes.exhausts]
    for row, at in zip(table, points, strict=True):
        cycle = solve_at(engine, cylinder, at)
        whole = cycle.air_mass, cycle.exhaust_mass, cycle.exhaust_temperature * 4.0 * np.pi, cycle.work
        assert row * 4.0 * np.pi == pytest.approx(whole, rel=1e-12)
    assert table[1, 0] < table[0, 0]  # back pressure leaves burnt gas in place of air


def test_states_by_source():
    assert [COUNTS[air_path(source, FULL).charger.kind] for source in ("none", *CHARGED)] == [4, 8, 7, 4]
