"""The numbers of one cylinder's cycle from the case and an operating point."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from vibsim.engine.burn import Burn, burnt_share_at_best
from vibsim.engine.course import course_of
from vibsim.engine.cycle_kernel import CycleModel, Exhaust, Spent
from vibsim.engine.fuels import Fuel, fuel_named
from vibsim.engine.gas_tables import GasTables, energies, ideal_tables, tables_between
from vibsim.engine.layout import ResolvedCylinder
from vibsim.engine.valve_timing import valves_of
from vibsim.engine.volume import mean_piston_speed
from vibsim.engine.wall_heat import LAWS
from vibsim.inputs.errors import InputError
from vibsim.inputs.models import CycleGas, Engine

# charge that a two-stroke's crankcase or blower delivers, over what fills the swept volume; common practice
DELIVERY = {"spark": (0.2, 0.85), "diesel": (1.3, 1.3)}  # at load 0 and 1
SCAVENGE_RATIO = 1.1  # delivery over exhaust pressure, to begin with
DIESEL_RICHNESS = 0.72  # of stoichiometric at full load, short of smoke; common practice
RICHEST = 2.5
LEANEST = 0.5  # fuel over air to the stoichiometric at which a flame goes out: common practice 0.5 to 0.6, no source
SPRAY_BURNS = 0.99  # of the fuel; common practice
PORT_MIXING = 0.01  # of the air that fills the swept volume
CELLS = 360  # of a cycle
BURNING_RISE, BURNING_POWER = 2.7, 1.3  # pressure where it is hottest: 2.7·p·r^1.3; common practice


@dataclass(frozen=True)
class Conditions:
    """Where a cylinder runs: crank speed rad/s; intake manifold pressure Pa and temperature K, exhaust pressure Pa;
    `fuelling` share of the fuel that goes with full load (a throttled engine keeps 1: its air is cut); `late` rad by
    which the burn is later than the case says; `delivery` of charge over that which fills the swept volume at ambient
    pressure, at whatever intake pressure that takes, 0 to hold the intake pressure."""

    speed: float
    intake_pressure: float
    intake_temperature: float
    exhaust_pressure: float
    fuelling: float = 1.0
    late: float = 0.0
    delivery: float = 0.0


def cycle_gas(engine: Engine) -> CycleGas:
    assert isinstance(engine.gas, CycleGas)
    return engine.gas


def conditions_of(engine: Engine, speed: float, load: float) -> Conditions:
    """What a load (0 to 1) means: manifold pressure in a straight line from closed throttle to ambient for a spark, the
    share of full fuelling at ambient pressure for compression ignition; in a two-stroke the charge its crankcase or
    blower delivers. Raises InputError for a speed or load that cannot be."""
    gas = cycle_gas(engine)
    if not 0.0 <= load <= 1.0:
        raise InputError(f"load: got {load:g}; must lie between 0 and 1")
    if not speed > 0.0:
        raise InputError(f"speed: got {speed * 30.0 / math.pi:g} rpm; the working cycle needs a speed greater than 0")
    fuelling, delivery, pressure = 0.0 if gas.fuel_cut else 1.0, 0.0, gas.intake_pressure
    if by_compression(gas):
        fuelling *= load
    if pressure is None and engine.strokes == 2:
        low, full = DELIVERY["diesel" if by_compression(gas) else "spark"]
        delivery, pressure = low + load * (full - low), SCAVENGE_RATIO * gas.exhaust_pressure
    elif pressure is None:
        low = gas.ambient_pressure if by_compression(gas) else gas.closed_throttle_pressure
        if low > gas.ambient_pressure:
            raise InputError(
                f"engine.gas.closed_throttle_pressure: got {1e-3 * low:g} kPa; must be at most ambient pressure, "
                f"{1e-3 * gas.ambient_pressure:g} kPa"
            )
        pressure = low + load * (gas.ambient_pressure - low)
    return Conditions(speed, pressure, gas.intake_temperature, gas.exhaust_pressure, fuelling, delivery=delivery)


def by_compression(gas: CycleGas) -> bool:
    """Whether the fuel ignites by compression."""
    return gas.fuel == "diesel"


def fuel_of(gas: CycleGas) -> Fuel:
    return fuel_named(gas.fuel, gas.ethanol_share)


def richness_of(gas: CycleGas, fuelling: float = 1.0) -> float:
    """Fuel over air against the stoichiometric."""
    needed = fuel_of(gas).air_needed
    if gas.air_fuel_ratio is not None and gas.air_fuel_ratio < needed / RICHEST:
        least = f"{needed / RICHEST:.3g} for this fuel, {RICHEST:g} times as rich as it burns"
        raise InputError(f"engine.gas.air_fuel_ratio: got {gas.air_fuel_ratio:g}; must be at least {least}")
    flame = gas.heat_capacity_ratio is None and not by_compression(gas)
    if flame and gas.air_fuel_ratio is not None and gas.air_fuel_ratio > needed / LEANEST:
        most = f"{needed / LEANEST:.3g} for this fuel: no flame goes through {1.0 / LEANEST:g} times the air it needs"
        raise InputError(f"engine.gas.air_fuel_ratio: got {gas.air_fuel_ratio:g}; must be at most {most}")
    if gas.air_fuel_ratio is not None:
        return fuelling * needed / gas.air_fuel_ratio
    return fuelling * (DIESEL_RICHNESS if by_compression(gas) else 1.0)


def tables_of(gas: CycleGas, fuelling: float, hot: float) -> GasTables:
    """Properties of what the cylinder holds, with a pressure (Pa) where it is hottest; with a `heat_capacity_ratio` an
    ideal gas of that ratio instead."""
    fuel = fuel_of(gas)
    if gas.heat_capacity_ratio is not None:
        ratio, fall = gas.heat_capacity_ratio, gas.heat_capacity_ratio_fall
        return ideal_tables(gas.gas_constant, ratio, fall, heating_of(gas), gas.air_fuel_ratio or fuel.air_needed)
    return tables_between(fuel, max(round(richness_of(gas, fuelling), 4), 1.0), hot)


def heating_of(gas: CycleGas) -> float:
    """Lower heating value, J/kg."""
    return fuel_of(gas).heating_value if gas.lower_heating_value is None else gas.lower_heating_value


def with_burn(model: CycleModel, burn: Burn, share: float) -> CycleModel:
    """The model with a burn of a share of the fuel."""
    return model._replace(burn_table=burn.table(), burn_start=burn.start, burn_span=burn.span, burnable=share)


def burnable_of(gas: CycleGas, residual: float) -> float:
    """Share of the fuel that burns beside a share of burnt gas."""
    if gas.combustion_efficiency is not None:
        return gas.combustion_efficiency
    return SPRAY_BURNS if by_compression(gas) else burnt_share_at_best(residual)


def cycle_model(engine: Engine, cylinder: ResolvedCylinder, at: Conditions, finer: int = 1) -> CycleModel:
    """Numbers of one cylinder's cycle, with nothing burning yet and cells `finer` times smaller than usual.

    Raises InputError for valve angles that cannot be.
    """
    gas = cycle_gas(engine)
    fuelling = at.fuelling * cylinder.fuelling
    assert cylinder.compression_ratio is not None
    hot = BURNING_RISE * at.intake_pressure * cylinder.compression_ratio**BURNING_POWER
    tables, direct = tables_of(gas, fuelling, hot), by_compression(gas)
    cycle = engine.strokes * math.pi
    valves = valves_of(engine, gas, cylinder)
    track = course_of(cylinder, *valves, cycle, CELLS * finer)
    fresh_fuel, enthalpy, constant, gamma = _fresh(gas, tables, at, 0.0 if direct else fuelling)
    density = at.intake_pressure / (tables.r_air * at.intake_temperature)
    injected = density * float(track.cubics[track.first, 0]) * richness_of(gas, fuelling) / fuel_of(gas).air_needed
    return CycleModel(
        gas=tables,
        exhaust=_first_exhaust(tables, richness_of(gas, fuelling), mean_piston_speed(cylinder, at.speed)),
        spent=Spent(0.0, 0.0, 1.0),
        burn_table=_no_burn(),
        burn_start=0.0,
        burn_span=1.0,
        burnable=0.0,
        injected=injected if direct else 0.0,
        fresh_fuel=fresh_fuel,
        fresh_enthalpy=enthalpy,
        fresh_rt=constant * at.intake_temperature,
        fresh_gamma=gamma,
        course=track.cubics,
        first=track.first,
        blowdown=track.blowdown,
        step=cycle / (CELLS * finer),
        cycle=cycle,
        speed=at.speed,
        piston_speed=mean_piston_speed(cylinder, at.speed),
        bore=cylinder.bore,
        bore_factor=cylinder.bore**-0.2,
        area=cylinder.area,
        swept=cylinder.swept_volume,
        wall_temperature=gas.wall_temperature,
        wall_factor=gas.wall_heat_factor,
        wall_law=LAWS[gas.wall_heat_law],
        port_factor=gas.exhaust_port_heat_factor,
        intake_pressure=at.intake_pressure,
        intake_temperature=at.intake_temperature,
        exhaust_pressure=at.exhaust_pressure,
        leak_area=gas.blow_by_area,
        crankcase_pressure=gas.ambient_pressure,
        scavenging=gas.scavenging if engine.strokes == 2 else 0.0,
        port_mixing=PORT_MIXING * density * cylinder.swept_volume,
    )


@lru_cache(maxsize=1)
def _no_burn() -> np.ndarray:
    return Burn(0.0, 1.0).table()


def _first_exhaust(tables: GasTables, richness: float, piston_speed: float) -> Exhaust:
    """A guess, before a cycle has been run."""
    if richness == 0.0:
        return exhaust_at(400.0, (1.0, 0.0, 0.0), tables)
    hot = 560.0 + 190.0 * math.log(max(piston_speed, 1.0) / 1.75)
    return exhaust_at(320.0 + hot * min(richness, 1.0), (0.0, 0.0, 1.0), tables)


def exhaust_at(temperature: float, shares: tuple[float, float, float], tables: GasTables) -> Exhaust:
    """Gas of a temperature (K) and mass shares of air, fuel vapour and burnt gas, as it flows back."""
    air, fuel, burnt = shares
    t = energies(temperature, tables)
    constant = air * tables.r_air + fuel * tables.r_fuel + burnt * t[6]
    capacity = air * t[1] + fuel * t[3] + burnt * t[5]
    enthalpy = air * t[0] + fuel * t[2] + burnt * t[4] + constant * temperature
    return Exhaust(temperature, constant, 1.0 + constant / capacity, enthalpy, air, fuel, burnt)


def exhaust_of(enthalpy: float, shares: tuple[float, float, float], tables: GasTables, guess: float) -> Exhaust:
    """Gas of an enthalpy (J/kg) and mass shares, from a guessed temperature (K); Newton's method."""
    temperature = guess
    for _ in range(50):
        found = exhaust_at(temperature, shares, tables)
        step = (enthalpy - found.enthalpy) * (found.gamma - 1.0) / (found.gamma * found.constant)
        if abs(step) < 1e-8 * temperature:
            break
        temperature = min(max(temperature + step, 200.0), 4000.0)
    return found


def _fresh(gas: CycleGas, tables: GasTables, at: Conditions, fuelling: float) -> tuple[float, float, float, float]:
    """Fuel share, enthalpy, gas constant and γ of what flows in: a share of the fuel's evaporation cools the charge,
    the rest is taken from the port's walls."""
    ratio = richness_of(gas, fuelling) / fuel_of(gas).air_needed
    fuel = ratio / (1.0 + ratio)
    found = exhaust_at(at.intake_temperature, (1.0 - fuel, fuel, 0.0), tables)
    cooling = fuel * gas.charge_cooling_share * fuel_of(gas).evaporation if gas.heat_capacity_ratio is None else 0.0
    return fuel, found.enthalpy - cooling, found.constant, found.gamma
