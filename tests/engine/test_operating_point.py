"""The whole engine at a point: what throttle, charger and cylinders pass and take must agree, and add up."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest

from tests.cases import CONFIGS
from vibsim.engine.charging.air import GAMMA, GAS_CONSTANT
from vibsim.engine.charging.electric import motor_loss
from vibsim.engine.cycle import solve_cycle
from vibsim.engine.load_target import with_load
from vibsim.engine.operating_point import MARGIN_MET, OperatingPoint, operating_point, plant_of
from vibsim.engine.throttle import (
    area_for,
    butterfly_of,
    opened_area,
    opening_of,
    pressure_behind,
    throttle_flow,
)
from vibsim.inputs.charging_models import Compressor, DrivenCharging, ElectricCharging, Motor, TurbineCharging
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import load_case
from vibsim.inputs.models import Throttle
from vibsim.solver.crank_torque import mean_torque
from vibsim.solver.packed import pack

RPM = math.pi / 30.0
DEMO = load_case(CONFIGS / "v3-80-trike.toml").case
CHARGING = {
    "electric": ElectricCharging(source="electric", boost_pressure=33e3),
    "exhaust_turbine": TurbineCharging(source="exhaust_turbine", boost_pressure=33e3),
    "engine_driven": DrivenCharging(source="engine_driven", boost_pressure=33e3),
}
BORE = Throttle(diameter=0.044)


def engine_with(source: str = "none", throttle: Throttle | None = None, **gas):
    engine = DEMO.engine
    changed = {"throttle": throttle} | gas
    update = {"gas": engine.gas.model_copy(update=changed)}
    if source != "none":
        update["charging"] = CHARGING[source]
    return engine.model_copy(update=update)


@cache
def point(source: str = "none", rpm: float = 4000.0, load: float = 1.0, throttled: bool = False) -> OperatingPoint:
    return operating_point(engine_with(source, BORE if throttled else None), CONFIGS, rpm * RPM, load)


def test_a_plain_engine_is_its_cycle():
    engine, at = DEMO.engine, point("none", 3000.0, 0.5)
    for cylinder, cycle in zip(at.layout.cylinders, at.cycles, strict=True):
        assert cycle is solve_cycle(engine, cylinder, 3000.0 * RPM, 0.5)
    assert at.opening is None
    assert at.boost is None


@pytest.mark.parametrize("source", ["none", *CHARGING])
def test_brake_torque_is_that_of_the_solver(source):
    """Independent: the solver integrates the pressure curves over the crank's kinematics and adds up its own records of
    losses. The two differ by the error of its 1440 points (1e-4)."""
    run = DEMO.run.model_copy(update={"speed": 4000.0 * RPM, "load": 1.0})
    packed = pack(DEMO.model_copy(update={"engine": engine_with(source), "run": run}), CONFIGS)
    assert mean_torque(packed, run.speed) == pytest.approx(point(source).brake_torque, rel=1e-4)
    assert packed.point is None if source == "none" else packed.point.brake_torque == point(source).brake_torque


def test_butterfly_and_its_inverses():
    butterfly = butterfly_of(engine_with(throttle=BORE).gas, point().layout)
    for opening in (0.0, 0.01, 0.3, 0.9, 1.0):
        area = opened_area(opening, butterfly)
        assert opening_of(area, butterfly) == pytest.approx(opening, abs=1e-9)
        flow = throttle_flow(area, 1.013e5, 300.0, 0.9e5)
        assert area_for(flow, 1.013e5, 300.0, 0.9e5) == pytest.approx(area, rel=1e-12)
        assert pressure_behind(flow, area, 1.013e5, 300.0) == pytest.approx(0.9e5, rel=1e-9)
    # choked (Heywood 1988, app. C, from memory): (2/(γ + 1))^(γ/(γ − 1)) = 0.528 of the pressure ahead
    assert pressure_behind(1.0, 1e-4, 1e5, 300.0) == pytest.approx(52828.0, abs=1.0)
    usual = butterfly_of(DEMO.engine.gas, point().layout)
    assert 0.25 * math.pi * usual.diameter**2 == pytest.approx(1.1 * point().layout.swept_volume)


@pytest.mark.parametrize("load", [0.0, 0.3, 1.0])
@pytest.mark.parametrize("rpm", [1000.0, 4000.0, 8000.0])
def test_the_throttle_passes_what_the_engine_draws(rpm, load):
    at, engine = point("none", rpm, load, throttled=True), engine_with(throttle=BORE)
    area = opened_area(at.opening, butterfly_of(engine.gas, at.layout))
    behind, before = at.conditions.intake_pressure, engine.gas.ambient_pressure
    ratio = max(behind / before, (2.0 / (GAMMA + 1.0)) ** (GAMMA / (GAMMA - 1.0)))
    # isentropic nozzle, written out here again (Heywood 1988, app. C, from memory)
    flux = math.sqrt(2.0 * GAMMA / (GAMMA - 1.0) * (ratio ** (2.0 / GAMMA) - ratio ** ((GAMMA + 1.0) / GAMMA)))
    flow = area * before / math.sqrt(GAS_CONSTANT * at.conditions.intake_temperature) * flux
    if load == 1.0:  # within a per cent of ambient the flow is smoothed, and its own function serves
        flow = throttle_flow(area, before, at.conditions.intake_temperature, behind)
    assert flow == pytest.approx(at.air_flow, rel=2e-3 if load == 1.0 else 1e-5)
    assert at.opening == pytest.approx(load, abs=1e-3) if load in (0.0, 1.0) else 0.0 < at.opening < 0.9


def test_load_runs_from_the_shut_throttle_to_the_open_one():
    pressures = [point("none", 4000.0, load, throttled=True).conditions.intake_pressure for load in (0.0, 0.3, 1.0)]
    assert pressures[1] == pytest.approx(pressures[0] + 0.3 * (pressures[2] - pressures[0]), rel=1e-9)
    assert pressures[2] < 101325.0  # the open bore costs something
    slower = point("none", 1000.0, 0.0, throttled=True).conditions.intake_pressure
    assert slower > pressures[0]  # the same leak feeds a slower engine better


def test_the_intake_is_not_drawn_empty():
    tight = Throttle(diameter=0.044, leak_area=1e-7)
    at = operating_point(engine_with(throttle=tight), CONFIGS, 6000.0 * RPM, 0.0)
    assert at.conditions.intake_pressure == pytest.approx(10132.5)
    assert at.opening > 0.0
    assert at.brake_torque < 0.0


@pytest.mark.parametrize("source", CHARGING)
@pytest.mark.parametrize(("rpm", "load"), [(2500.0, 1.0), (6000.0, 1.0), (6000.0, 0.8), (6000.0, 0.3)])
def test_powers_of_the_charger_add_up_to_nothing(source, rpm, load):
    """Law: compressor, motor or turbine, losses and what the crank gives balance; the flow is the engine's."""
    at, engine = point(source, rpm, load), engine_with(source)
    boost, parts = at.boost, plant_of(engine, CONFIGS).charger.parts[0]
    if boost.charge is None:
        assert source == "electric"
        assert load == 0.3
        assert boost.crank_torque == 0.0
        return
    spare = boost.driven.bypass_flow if boost.driven else 0.0
    assert boost.charge.mass_flow - spare == pytest.approx(at.air_flow, rel=1e-5)
    power = boost.charge.power
    if boost.electric:
        point_ = boost.electric
        lost = motor_loss(boost.charge.torque, boost.charge.speed, parts.thermal.coolant, parts.motor)
        assert point_.bus == pytest.approx((power + lost) * (1.0 + parts.motor.inverter), rel=1e-9)
        assert point_.alternator + point_.battery - point_.battery_loss == pytest.approx(point_.bus, rel=1e-9)
        assert at.charging_torque * at.speed == pytest.approx(point_.alternator / parts.supply.efficiency, rel=1e-12)
    elif boost.turbo:
        turbo, speed = boost.turbo, boost.charge.speed
        bearing = parts.turbine.bearing * speed**2
        assert parts.turbine.mechanical_efficiency * turbo.turbine_power == pytest.approx(power + bearing, rel=1e-5)
        assert turbo.turbine_flow + turbo.wastegate_flow == pytest.approx(at.drawn.exhaust_flow, rel=1e-5)
        assert at.conditions.exhaust_pressure == pytest.approx(turbo.back_pressure, rel=1e-5)
        assert at.charging_torque == 0.0
    else:
        assert at.charging_torque * at.speed * parts.drive.mechanical_efficiency == pytest.approx(power, rel=1e-9)


