"""The numbers of one cylinder's cycle from the case and an operating point."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from vibsim.engine.burn import (
    Burn,
    Charge,
    burnt_share_at_best,
    flame_duration,
    ignition_delay,
    premixed_share,
    wiebe,
    wiebe_angle,
)
from vibsim.engine.cycle_kernel import CycleModel, Exhaust
from vibsim.engine.fuels import Fuel, fuel_named
from vibsim.engine.gas_tables import GasTables, energies, gas_tables, ideal_tables
from vibsim.engine.kinematics import top_dead_centre
from vibsim.engine.layout import ResolvedCylinder
from vibsim.engine.volume import cylinder_volume, mean_piston_speed
from vibsim.engine.wall_heat import LAWS
from vibsim.inputs.errors import InputError
from vibsim.inputs.models import CycleGas, Engine

VALVE_ANGLES = {  # intake opens, closes, exhaust opens, closes: degrees from firing top dead centre; common practice
    4: (350.0, 590.0, 130.0, 370.0),
    2: (120.0, 240.0, 95.0, 265.0),
}
FLOW_AREA_SHARE = {4: (0.15, 0.12), 2: (0.20, 0.25)}  # effective over bore area, intake and exhaust; common practice
SCAVENGE_RATIO = 1.25  # two-stroke delivery pressure over ambient at full load; common practice
IDLE_SCAVENGE_RATIO = 1.03  # and over exhaust pressure at load 0, so that some charge still goes through
DIESEL_RICHNESS = 0.72  # of stoichiometric at full load, short of smoke; common practice
DIESEL_BURN = (
    math.radians(7.0),
    5.0,
    2.0,
    math.radians(65.0),
    0.9,
)  # premixed span, a, m; spray span, m; common practice
FIRST_RESIDUAL = 0.08
SPRAY_BURNS = 0.99  # of the fuel; common practice
PORT_MIXING = 0.005  # of the air that fills the swept volume


@dataclass(frozen=True)
class Conditions:
    """Where a cylinder runs: crank speed rad/s; intake manifold pressure Pa and temperature K, exhaust pressure Pa;
    `fuelling` share of the fuel that goes with full load (a throttled engine keeps 1: its air is cut); `late` rad by
    which the burn is later than the case says."""

    speed: float
    intake_pressure: float
    intake_temperature: float
    exhaust_pressure: float
    fuelling: float = 1.0
    late: float = 0.0


def cycle_gas(engine: Engine) -> CycleGas:
    assert isinstance(engine.gas, CycleGas)
    return engine.gas


def conditions_of(engine: Engine, speed: float, load: float) -> Conditions:
    """What a load (0 to 1) means: manifold pressure in a straight line from closed throttle to ambient for a spark, the
    share of full fuelling at ambient pressure for compression ignition; in a two-stroke the delivery pressure of the
    crankcase, from just above exhaust pressure."""
    gas = cycle_gas(engine)
    fuelling = 0.0 if gas.fuel_cut else 1.0
    pressure = gas.intake_pressure
    if by_compression(gas):
        fuelling *= load
        pressure = pressure or gas.ambient_pressure * (SCAVENGE_RATIO if engine.strokes == 2 else 1.0)
    elif pressure is None:
        two = engine.strokes == 2
        full = gas.ambient_pressure * (SCAVENGE_RATIO if two else 1.0)
        low = gas.exhaust_pressure * IDLE_SCAVENGE_RATIO if two else gas.closed_throttle_pressure
        pressure = low + load * (full - low)
    return Conditions(speed, pressure, gas.intake_temperature, gas.exhaust_pressure, fuelling)


def by_compression(gas: CycleGas) -> bool:
    """Whether the fuel ignites by compression."""
    return gas.fuel == "diesel"


def fuel_of(gas: CycleGas) -> Fuel:
    return fuel_named(gas.fuel, gas.ethanol_share)


def richness_of(gas: CycleGas, fuelling: float = 1.0) -> float:
    """Fuel over air against the stoichiometric."""
    needed = fuel_of(gas).air_needed
    if gas.air_fuel_ratio is not None:
        return fuelling * needed / gas.air_fuel_ratio
    return fuelling * (DIESEL_RICHNESS if by_compression(gas) else 1.0)


def tables_of(gas: CycleGas, fuelling: float = 1.0) -> GasTables:
    """Properties of what the cylinder holds; with a `heat_capacity_ratio` an ideal gas of that ratio instead."""
    fuel = fuel_of(gas)
    if gas.heat_capacity_ratio is not None:
        heating = gas.lower_heating_value or fuel.heating_value
        ratio = gas.air_fuel_ratio or fuel.air_needed
        return ideal_tables(gas.gas_constant, gas.heat_capacity_ratio, gas.heat_capacity_ratio_fall, heating, ratio)
    return gas_tables(tuple(fuel.parts.items()), fuel.evaporation, max(round(richness_of(gas, fuelling), 4), 1.0))


def burn_of(engine: Engine, cylinder: ResolvedCylinder, at: Conditions, residual: float, heat: float) -> Burn:
    """How the charge burns at an operating point; `residual` share of burnt gas and `heat` temperature (K) of the
    charge when the intake closes.

    Given angles are taken as they are. Otherwise a spark's burn lasts as long as the flame is slow and has burned half
    of the fuel where the case says; a spray burns after its delay.
    """
    gas = cycle_gas(engine)
    charge = _charge(engine, cylinder, at, residual, heat)
    if by_compression(gas):
        return _spray(gas, charge, at.late)
    duration = gas.burn_duration or flame_duration(charge)
    late = cylinder.burn_shift + at.late
    if gas.burn_start is not None:
        start = gas.burn_start
    else:
        half = wiebe_angle(0.5 * float(wiebe(1.0, gas.wiebe_a, gas.wiebe_m)), gas.wiebe_a, gas.wiebe_m)
        start = gas.half_burned - half * duration
    second = gas.second_burn_duration or duration
    return Burn(start + late, duration, gas.wiebe_a, gas.wiebe_m, gas.second_burn_share, second, gas.second_wiebe_m)


def _spray(gas: CycleGas, charge: Charge, late: float) -> Burn:
    delay = ignition_delay(charge, fuel_of(gas).cetane)
    start = (gas.injection_start if gas.burn_start is None else gas.burn_start - delay) + delay + late
    span, a, m, spray, spray_m = DIESEL_BURN
    if gas.burn_duration is not None:
        return Burn(start, gas.burn_duration, gas.wiebe_a, gas.wiebe_m)
    share = 1.0 - premixed_share(charge, delay)
    return Burn(start, span, a, m, share, spray, spray_m)


def _charge(engine: Engine, cylinder: ResolvedCylinder, at: Conditions, residual: float, heat: float) -> Charge:
    """The charge where its burn is about to begin, compressed from intake closing with p·V^1.33."""
    gas = cycle_gas(engine)
    angles = valve_angles(engine)
    begin = gas.injection_start if by_compression(gas) else math.radians(-20.0)
    volume = cylinder_volume(cylinder, np.array([angles[1], begin]))[0]
    ratio = float(volume[0] / volume[1])
    return Charge(
        pressure=at.intake_pressure * ratio**1.33,
        temperature=heat * ratio**0.33,
        residual=residual,
        richness=richness_of(gas, at.fuelling * cylinder.fuelling),
        piston_speed=mean_piston_speed(cylinder, at.speed),
        speed=at.speed,
        bore=cylinder.bore,
    )


def valve_angles(engine: Engine) -> tuple[float, float, float, float]:
    """Intake opens, closes, exhaust opens, closes, rad from firing top dead centre."""
    gas = cycle_gas(engine)
    given = (gas.intake_opens, gas.intake_closes, gas.exhaust_opens, gas.exhaust_closes)
    usual = (math.radians(angle) for angle in VALVE_ANGLES[engine.strokes])
    i_open, i_close, e_open, e_close = (a if a is not None else b for a, b in zip(given, usual, strict=True))
    return i_open, i_close, e_open, e_close


def with_burn(engine: Engine, model: CycleModel, burn: Burn | None, residual: float) -> CycleModel:
    """The model with a burn, of which a `residual` share of burnt gas lets a part; nothing burns without one."""
    if burn is None:
        return model
    share = cycle_gas(engine).combustion_efficiency
    if share is None:
        share = SPRAY_BURNS if model.direct else burnt_share_at_best(residual)
    return model._replace(burn_table=burn.table(), burn_start=burn.start, burn_span=burn.span, burnable=share)


def cycle_model(engine: Engine, cylinder: ResolvedCylinder, at: Conditions, exhaust: Exhaust) -> CycleModel:
    """Numbers of one cylinder's cycle, with nothing burning yet."""
    gas = cycle_gas(engine)
    geometry = _geometry(engine, cylinder)
    fuelling = at.fuelling * cylinder.fuelling
    tables = tables_of(gas, fuelling)
    direct = by_compression(gas)
    fresh_fuel, enthalpy, constant = _fresh(gas, tables, at, 0.0 if direct else fuelling)
    swept_air = at.intake_pressure * cylinder.swept_volume / (tables.r_air * at.intake_temperature)
    angles = valve_angles(engine)
    shares = FLOW_AREA_SHARE[engine.strokes]
    cycle = engine.strokes * math.pi
    return CycleModel(
        gas=tables,
        exhaust=exhaust,
        burn_table=_no_burn(),
        burn_start=0.0,
        burn_span=1.0,
        burnable=0.0,
        direct=direct,
        fuel_limit=richness_of(gas, fuelling) / fuel_of(gas).air_needed * swept_air,
        fresh_fuel=fresh_fuel,
        fresh_enthalpy=enthalpy,
        fresh_constant=constant,
        cycle=cycle,
        speed=at.speed,
        piston_speed=mean_piston_speed(cylinder, at.speed),
        wall_temperature=gas.wall_temperature,
        wall_factor=gas.wall_heat_factor,
        wall_law=LAWS[gas.wall_heat_law],
        intake_pressure=at.intake_pressure,
        intake_temperature=at.intake_temperature,
        exhaust_pressure=at.exhaust_pressure,
        intake_opens=angles[0],
        intake_span=(angles[1] - angles[0]) % cycle,
        exhaust_opens=angles[2],
        exhaust_span=(angles[3] - angles[2]) % cycle,
        intake_area=gas.intake_flow_area or shares[0] * cylinder.area,
        exhaust_area=gas.exhaust_flow_area or shares[1] * cylinder.area,
        leak_area=gas.blow_by_area,
        crankcase_pressure=gas.ambient_pressure,
        scavenging=gas.scavenging if engine.strokes == 2 else 0.0,
        port_mixing=PORT_MIXING * swept_air,
        **geometry,
    )


