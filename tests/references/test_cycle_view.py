"""The view of the working cycle against what follows from its own curves and from the laws behind them."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from tests import cases
from tests.gas_cases import engine_with, ideal_gas
from vibsim.engine.burn import wiebe_angle
from vibsim.engine.cycle import solve_at, solve_cycle
from vibsim.engine.cycle_curves import burned_angle, cycle_curves
from vibsim.engine.cycle_energy import energy_of
from vibsim.engine.cycle_setup import conditions_of
from vibsim.inputs.loader import CaseFile, build_case
from vibsim.studies.cycle_view import CycleView, find_cycles, point_as_dict

SPEED = 3000.0 * math.pi / 30.0
ENGINES: list[dict[str, Any]] = [
    {},
    {"intake_pressure_kPa": 160.0, "air_fuel_ratio": 12.0},  # boosted and rich: gas exchange gives work
    {"fuel": "diesel"},
    {"fuel_cut": True},
    {"blow_by_area_mm2": 1.0},
    {"wall_heat_law": "hohenberg", "fuel": "ethanol"},
]


def view_of(gas: dict[str, Any], **keys: Any) -> CycleView:
    raw = cases.single()
    raw["engine"]["gas"] = {"source": "cycle"} | gas
    if gas.get("fuel") == "diesel":
        raw["engine"]["compression_ratio"] = 18.0
    raw["run"] = raw["run"] | {"load": 0.6}
    return find_cycles(CaseFile(build_case(raw), text="", folder=cases.CONFIGS, name="a case"), **keys)


@pytest.mark.parametrize("gas", ENGINES)
def test_work_is_the_area_of_the_curve(gas):
    point = view_of(gas).points[0]
    curves, cycle = point.curves, point.cycle
    fine = float(np.trapezoid(curves.pressure, curves.volume))
    coarse = float(np.trapezoid(curves.pressure[::2], curves.volume[::2]))
    # the trapezoid's own error by halving its step (Richardson), and 1e-4 of the gross work for the cubics between
    # nodes against the solver's finer steps
    error = abs(fine - coarse) + 1e-4 * max(abs(cycle.gross_work), 1e5 * cycle.swept_volume)
    assert fine == pytest.approx(cycle.mean_pressure * cycle.swept_volume, abs=error)
    shut = np.abs(curves.angle) <= math.pi + 1e-9
    gross = float(np.trapezoid(curves.pressure[shut], curves.volume[shut]))
    assert gross == pytest.approx(point.energy.gross, abs=error)


@pytest.mark.parametrize("gas", ENGINES)
def test_wall_heat_is_the_area_of_its_rate(gas):
    point = view_of(gas).points[0]
    curves = point.curves
    fine, coarse = (float(np.trapezoid(curves.wall_rate[::n], curves.angle[::n])) for n in (1, 2))
    # Woschni's gas speed jumps as valves move: the trapezoid misses up to half a step of that, twice a cycle
    jump = float(np.abs(np.diff(curves.wall_rate)).max() * np.diff(curves.angle)[0])
    size = max(float(np.trapezoid(np.abs(curves.wall_rate), curves.angle)), 1.0)
    assert fine == pytest.approx(point.cycle.wall_heat, abs=abs(fine - coarse) + jump + 1e-3 * size)


@pytest.mark.parametrize(("gas", "strokes"), [(gas, 4) for gas in ENGINES] + [({}, 2), ({"fuel": "diesel"}, 2)])
def test_energy_closes(gas, strokes):
    ratio = 18.0 if gas.get("fuel") == "diesel" else 9.0
    engine, cylinder = engine_with(gas, strokes=strokes, compression_ratio=ratio)
    cycle = solve_cycle(engine, cylinder, SPEED, 0.6)
    energy = energy_of(cycle)
    assert abs(energy.error) < 1e-4 * max(energy.fuel, 101325.0 * cycle.swept_volume)
    assert energy.work == pytest.approx(energy.gross + energy.gas_exchange)
    assert (energy.unburned > 0.0) == (energy.fuel > 0.0)


def test_energy_of_an_ideal_gas_by_hand():
    """Derived: with one gas of constant heat capacity the exhaust carries m·c_p·(T − T_intake), the port takes
    m·c_p·(T_valve − T_past), and what does not burn keeps its heating value."""
    keys = ideal_gas(1.35, combustion_efficiency=0.9, wall_heat_factor=1.0, exhaust_port_heat_factor=1.0)
    engine, cylinder = engine_with(keys | {"burn_start_deg": -10.0, "burn_duration_deg": 40.0})
    cycle = solve_cycle(engine, cylinder, SPEED, 1.0)
    energy = energy_of(cycle)
    capacity = 287.0 * 1.35 / 0.35
    heat = cycle.exhaust_mass * capacity * (cycle.exhaust_temperature - 315.0)
    assert energy.exhaust == pytest.approx(heat, abs=1e-4 * energy.fuel)
    # backflow of the port's cooled gas makes what passes the valve outward a little more than what leaves
    least = cycle.exhaust_mass * capacity * (cycle.valve_temperature - cycle.exhaust_temperature)
    assert least <= energy.port < 1.2 * least
    burned = cycle.burned_mass / cycle.fuel_mass
    assert energy.unburned == pytest.approx((1.0 - burned) * energy.fuel, rel=1e-9)
    # of what is trapped, a little of it left over from the cycle before; to how well the cycle closes
    assert cycle.burned_mass == pytest.approx(0.9 * cycle.trapped_fuel, rel=1e-4)


def test_burned_angles_are_wiebes():
    engine, cylinder = engine_with({"burn_start_deg": -20.0, "burn_duration_deg": 50.0, "wiebe_a": 6.9})
    cycle = solve_cycle(engine, cylinder, SPEED, 1.0)
    whole = -math.expm1(-6.9)
    for share in (0.1, 0.5, 0.9):
        exact = -20.0 + 50.0 * wiebe_angle(share * whole, 6.9, 2.0)
        found = burned_angle(cycle, share)
        assert found is not None
        # interpolated in a table of 1024 steps: at most one step off
        assert math.degrees(found) == pytest.approx(exact, abs=50.0 / 1024.0)
    curves = cycle_curves(engine, cylinder, cycle)
    at = np.interp([0.1, 0.5, 0.9], curves.burned, np.degrees(curves.angle))
    exact_all = [-20.0 + 50.0 * wiebe_angle(share * whole, 6.9, 2.0) for share in (0.1, 0.5, 0.9)]
    # straight between half degrees: h²/8 of the curvature over the slope, well below a tenth of a step
    assert at == pytest.approx(exact_all, abs=0.05)


def test_burned_share_is_that_of_the_gas_in_the_cylinder():
    """Burnt gas grows by (1 + air per fuel) for each kg burned: an independent count by the solver's state."""
    engine, cylinder = engine_with({})
    cycle = solve_cycle(engine, cylinder, SPEED, 0.6)
    curves = cycle_curves(engine, cylinder, cycle)
    nodes = np.concatenate([cycle.angle[-61:-1] - cycle.angle[-1], cycle.angle[:60]])
    burnt = np.concatenate([cycle.burnt[-61:-1], cycle.burnt[:60]])
    counted = (burnt - burnt[0]) / ((1.0 + cycle.gas.air_per_fuel) * cycle.burned_mass)
    assert np.interp(nodes, curves.angle, curves.burned) == pytest.approx(counted, abs=2e-4)