def test_boost_is_what_was_asked_for_or_says_why_not():
    for source in CHARGING:
        at = point(source, 6000.0)
        assert at.boost.reached
        assert at.conditions.intake_pressure == pytest.approx(101325.0 + 33e3, rel=1e-6)
    low = point("engine_driven", 2500.0)
    assert low.boost.limited_by == "drive ratio"
    assert low.conditions.intake_pressure < 0.9 * low.boost.target
    assert point("exhaust_turbine", 1500.0).boost.limited_by == "exhaust energy"
    weak = ElectricCharging(source="electric", boost_pressure=33e3, motor=Motor(power_limit=700.0, torque_limit=0.3))
    at = operating_point(DEMO.engine.model_copy(update={"charging": weak}), CONFIGS, 6000.0 * RPM, 1.0)
    assert at.boost.limited_by == "motor power"
    assert at.boost.electric.shaft == pytest.approx(700.0, rel=1e-4)
    assert at.conditions.intake_pressure < at.boost.target


def test_charge_is_heated_by_the_compressor_and_cooled_by_an_intercooler():
    """Derived: a third of a bar at 70 % heats the charge by T·((1.326^0.2857 − 1)/0.7), so that density rises less than
    pressure; the manifold warms it less than it warms cold air."""
    at, plain = point("electric"), point()
    charge = at.boost.charge
    rise = 298.15 * (charge.ratio**0.285714 - 1.0) / charge.efficiency
    assert charge.temperature - 298.15 == pytest.approx(rise, rel=1e-5)
    assert charge.temperature < at.conditions.intake_temperature < charge.temperature + 17.0
    gain = at.air_flow / plain.air_flow
    assert 1.15 < gain < charge.ratio


