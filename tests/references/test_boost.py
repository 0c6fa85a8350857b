"""Ways of charging side by side: what goes in must come out, gains are ratios, and all have the same to do."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from tests.conftest import DEMO
from vibsim.engine.operating_point import MARGIN_MET, operating_point
from vibsim.inputs.charging_models import ElectricCharging, Intercooler, NoCharging
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import CaseFile, load_case
from vibsim.studies.boost import (
    HIGHEST_PISTON_SPEED,
    POINTS,
    Comparison,
    ambient_of,
    charger_ledger,
    compare_charging,
    energy_ledger,
    rows_of,
    usual_speeds,
)
from vibsim.studies.charging_choices import SHARED, SOURCES, UNCHARGED, choices, engine_of, with_charging

RPM = math.pi / 30.0
KEPT = 2.0  # octane numbers
OWN = ElectricCharging(
    source="electric",
    boost_pressure=45e3,
    inlet_temperature=303.15,
    intercooler=Intercooler(effectiveness=0.6),
    added_mass=3.0,
    added_mass_at=(0.1, 0.0, 0.5),
    duty_period=30.0,
)


@cache
def demo() -> CaseFile:
    return load_case(DEMO)


@cache
def comparison() -> Comparison:
    return compare_charging(demo(), speeds=np.array([3000.0, 6000.0]) * RPM, margin=KEPT)


ALL = (UNCHARGED, *SOURCES)
INDICES = range(3)


def charged(source: str):
    return next(one for one in comparison().sources if one.source == source)


def test_every_source_at_every_speed():
    found = comparison()
    assert [one.source for one in found.sources] == list(ALL)
    assert found.speeds / RPM == pytest.approx([3000.0, 4000.0, 6000.0])
    assert found.speeds[found.main] / RPM == pytest.approx(4000.0)  # the run's
    assert all(point.load == 1.0 for one in found.sources for point in one.points)


@pytest.mark.parametrize("index", INDICES)
@pytest.mark.parametrize("source", ALL)
def test_the_fuel_pays_for_everything(source, index):
    """First law over a cycle of the whole engine; 1e-4 of the fuel is what each cycle's balance is closed to."""
    point = charged(source).points[index]
    fuel = sum(cycle.fuel_heat for cycle in point.cycles)
    ledger = energy_ledger(point)
    assert sum(ledger.values()) == pytest.approx(fuel, rel=1e-4)
    assert fuel == pytest.approx(sum(cycle.fuel_heat for cycle in point.cycles), rel=1e-12)
    paid = sum(ledger[name] for name in ("brake_work_J", "charging_J", "friction_J", "accessories_J"))
    assert paid == pytest.approx(point.indicated_torque * point.layout.cycle, rel=1e-12)


@pytest.mark.parametrize("index", INDICES)
@pytest.mark.parametrize("source", SOURCES)
def test_a_charger_gives_what_it_takes(source, index):
    """Powers balance: air and losses on one side; crank, battery and exhaust on the other. The turbine's is part of a
    fixed point that is found to 1e-6 of its pressures."""
    ledger = charger_ledger(charged(source).points[index])
    paid = sum(value for name, value in ledger.items() if name.startswith("from_"))
    spent = sum(value for name, value in ledger.items() if not name.startswith("from_"))
    assert ledger["into_air_J"] > 0.0
    assert spent == pytest.approx(paid, rel=1e-5)
    assert all(value >= 0.0 for value in ledger.values())


def test_nothing_charges_the_uncharged():
    assert all(charger_ledger(point) == {} for point in charged(UNCHARGED).points)
    assert charged(UNCHARGED).bus_power == pytest.approx(0.0)
    assert charged("electric").bus_power.min() > 100.0


@pytest.mark.parametrize("index", INDICES)
def test_gains_are_ratios_of_operating_points(index):
    """The points found again by themselves, from the cases with the margin as the option of the point."""
    cases, speed = choices(demo()), float(comparison().speeds[index])
    points = {name: operating_point(engine_of(case), case.folder, speed, 1.0, KEPT) for name, case in cases.items()}
    ambient = ambient_of(demo())
    for row in rows_of(comparison(), index):
        point, plain = points[row["source"]], points[UNCHARGED]
        assert row["gain_percent"] == pytest.approx(100.0 * (point.brake_torque / plain.brake_torque - 1.0), abs=1e-9)
        assert row["air_gain_percent"] == pytest.approx(100.0 * (point.air_flow / plain.air_flow - 1.0), abs=1e-9)
        assert row["power_kW"] == pytest.approx(1e-3 * point.brake_torque * speed)
        assert row["crank_pays_kW"] == pytest.approx(1e-3 * point.charging_torque * speed)
        assert row["boost_kPa"] == pytest.approx(1e-3 * (point.conditions.intake_pressure - ambient), abs=1e-9)
        fuel = 3.6e9 * sum(cycle.fuel_mass for cycle in point.cycles) / (point.brake_torque * point.layout.cycle)
        assert row["fuel_g_per_kWh"] == pytest.approx(fuel, rel=1e-9)