def test_heat_release_from_pressure_and_volume():
    """First law of an ideal gas, no wall heat: dQ = (γ·p dV + V dp)/(γ − 1), against Wiebe's curve."""
    gamma = 1.3
    keys = ideal_gas(gamma, burn_start_deg=-20.0, burn_duration_deg=60.0)
    engine, cylinder = engine_with(keys)
    cycle = solve_cycle(engine, cylinder, SPEED, 1.0)
    curves = cycle_curves(engine, cylinder, cycle)
    shut = np.abs(curves.angle) < math.radians(170.0)
    angle, p, v = curves.angle[shut], curves.pressure[shut], curves.volume[shut]
    rate = (gamma * p * np.gradient(v, angle) + v * np.gradient(p, angle)) / (gamma - 1.0)
    # slopes are those of parabolas through 2° nodes: h²/6 of the third derivative, about (2π/60°)² times the rate
    # but for the cell on either side of where Wiebe's function ends in a step
    smooth = np.abs(np.degrees(angle) - 40.0) > 2.0
    assert rate[smooth] == pytest.approx(curves.heat_rate[shut][smooth], abs=0.015 * curves.heat_rate.max())
    total = np.concatenate([[0.0], np.cumsum(0.5 * (rate[1:] + rate[:-1]) * np.diff(angle))])
    assert total == pytest.approx(cycle.heat_released * curves.burned[shut], abs=2e-3 * cycle.heat_released)
    assert float(np.trapezoid(curves.heat_rate, curves.angle)) == pytest.approx(cycle.heat_released, rel=1e-3)


def test_exponents_of_an_ideal_gas_are_its_own():
    keys = ideal_gas(1.37, burn_start_deg=-10.0, burn_duration_deg=30.0)
    point = view_of(keys).points[0]
    for found in (point.compression, point.expansion):
        assert found is not None
        # isentropic: only the last 1 % that burns bends the expansion
        assert found.exponent == pytest.approx(1.37, abs=2e-4 if found is point.compression else 5e-3)


def test_temperature_follows_the_gas_law():
    keys = ideal_gas(1.37, burn_start_deg=-10.0, burn_duration_deg=30.0)
    point = view_of(keys).points[0]
    curves, shut = point.curves, np.abs(point.curves.angle) < math.radians(170.0)
    mass = point.cycle.trapped_mass
    expected = curves.pressure * curves.volume / (287.0 * mass)
    assert curves.temperature[shut] == pytest.approx(expected[shut], rel=1e-4)


def test_motored_curve_has_the_same_intake_and_no_fuel():
    view = view_of({}, speeds=[SPEED], loads=[0.4])
    point = view.points[0]
    engine, cylinder = engine_with({"fuel_cut": True})
    alone = solve_at(engine, cylinder, conditions_of(engine, SPEED, 0.4))
    assert point.motored is not None
    assert point.motored.pressure.max() == pytest.approx(alone.peak_pressure, rel=1e-3)
    assert not point.motored.heat_rate.any()
    assert view_of({"fuel_cut": True}).points[0].motored is None


def test_rates_of_fuel():
    found = point_as_dict(view_of({}).points[0])
    mean = found["indicated_mean_pressure_bar"] * 1e5 * found["fuel_mass_mg"]
    cycle = view_of({}).points[0].cycle
    hand = found["fuel_mass_mg"] * 1e-3 / (mean / found["fuel_mass_mg"] * cycle.swept_volume / 3.6e6)
    assert found["indicated_fuel_consumption_g_per_kWh"] == pytest.approx(hand)
    assert point_as_dict(view_of({"fuel_cut": True}).points[0])["indicated_fuel_consumption_g_per_kWh"] is None


def test_injection_of_a_spray():
    found = point_as_dict(view_of({"fuel": "diesel"}).points[0])
    assert found["injection_deg"] == pytest.approx(-12.0)
    assert found["injection_deg"] < found["ignition_deg"] < found["burned_10_deg"]
    assert found["knock_margin_octane_numbers"] is None
    assert point_as_dict(view_of({}).points[0])["injection_deg"] is None