def _geometry(engine: Engine, cylinder: ResolvedCylinder) -> dict[str, float]:
    top_angle, top = top_dead_centre(cylinder.radius, cylinder.rod_length, cylinder.offset)
    return {
        "radius": cylinder.radius,
        "rod_length": cylinder.rod_length,
        "offset": cylinder.offset,
        "top_angle": top_angle,
        "top": top,
        "bore": cylinder.bore,
        "area": cylinder.area,
        "clearance": cylinder.clearance_volume,
        "swept": cylinder.swept_volume,
    }


@lru_cache(maxsize=1)
def _no_burn() -> np.ndarray:
    return Burn(0.0, 1.0).table()


def _fresh(gas: CycleGas, tables: GasTables, at: Conditions, fuelling: float) -> tuple[float, float, float]:
    """Fuel share, enthalpy and gas constant of what flows in: a share of the fuel's evaporation cools the charge, the
    rest is taken from the port's walls."""
    ratio = richness_of(gas, fuelling) / fuel_of(gas).air_needed
    fuel = ratio / (1.0 + ratio)
    t = energies(at.intake_temperature, tables)
    vapour = t[2] + tables.r_fuel * at.intake_temperature
    wet = vapour - gas.charge_cooling_share * fuel_of(gas).evaporation if gas.heat_capacity_ratio is None else vapour
    enthalpy = (1.0 - fuel) * (t[0] + tables.r_air * at.intake_temperature) + fuel * wet
    return fuel, float(enthalpy), (1.0 - fuel) * tables.r_air + fuel * tables.r_fuel


