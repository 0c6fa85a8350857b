"""Keys of the working cycle that go together or not at all, burns and points that cannot be: a line with the key."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from tests.cases import single
from tests.gas_cases import engine_with
from vibsim.engine.cycle import solve_at, solve_cycle
from vibsim.engine.cycle_setup import conditions_of
from vibsim.inputs.errors import InputError, VibsimError
from vibsim.inputs.loader import build_case


@pytest.mark.parametrize(
    ("gas", "strokes", "words"),
    [
        (
            {"fuel": "diesel", "ethanol_share": 0.1},
            4,
            r"engine\.gas\.ethanol_share: got 0\.1; goes with fuel = .petrol",
        ),
        ({"fuel": "ethanol", "ethanol_share": 0.1}, 4, r"ethanol_share: got 0\.1; goes with fuel = .petrol.*ethanol"),
        ({"fuel": "diesel", "half_burned_deg": 8}, 4, "half_burned.*goes with a fuel that a spark lights"),
        ({"fuel": "diesel", "octane_number": 95}, 4, "octane_number: got 95"),
        ({"fuel": "diesel", "closed_throttle_pressure_kPa": 30}, 4, "closed_throttle_pressure.*four-stroke"),
        ({"closed_throttle_pressure_kPa": 30}, 2, "closed_throttle_pressure.*four-stroke"),
        ({"injection_start_deg": -10}, 4, "injection_start.*goes with fuel = .diesel"),
        ({"fuel": "diesel", "wiebe_m": 1.5}, 4, "wiebe_m: got 1.5; goes with burn_duration_deg in a diesel"),
        ({"second_burn_duration_deg": 60}, 4, "second_burn_duration.*goes with second_burn_share"),
        ({"burn_start_deg": -10, "half_burned_deg": 8}, 4, "half_burned.*goes without burn_start_deg"),
        ({"gas_constant_J_per_kg_K": 300}, 4, "gas_constant.*goes with heat_capacity_ratio"),
        ({"lower_heating_value_MJ_per_kg": 40}, 4, "lower_heating_value.*goes with heat_capacity_ratio"),
        ({"heat_capacity_ratio": 1.4, "charge_cooling_share": 0.5}, 4, "charge_cooling_share.*goes without"),
        ({"scavenging": 0.5}, 4, "scavenging: got 0.5; goes with strokes = 2"),
        ({"heat_capacity_ratio": 0.9}, 4, "heat_capacity_ratio: got 0.9"),
        ({"fuel": "kerosene"}, 4, "engine.gas.fuel: got 'kerosene'"),
        ({"ethanol_share": 1.5}, 4, "ethanol_share: got 1.5.*at most 1"),
    ],
)
def test_keys_that_would_do_nothing(gas, strokes, words):
    raw = single()
    raw["engine"] |= {"gas": {"source": "cycle"} | gas, "strokes": strokes}
    with pytest.raises(InputError, match=words):
        build_case(raw)


@pytest.mark.parametrize(
    ("gas", "words"),
    [
        ({"burn_start_deg": -10, "burn_duration_deg": 170}, r"burn_start_deg, burn_duration_deg: got -10 to 160 deg"),
        ({"burn_start_deg": -140}, r"engine\.gas\.burn_start_deg: got -140 deg; must lie between .* -130 deg, and"),
        (
            {"half_burned_deg": 8, "burn_duration_deg": 300},
            r"half_burned_deg, burn_duration_deg: got -146\.762 to 153\.238",
        ),
        ({"half_burned_deg": 140}, r"half_burned_deg: got 140 deg; must lie .* and the first .*, 130 deg"),
        ({"fuel": "diesel", "injection_start_deg": -150}, r"injection_start_deg: got -150 deg"),
        ({"intake_opens_deg": 700, "intake_closes_deg": 100}, r"intake_opens_deg.*must be shut at firing top dead"),
        (
            {"exhaust_opens_deg": 130, "exhaust_closes_deg": 130},
            r"exhaust_opens_deg, exhaust_closes_deg: got 130 and 130",
        ),
        ({"intake_flow_area_mm2": 0.01}, r"intake_flow_area: got 0\.01 mm2; must lie between 20\.4 and 4\.07e\+03 mm2"),
        ({"exhaust_flow_area_mm2": 1e6}, r"exhaust_flow_area: got 1e\+06 mm2; must lie between"),
        ({"air_fuel_ratio": 60.0}, r"air_fuel_ratio: got 60; must be at most 29\.3 for this fuel: no flame"),
    ],
)
def test_burns_and_valves_that_cannot_be(gas, words):
    with pytest.raises(InputError, match=words):
        solve_cycle(*engine_with(gas), 300.0, 1.0)


def test_a_burn_pushed_out_by_one_cylinder():
    engine, cylinder = engine_with({"burn_start_deg": 0, "burn_duration_deg": 60})
    with pytest.raises(InputError, match=r"got 0 to 60 deg, 80 deg later in this cylinder; must"):
        solve_cycle(engine, replace(cylinder, burn_shift=math.radians(80.0)), 300.0, 1.0)


@pytest.mark.parametrize(
    ("speed", "load", "words"),
    [
        (300.0, 1.2, r"load: got 1\.2; must lie between 0 and 1"),
        (300.0, -0.1, r"load: got -0\.1; must lie between 0 and 1"),
        (300.0, math.nan, r"load: got nan; must lie between 0 and 1"),
        (0.0, 0.5, "speed: got 0 rpm; the working cycle needs a speed greater than 0"),
    ],
)
def test_points_that_cannot_be(speed, load, words):
    with pytest.raises(InputError, match=words):
        solve_cycle(*engine_with({}), speed, load)


def test_an_intake_that_cannot_be_held():
    with pytest.raises(
        VibsimError, match=r"at 48 rpm does not close: the exhaust fills the intake, where 30 kPa cannot"
    ):
        solve_cycle(*engine_with({}), 5.0, 0.0)


def test_a_gas_out_of_range():
    engine, cylinder = engine_with({})
    at = replace(conditions_of(engine, 300.0, 1.0), intake_temperature=6000.0)
    with pytest.raises(VibsimError, match=r"at 2865 rpm left the range of the gas model"):
        solve_at(engine, cylinder, at)


def test_no_heating_value_is_no_heat():
    engine, cylinder = engine_with({"heat_capacity_ratio": 1.35, "lower_heating_value_MJ_per_kg": 0.0})
    cycle = solve_cycle(engine, cylinder, 300.0, 1.0)
    assert cycle.fuel_heat == 0.0
    assert cycle.work < 0.0