def test_all_keep_the_same_margin():
    """Those that must burn later meet it; those that need not have more."""
    assert comparison().margin == KEPT
    for one in comparison().sources:
        for point in one.points:
            assert point.margin_wanted == KEPT
            assert not point.knocks
            if point.conditions.late > 0.0:
                assert point.margin == pytest.approx(KEPT, abs=MARGIN_MET)
            else:
                assert point.margin >= KEPT
    late = [charged(source).points[0].conditions.late for source in ("none", "electric")]
    assert late[1] > late[0]


def test_only_an_electric_drive_grows_tired():
    for one in comparison().sources:
        if one.source != "electric":
            assert one.held == (None, None, None)
            continue
        assert all(held is not None and 0.0 < held.periodic_duty <= 1.0 for held in one.held)
        assert rows_of(comparison(), 1)[1]["lasting_duty"] == one.held[1].mean_duty


def test_a_third_of_a_bar_adds_less_air_than_pressure():
    """Hand calculation: at a pressure ratio of 1.34 and 70 % air of 25 °C warms by 298·(1.34^0.2857 − 1)/0.7 = 37 K, so
    that without an intercooler its density rises to 1.34/(1 + 37/298) = 1.19, not to 1.34."""
    assert pytest.approx(37.1, abs=0.2) == 298.15 * (1.34 ** (0.4 / 1.4) - 1.0) / 0.7
    for source in ("electric", "exhaust_turbine"):
        row, point = rows_of(comparison(), 1)[ALL.index(source)], charged(source).points[1]
        charge = point.boost.charge
        warmed = 298.15 * (charge.ratio ** (0.4 / 1.4) - 1.0) / charge.efficiency
        assert charge.temperature == pytest.approx(298.15 + warmed, rel=1e-5)
        density = charge.ratio / (1.0 + warmed / 298.15)
        assert density == pytest.approx(1.19, abs=0.03)
        # uncharged air is warmed by the manifold too, so that the engine gains more than that, but not the ratio
        assert 100.0 * (density - 1.0) < row["air_gain_percent"] < 100.0 * (charge.ratio - 1.0) - 4.0
        assert row["gain_percent"] < row["air_gain_percent"]  # the later burn and the drive cost some of it


@pytest.mark.parametrize("factor", [0.3, 0.5, 1.0, 1.4, 3.0])
def test_usual_speeds_are_round_and_within_the_piston_speed(factor):
    engine = demo().case.engine
    engine = engine.model_copy(update={"stroke": factor * engine.stroke})
    rpm = usual_speeds(replace(demo(), case=demo().case.model_copy(update={"engine": engine}))) / RPM
    step = rpm[1] - rpm[0]
    assert np.diff(rpm) == pytest.approx(step)
    assert rpm / step == pytest.approx(np.round(rpm / step))
    mantissa = step / 10.0 ** math.floor(math.log10(step))
    assert round(mantissa, 6) in (1.0, 2.0, 2.5, 5.0)
    assert POINTS - 1 <= len(rpm) <= 2 * POINTS
    fastest = 2.0 * engine.stroke * rpm[-1] / 60.0  # mean piston speed: two strokes a turn
    assert HIGHEST_PISTON_SPEED * (1.0 - step / rpm[-1]) < fastest <= HIGHEST_PISTON_SPEED


def test_choices_keep_what_the_case_has_and_share_the_rest():
    found = choices(with_charging(demo(), OWN))
    assert list(found) == list(ALL)
    assert isinstance(engine_of(found[UNCHARGED]).charging, NoCharging)
    assert engine_of(found["electric"]).charging == OWN
    for source in ("exhaust_turbine", "engine_driven"):
        charging = engine_of(found[source]).charging
        assert charging.source == source
        assert {name: getattr(charging, name) for name in SHARED} == {name: getattr(OWN, name) for name in SHARED}
        rest = set(type(charging).model_fields) - set(SHARED)
        usual = SOURCES[source](source=source)
        assert all(getattr(charging, name) == getattr(usual, name) for name in rest)


def test_a_target_replaces_all_targets():
    own = OWN.model_copy(update={"boost_pressure": None, "pressure_ratio": 1.5})
    found = choices(with_charging(demo(), own), boost=20e3, sources=["electric", "engine_driven"])
    assert list(found) == [UNCHARGED, "electric", "engine_driven"]
    for source in ("electric", "engine_driven"):
        charging = engine_of(found[source]).charging
        assert (charging.boost_pressure, charging.pressure_ratio) == (20e3, None)
    assert engine_of(found["electric"]).charging.duty_period == OWN.duty_period


def test_unknown_source():
    with pytest.raises(InputError, match=r"--source: got 'roots'; allowed: electric, exhaust_turbine, engine_driven"):
        choices(demo(), sources=["electric", "roots"])