def check_angles(engine: Engine, burn: Burn) -> None:
    """Valves must open for less than two thirds of the cycle, the burn must fit while both are shut.

    Raises InputError.
    """
    gas, cycle = cycle_gas(engine), engine.strokes * math.pi
    i_open, i_close, e_open, e_close = valve_angles(engine)
    for name, opens, closes in (("intake", i_open, i_close), ("exhaust", e_open, e_close)):
        if not 0.0 < (closes - opens) % cycle < 2.0 / 3.0 * cycle:
            raise InputError(
                f"engine.gas.{name}_opens_deg, {name}_closes_deg: got {math.degrees(opens):g} and "
                f"{math.degrees(closes):g} deg; must be open for more than 0 and less than two thirds of the cycle"
            )
    # the closing nearest before firing top dead centre, the opening nearest after it
    shut = max((angle - 1e-12) % cycle - cycle for angle in (i_close, e_close))
    opens = min(i_open % cycle, e_open % cycle)
    start, end = burn.start, burn.start + burn.span
    given = gas.burn_start is not None and gas.burn_duration is not None
    if not shut <= start < (end if given else start + 0.5 * burn.span) <= opens:
        raise InputError(
            f"engine.gas.burn_start_deg, burn_duration_deg: got {math.degrees(start):g} to {math.degrees(end):g} deg; "
            f"must lie between the last valve closing {math.degrees(shut):g} and the first exhaust opening or intake "
            f"opening {math.degrees(opens):g} deg"
        )