def test_knock_margin_is_kept_by_a_later_burn():
    engine = engine_with("electric", knock_margin=0.0)
    kept, free = operating_point(engine, CONFIGS, 4000.0 * RPM, 1.0), point("electric")
    assert free.margin < -5.0
    assert kept.margin == pytest.approx(0.0, abs=MARGIN_MET)
    assert kept.conditions.late > 0.0
    assert kept.brake_torque < free.brake_torque
    assert not kept.knocks
    hopeless = operating_point(engine, CONFIGS, 4000.0 * RPM, 1.0, margin=40.0)
    assert hopeless.knocks
    light = operating_point(engine, CONFIGS, 4000.0 * RPM, 0.3)
    assert light.conditions.late == 0.0


@pytest.mark.parametrize(
    ("name", "wanted"), [("bmep", 4.2e5), ("torque", 33.0), ("power", 12e3), ("torque", 0.0), ("torque", -3.0)]
)
@pytest.mark.parametrize("source", ["none", "electric"])
def test_a_wanted_torque_finds_its_load(source, name, wanted):
    run = DEMO.run.model_copy(update={name: wanted, "speed": 3500.0 * RPM})
    engine = engine_with(source, BORE)
    case = with_load(DEMO.model_copy(update={"engine": engine, "run": run}), CONFIGS)
    at = operating_point(case.engine, CONFIGS, 3500.0 * RPM, case.run.load)
    found = {"bmep": at.brake_mean_pressure, "torque": at.brake_torque, "power": at.brake_power}[name]
    assert found == pytest.approx(wanted, abs=2e-6 * {"bmep": 1e6, "torque": 80.0, "power": 3e4}[name])
    assert getattr(case.run, name) is None


def test_a_torque_out_of_reach_is_refused():
    run = DEMO.run.model_copy(update={"bmep": 20e5})
    with pytest.raises(
        InputError, match=r"run\.bmep: got 20 bar; at 4000 rpm the engine gives 0\.\d+ \(load 0\) to 11"
    ):
        pack(DEMO.model_copy(update={"run": run}), CONFIGS)


def test_added_mass_and_drive_enter_the_model():
    charging = CHARGING["engine_driven"].model_copy(update={"added_mass": 4.0, "added_mass_at": (0.3, 0.1, 0.6)})
    plain = pack(DEMO, CONFIGS)
    heavy = pack(DEMO.model_copy(update={"engine": DEMO.engine.model_copy(update={"charging": charging})}), CONFIGS)
    both = heavy.model.bodies["mass"] - plain.model.bodies["mass"]
    assert both == pytest.approx([4.0, 0.0])
    body = DEMO.body[0]
    centre = (body.mass * np.array(body.centre_of_mass) + 4.0 * np.array([0.3, 0.1, 0.6])) / (body.mass + 4.0)
    assert heavy.centres[0] == pytest.approx(centre)
    drive = charging.drive
    more = heavy.model.train.rotor_inertia - plain.model.train.rotor_inertia
    assert more == pytest.approx(drive.inertia * drive.ratio**2)


def test_a_wheel_too_small_for_the_flow_leaves_the_engine_to_its_flap():
    """No wheel of 10 mm passes what 0.7 litre draw at any speed its motor reaches: fed past it, uncharged, and said."""
    small = ElectricCharging(source="electric", boost_pressure=33e3, compressor=Compressor(wheel_diameter=0.01))
    at = operating_point(DEMO.engine.model_copy(update={"charging": small}), CONFIGS, 4000.0 * RPM, 1.0)
    assert at.boost.charge is None
    assert at.boost.limited_by == "compressor too small for the flow"
    assert at.charging_torque == 0.0
    assert at.conditions.intake_pressure == pytest.approx(101325.0, rel=1e-9)


@pytest.mark.parametrize(
    ("gas", "expected"),
    [
        ({"air_fuel_ratio": 3.0}, r"air_fuel_ratio: got 3; must be at least 5\.8"),
        (
            {"closed_throttle_pressure": 1.5e5},
            r"closed_throttle_pressure: got 150 kPa; must be at most ambient pressure",
        ),
    ],
)
def test_what_no_engine_runs_on_is_refused(gas, expected):
    with pytest.raises(InputError, match=expected):
        operating_point(engine_with(**gas), CONFIGS, 4000.0 * RPM, 0.5)
