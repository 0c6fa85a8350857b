"""Charging keys: what they default to, and one clear line for what cannot be."""

from __future__ import annotations

from typing import Any

import jsonschema
import pytest

from tests.cases import single
from tests.engine.charging import maps
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import build_case
from vibsim.inputs.models import Case
from vibsim.inputs.schema import case_schema
from vibsim.solver.packed import pack


def charged(source: str, **keys: Any) -> dict[str, Any]:
    raw = single()
    raw["engine"]["gas"] = {"source": "cycle"}
    raw["engine"]["charging"] = {"source": source, "boost_pressure_kPa": 33.0} | keys
    return raw


def built(source: str, **keys: Any) -> Case:
    return build_case(charged(source, **keys))


SOURCES = ("electric", "exhaust_turbine", "engine_driven")


@pytest.mark.parametrize("source", SOURCES)
def test_a_source_and_a_target_are_enough(source):
    case = built(source)
    assert case.engine is not None
    assert case.engine.charging.source == source
    assert case.engine.charging.boost_pressure == 33e3


@pytest.mark.parametrize("source", SOURCES)
def test_the_schema_takes_what_the_loader_takes(source):
    raw = charged(source, compressor={"wheel_diameter_in": 1.8}, intercooler={"coolant_temperature_degC": 30.0})
    build_case(raw)
    jsonschema.Draft202012Validator(case_schema()).validate(raw)


def test_units_of_the_parts():
    case = built(
        "electric",
        motor={"power_limit_hp": 4.0, "speed_limit_rpm": 90e3, "heat_capacity_kJ_per_K": 0.5},
        battery={"voltage_V": 52.0, "resistance_mohm": 20.0, "energy_Wh": 100.0},
        inverter={"thermal_resistance_K_per_kW": 250.0, "temperature_limit_degC": 110.0},
        intercooler={"rated_mass_flow_g_per_s": 40.0, "pressure_loss_mbar": 30.0},
        intake_volume_cm3=1800.0,
        bypass_area_mm2=500.0,
    )
    assert case.engine is not None
    charging = case.engine.charging
    assert charging.motor.power_limit == pytest.approx(4.0 * 745.69987, rel=1e-7)  # mechanical horsepower
    assert charging.battery.resistance == pytest.approx(0.02, rel=1e-14)
    assert charging.battery.energy == pytest.approx(3.6e5, rel=1e-14)
    assert charging.inverter.thermal_resistance == pytest.approx(0.25, rel=1e-14)
    assert charging.inverter.temperature_limit == pytest.approx(383.15, rel=1e-14)
    assert charging.intercooler.rated_mass_flow == pytest.approx(0.04, rel=1e-14)
    assert charging.intercooler.pressure_loss == pytest.approx(3e3, rel=1e-14)
    assert charging.intake_volume == pytest.approx(1.8e-3, rel=1e-14)
    assert charging.bypass_area == pytest.approx(5e-4, rel=1e-14)


WRONG: dict[str, tuple[str, dict[str, Any], list[str]]] = {
    "unknown source": ("electrical", {}, ["charging.source", "did you mean electric"]),
    "key of another source": ("electric", {"turbine": {}}, ["charging.turbine", "unknown key"]),
    "no target": ("electric", {"boost_pressure_kPa": None}, ["boost_pressure_kPa", "missing", "pressure_ratio"]),
    "two targets": ("electric", {"pressure_ratio": 1.3}, ["pressure_ratio", "keep one"]),
    "no boost": ("electric", {"boost_pressure_kPa": 0.0}, ["boost_pressure_kPa", "greater than 0"]),
    "wrong unit": (
        "electric",
        {"motor": {"power_limit_N_m": 5.0}},
        ["power_limit_N_m", "not a power", "power_limit_kW"],
    ),
    "efficiency above 1": ("electric", {"inverter": {"efficiency": 1.1}}, ["inverter.efficiency", "at most 1"]),
    "file and wheel": (
        "electric",
        {"compressor": {"file": "map.csv", "wheel_diameter_mm": 50.0}},
        ["compressor.wheel_diameter_mm", "keep one"],
    ),
    "power beyond torque": (
        "electric",
        {"motor": {"torque_limit_N_m": 0.2}},
        ["motor.power_limit", "5 kW", "2.513 kW"],
    ),
    "loss shares": (
        "electric",
        {"motor": {"copper_share": 0.8}},
        ["motor.copper_share", "sum to 1.1"],
    ),
    "share of no split": (
        "electric",
        {"motor": {"losses": "constant_efficiency", "iron_share": 0.2}},
        ["motor.iron_share", "constant efficiency has none"],
    ),
    "rated beyond the limit": (
        "electric",
        {"motor": {"rated_speed_rpm": 200e3}},
        ["motor.rated_speed_rpm", "at most the speed limit"],
    ),
    "derating after the limit": (
        "electric",
        {"motor": {"derate_start_degC": 170.0}},
        ["motor.derate_start_degC", "below temperature_limit"],
    ),
    "coolant too hot": (
        "electric",
        {"coolant_temperature_degC": 95.0},
        ["inverter.derate_start", "363.15 K", "above coolant_temperature"],
    ),
    "too much current": (
        "electric",
        {"battery": {"resistance_mohm": 200.0}},
        ["battery.current_limit", "180 A", "120 A"],
    ),
    "mass without place": ("electric", {"added_mass_kg": 3.5}, ["added_mass_at_mm", "missing"]),
    "wastegate folded": (
        "exhaust_turbine",
        {"turbine": {"wastegate_opens_kPa": 40.0, "wastegate_fully_open_kPa": 35.0}},
        ["wastegate_fully_open_kPa", "35 kPa", "above wastegate_opens, 40 kPa"],
    ),
    "wastegate of no area": (
        "exhaust_turbine",
        {"turbine": {"wastegate_area_mm2": 0.0, "wastegate_opens_kPa": 30.0}},
        ["wastegate_area_mm2", "no area"],
    ),
    "file and parabola": (
        "exhaust_turbine",
        {"turbine": {"efficiency_file": "eta.csv", "peak_efficiency": 0.7}},
        ["turbine.peak_efficiency", "keep one"],
    ),
    "negative ratio": ("engine_driven", {"drive": {"ratio": -3.0}}, ["drive.ratio", "greater than 0"]),
}


@pytest.mark.parametrize("name", WRONG)
def test_what_cannot_be_gets_one_clear_line(name):
    source, keys, words = WRONG[name]
    raw = charged(source, **keys)
    raw["engine"]["charging"] = {key: value for key, value in raw["engine"]["charging"].items() if value is not None}
    with pytest.raises(InputError) as error:
        build_case(raw)
    assert len(error.value.problems) == 1
    for word in ["engine.charging", *words]:
        assert word in str(error.value)


@pytest.mark.parametrize("gas", [{"source": "none"}, {"source": "motored"}])
def test_charging_needs_a_cycle(gas):
    raw = charged("electric")
    raw["engine"]["gas"] = gas
    with pytest.raises(InputError, match=r"needs engine\.gas\.source = 'cycle'"):
        build_case(raw)


def test_a_bad_map_is_named_first(tmp_path):
    maps.write_map(tmp_path / "map.csv", maps.rows()[:11])
    case = built("electric", compressor={"file": "map.csv"})
    with pytest.raises(InputError, match=r"compressor\.file.*has 2 speed lines") as error:
        pack(case, tmp_path)
    assert len(error.value.problems) == 1
