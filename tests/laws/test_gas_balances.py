"""Energy, mass and elements of the working cycle close; finer steps change nothing; more of a cause, more effect."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.gas_cases import engine_with
from vibsim.engine.cycle import Cycle, solve_at, solve_cycle
from vibsim.engine.cycle_setup import conditions_of
from vibsim.engine.fuels import FUELS
from vibsim.engine.volume import cylinder_volume

RAD_PER_RPM = math.pi / 30.0


def energy_left(cycle: Cycle) -> float:
    """What the first law leaves over, J."""
    out = cycle.work + cycle.scavenge_work + cycle.wall_heat + cycle.enthalpy_out
    return cycle.enthalpy_in - out


def check_balances(cycle: Cycle) -> None:
    # the cycle closes to 2e-5 of masses and temperature; its steps leave some 1e-5 of the energy
    pumped = 101325.0 * cycle.swept_volume
    assert abs(energy_left(cycle)) < 1e-4 * max(cycle.fuel_heat, pumped)
    mass = cycle.trapped_mass
    assert cycle.air_mass + cycle.fuel_mass == pytest.approx(cycle.exhaust_mass + cycle.leak_mass, abs=5e-5 * mass)
    if cycle.leak_mass == 0.0:  # burnt gas is fuel and air in one proportion, so that this closes the elements
        assert cycle.fuel_mass == pytest.approx(cycle.exhaust_fuel + cycle.burned_mass, abs=5e-5 * mass)
        used = cycle.burned_mass * cycle.gas.air_per_fuel
        assert cycle.air_mass == pytest.approx(cycle.exhaust_air + used, abs=5e-5 * mass)
    assert min(cycle.mass.min(), cycle.temperature.min(), cycle.pressure.min()) > 0.0
    assert cycle.burnt.min() > -1e-9 * mass


@st.composite
def points(draw: st.DrawFn) -> tuple[dict[str, Any], dict[str, Any], float, float]:
    """Keys of the gas, of the engine, speed (rad/s) and load."""
    number = st.floats
    fuel = draw(st.sampled_from(["petrol", "ethanol", "diesel"]))
    strokes = draw(st.sampled_from([4, 4, 2]))
    gas: dict[str, Any] = {"fuel": fuel, "wall_heat_law": draw(st.sampled_from(["woschni", "hohenberg"]))}
    stoichiometric = {"petrol": 14.3, "ethanol": 9.0, "diesel": 14.4}[fuel]
    gas["air_fuel_ratio"] = stoichiometric * draw(number(1.2, 4.0) if fuel == "diesel" else number(0.8, 1.6))
    gas["exhaust_pressure_kPa"] = draw(number(100.0, 150.0))
    gas["blow_by_area_mm2"] = draw(st.sampled_from([0.0, 0.0, 1.0]))
    gas["intake_temperature_K"] = draw(number(260.0, 360.0))
    if strokes == 2:
        gas["scavenging"] = draw(number(0.0, 1.0))
    elif draw(st.booleans()):
        gas["intake_pressure_kPa"] = draw(number(90.0, 250.0))
    ratio = draw(number(14.0, 20.0) if fuel == "diesel" else number(7.0, 13.0))
    bore = draw(number(40.0, 200.0))
    engine = {
        "strokes": strokes,
        "compression_ratio": ratio,
        "bore_mm": bore,
        "stroke_mm": bore,
        "rod_length_mm": 2.0 * bore,
    }
    piston_speed = draw(number(3.0, 18.0))
    return gas, engine, piston_speed * math.pi / (1e-3 * bore), draw(number(0.15, 1.0))


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(points())
def test_balances(point: tuple[dict[str, Any], dict[str, Any], float, float]) -> None:
    gas, engine, speed, load = point
    check_balances(solve_cycle(*engine_with(gas, **engine), speed, load))


@pytest.mark.parametrize(
    ("gas", "engine", "rpm", "load"),
    [
        ({}, {}, 100.0, 1.0),
        ({}, {}, 300.0, 0.0),
        ({}, {}, 12000.0, 0.0),
        ({}, {}, 12000.0, 1.0),
        ({"fuel_cut": True}, {}, 3000.0, 0.0),
        ({"fuel": "diesel"}, {"compression_ratio": 17.0}, 2500.0, 0.0),
        ({"fuel": "diesel"}, {"compression_ratio": 17.0}, 900.0, 0.05),
        ({"burn_start_deg": 60.0, "burn_duration_deg": 70.0, "combustion_efficiency": 1.0}, {}, 3000.0, 1.0),
        ({"half_burned_deg": 120.0, "combustion_efficiency": 1.0}, {}, 3000.0, 1.0),
        ({"air_fuel_ratio": 9.0}, {}, 3000.0, 0.5),
        ({}, {"strokes": 2}, 900.0, 0.0),
        ({"intake_pressure_kPa": 130.0}, {"strokes": 2}, 3000.0, 1.0),
        ({"blow_by_area_mm2": 5.0}, {}, 300.0, 0.5),
        ({"intake_opens_deg": 320.0, "exhaust_closes_deg": 400.0}, {}, 1500.0, 0.2),
    ],
)
def test_balances_at_the_edges(gas: dict[str, Any], engine: dict[str, Any], rpm: float, load: float) -> None:
    """Cranking, the highest speeds, no fuel, burns into blowdown, rich beyond burning, blow-by, overlap."""
    check_balances(solve_cycle(*engine_with(gas, **engine), rpm * RAD_PER_RPM, load))


@pytest.mark.parametrize("fuelling", [0.0, 0.7, 1.3])
def test_one_cylinder_fuelled_unlike_the_others(fuelling: float) -> None:
    engine, cylinder = engine_with({})
    cycle = solve_cycle(engine, replace(cylinder, fuelling=fuelling), 300.0, 0.6)
    check_balances(cycle)
    assert (cycle.burn is None) == (fuelling == 0.0)
    assert (cycle.work > 0.0) == (fuelling > 0.0)
    assert cycle.fuel_mass == pytest.approx(fuelling / FUELS["petrol"].air_needed * cycle.air_mass)


@pytest.mark.parametrize(
    ("gas", "engine", "rpm", "load"),
    [
        ({}, {}, 900.0, 0.0),
        ({}, {}, 900.0, 1.0),
        ({}, {}, 3000.0, 0.3),
        ({}, {}, 4500.0, 1.0),
        ({}, {}, 12000.0, 1.0),
        ({"fuel": "diesel"}, {"compression_ratio": 17.0}, 2500.0, 1.0),
        ({}, {"strokes": 2}, 6000.0, 1.0),
    ],
)
def test_finer_steps_change_nothing(gas: dict[str, Any], engine: dict[str, Any], rpm: float, load: float) -> None:
    """Cells four times finer: mean and peak pressure within 0.1 %, as stated."""
    single, cylinder = engine_with(gas, **engine)
    at = conditions_of(single, rpm * RAD_PER_RPM, load)
    cycle, fine = solve_at(single, cylinder, at), solve_at(single, cylinder, at, 4)
    assert abs(cycle.mean_pressure - fine.mean_pressure) < 1e-3 * fine.gross_mean_pressure
    assert cycle.peak_pressure == pytest.approx(fine.peak_pressure, rel=1e-3)
    assert cycle.exhaust_temperature == pytest.approx(fine.exhaust_temperature, abs=0.5)


def test_cranking_is_within_a_hundredth_of_a_bar() -> None:
    """At 300 rpm valves level pressures far faster than a cell; they are softened to a tenth of a degree or so."""
    engine, cylinder = engine_with({})
    for load in (0.0, 1.0):
        at = conditions_of(engine, 300.0 * RAD_PER_RPM, load)
        cycle, fine = solve_at(engine, cylinder, at), solve_at(engine, cylinder, at, 4)
        assert abs(cycle.mean_pressure - fine.mean_pressure) < 1e3


def test_work_is_that_of_the_pressure_curve() -> None:
    """∫ p dV over the nodes, by the trapezoid rule, with two degrees between."""
    engine, cylinder = engine_with({})
    cycle = solve_cycle(engine, cylinder, 300.0, 0.8)
    slope = cylinder_volume(cylinder, cycle.angle)[1]
    assert np.trapezoid(cycle.pressure * slope, cycle.angle) == pytest.approx(cycle.work, rel=1e-3)


def test_a_slope_is_that_of_the_pressure() -> None:
    engine, cylinder = engine_with({})
    cycle = solve_cycle(engine, cylinder, 300.0, 0.8)
    middle = (cycle.pressure[2:] - cycle.pressure[:-2]) / (2.0 * cycle.angle[1])
    # h²/6 of the third derivative, where valves and burn begin and end that of a corner
    assert np.abs(middle - cycle.pressure_slope[1:-1]).max() < 5e-3 * np.abs(middle).max()


def test_more_gives_more() -> None:
    """Load, compression, boost and an early enough burn raise mean or peak pressure; walls and blow-by take from it."""
    engine, cylinder = engine_with({})
    loads = [solve_cycle(engine, cylinder, 300.0, load).mean_pressure for load in np.linspace(0.0, 1.0, 9)]
    assert np.all(np.diff(loads) > 0.0)
    base = solve_cycle(engine, cylinder, 300.0, 1.0)
    squeezed = solve_cycle(engine, replace(cylinder, compression_ratio=13.0), 300.0, 1.0)
    assert squeezed.gross_work > base.gross_work
    assert squeezed.peak_pressure > base.peak_pressure
    leaky = solve_cycle(*engine_with({"blow_by_area_mm2": 1.0}), 300.0, 1.0)
    tight = solve_cycle(*engine_with({"wall_heat_factor": 0.0}), 300.0, 1.0)
    assert leaky.gross_work < base.gross_work < tight.gross_work
    late = solve_at(engine, cylinder, replace(conditions_of(engine, 300.0, 1.0), late=math.radians(10.0)))
    assert late.peak_pressure < base.peak_pressure
    assert late.gross_work < base.gross_work
    assert late.valve_temperature > base.valve_temperature


def test_closed_angle_of_shutting() -> None:
    """The valves are shut where the last one closes, also when that is a two-stroke's exhaust."""
    four, two = engine_with({}), engine_with({}, strokes=2)
    assert math.degrees(solve_cycle(*four, 300.0, 1.0).valves_shut) == pytest.approx(590.0)
    assert math.degrees(solve_cycle(*two, 300.0, 1.0).valves_shut) == pytest.approx(265.0)


def test_a_two_stroke_gets_the_charge_its_crankcase_delivers() -> None:
    engine, cylinder = engine_with({}, strokes=2)
    for load, delivery in ((0.0, 0.2), (1.0, 0.85)):
        cycle = solve_cycle(engine, cylinder, 300.0, load)
        moles = cycle.air_mass / 28.96e-3 + cycle.fuel_mass / FUELS["petrol"].molar_mass
        fill = 101325.0 * cylinder.swept_volume / (8.314 * 315.0)
        assert moles == pytest.approx(delivery * fill, rel=1e-3)
        assert cycle.scavenge_work > 0.0


def test_scavenging_ahead_keeps_more_of_the_charge() -> None:
    kept = [
        1.0 - cycle.residual_share
        for cycle in (solve_cycle(*engine_with({"scavenging": s}, strokes=2), 400.0, 1.0) for s in (0.0, 0.5, 1.0))
    ]
    assert np.all(np.diff(kept) > 0.0)
