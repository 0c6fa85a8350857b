"""The working cycle solved: converged, with its balance and what an engineer asks of it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from vibsim.engine.burn import Burn
from vibsim.engine.cycle_kernel import CYCLE_TOLERANCE, MOST_CYCLES, POINTS_PER_DEGREE, CycleModel, Exhaust, run_cycles
from vibsim.engine.cycle_rates import (
    AIR_,
    BURNT_,
    COLUMNS,
    FRESH,
    FUEL_,
    GROSS,
    H_IN,
    H_OUT,
    LEAK,
    STATES,
    T_,
    WALL,
    WORK,
    X_AIR,
    X_BURNT,
    X_FUEL,
    X_HEAT,
)
from vibsim.engine.cycle_setup import (
    FIRST_RESIDUAL,
    Conditions,
    burn_of,
    check_angles,
    conditions_of,
    cycle_gas,
    cycle_model,
    fuel_of,
    tables_of,
    valve_angles,
    with_burn,
)
from vibsim.engine.gas_tables import GasTables, energies
from vibsim.engine.layout import ResolvedCylinder
from vibsim.inputs.errors import VibsimError
from vibsim.inputs.models import Engine

CYCLES_PER_ROUND = 2  # between which exhaust and burn follow what the last cycles gave
ROUND_TOLERANCE = 1e-6
KEPT_CYCLES = 256  # 30 kB each: studies meet the same cylinder at the same point again and again


@dataclass(frozen=True)
class Cycle:
    """A converged cycle. Arrays over angle (n + 1) rad from firing top dead centre to the cycle's end, read-only; sums
    in J and kg per cycle.

    `work` net, `gross_work` of compression and expansion alone; `fresh_mass` what came in, `air_mass` of it air;
    `fuel_mass` supplied, `burned_mass` of it burned; `exhaust_temperature` (K) of the mean flow; `conditions` and
    `burn` it ran with; `trapped_*` at intake closing, where `residual_share` is burnt gas.
    """

    angle: np.ndarray
    pressure: np.ndarray
    pressure_slope: np.ndarray
    temperature: np.ndarray
    mass: np.ndarray
    burnt: np.ndarray
    work: float
    gross_work: float
    wall_heat: float
    fuel_heat: float
    enthalpy_in: float
    enthalpy_out: float
    fresh_mass: float
    air_mass: float
    fuel_mass: float
    burned_mass: float
    leak_mass: float
    exhaust_mass: float
    exhaust_temperature: float
    trapped_mass: float
    trapped_air: float
    trapped_temperature: float
    residual_share: float
    intake_closes: float
    swept_volume: float
    cycles: int
    conditions: Conditions
    burn: Burn | None

    @property
    def peak_pressure(self) -> float:
        return float(self.pressure.max())

    @property
    def peak_angle(self) -> float:
        """Of the greatest pressure, rad from firing top dead centre, negative before it."""
        angle = float(self.angle[int(self.pressure.argmax())])
        return angle - self.angle[-1] if angle > 0.5 * self.angle[-1] else angle

    @property
    def mean_pressure(self) -> float:
        """Net indicated mean effective pressure, Pa."""
        return self.work / self.swept_volume

    @property
    def gross_mean_pressure(self) -> float:
        return self.gross_work / self.swept_volume

    @property
    def pumping_mean_pressure(self) -> float:
        """Net less gross: negative where gas exchange costs work."""
        return (self.work - self.gross_work) / self.swept_volume

    @property
    def heat_released(self) -> float:
        """Heating value of what burned, J."""
        return self.fuel_heat * self.burned_mass / self.fuel_mass if self.fuel_mass else 0.0

    @property
    def efficiency(self) -> float:
        """Net indicated work over the heating value of the fuel; 0 without fuel."""
        return self.work / self.fuel_heat if self.fuel_heat else 0.0


def solve_cycle(engine: Engine, cylinder: ResolvedCylinder, speed: float, load: float) -> Cycle:
    """Converged cycle of one cylinder at crank speed (rad/s) and load (0 to 1); see `solve_at`."""
    return solve_at(engine, cylinder, conditions_of(engine, speed, load))


def solve_at(engine: Engine, cylinder: ResolvedCylinder, at: Conditions) -> Cycle:
    """Converged cycle of one cylinder under given conditions, solved once for each.

    Raises InputError for valve or burn angles that cannot be, VibsimError when the cycle does not converge.
    """
    bare = replace(cylinder, name="", bank=0.0, pin=0.0, at=0.0, firing=0.0, piston_mass=0.0, rod_mass=0.0)
    return _solve(engine.model_copy(update=_IRRELEVANT), replace(bare, rod_inertia=0.0), at)


_IRRELEVANT = {"cylinder": (), "balance_shaft": (), "firing_order": (), "origin": (0.0, 0.0, 0.0), "body": ""}


@lru_cache(maxsize=KEPT_CYCLES)
def _solve(engine: Engine, cylinder: ResolvedCylinder, at: Conditions) -> Cycle:
    fired = at.fuelling * cylinder.fuelling > 0.0
    heat, residual = at.intake_temperature + 30.0, FIRST_RESIDUAL
    burn = burn_of(engine, cylinder, at, residual, heat) if fired else None
    if burn is not None:
        check_angles(engine, burn)
    model = with_burn(engine, cycle_model(engine, cylinder, at, _first_exhaust(engine, at)), burn, residual)
    work = _Work(engine, model)
    done, last = 0, 0.0
    while done < MOST_CYCLES:
        found = work.run(model)
        if found < 0:
            raise VibsimError(f"engine.gas: the working cycle at {_rpm(at)} rpm left the range of the gas model")
        done += found or CYCLES_PER_ROUND
        heat, residual = work.y[T_], work.y[BURNT_] / work.mass
        exhaust = work.exhaust(model)
        if fired:
            burn = burn_of(engine, cylinder, at, residual, heat)
        change = abs(work.sums[WORK] - last) / (at.intake_pressure * model.swept)
        if found and change < ROUND_TOLERANCE:
            return work.collect(engine, model, at, burn, done)
        last = work.sums[WORK]
        model = with_burn(engine, model, burn, residual)._replace(exhaust=exhaust)
    raise VibsimError(f"engine.gas: the working cycle at {_rpm(at)} rpm did not close in {MOST_CYCLES} cycles")


def _rpm(at: Conditions) -> str:
    return f"{at.speed * 30.0 / math.pi:.0f}"


def _first_exhaust(engine: Engine, at: Conditions) -> Exhaust:
    tables = tables_of(cycle_gas(engine), at.fuelling)
    t = energies(900.0, tables)
    return Exhaust(900.0, t[6], t[4] + t[6] * 900.0, 0.0, 0.0, 1.0)


class _Work:
    """Work space of one solution, and the reading of it."""

    def __init__(self, engine: Engine, model: CycleModel):
        self.points = round(math.degrees(model.cycle)) * POINTS_PER_DEGREE
        start = valve_angles(engine)[1] % model.cycle
        self.first = math.ceil(start / model.cycle * self.points) % self.points
        self.out = np.empty((self.points + 1, 5))
        self.sums, self.y = np.zeros(COLUMNS), np.zeros(STATES)
        self.trial, self.k = np.zeros(STATES), np.zeros((4, COLUMNS))
        self.y[T_] = model.intake_temperature + 30.0
        filled = model.intake_pressure * (model.swept + model.clearance)
        mass = filled / (model.fresh_constant * self.y[T_])
        burnt = FIRST_RESIDUAL if model.burnable > 0.0 else 0.0
        self.y[AIR_] = mass * (1.0 - burnt) * (1.0 - model.fresh_fuel)
        self.y[FUEL_], self.y[BURNT_] = mass * (1.0 - burnt) * model.fresh_fuel, mass * burnt

    @property
    def mass(self) -> float:
        return float(self.y[AIR_] + self.y[FUEL_] + self.y[BURNT_])

    def run(self, model: CycleModel) -> int:
        args = (self.first, self.points, CYCLES_PER_ROUND, CYCLE_TOLERANCE, self.y, self.out, self.sums)
        return int(run_cycles(model, *args, self.trial, self.k))

    def exhaust(self, model: CycleModel) -> Exhaust:
        """The mean of what left through the exhaust, as it would come back."""
        mass = self.sums[X_AIR] + self.sums[X_FUEL] + self.sums[X_BURNT]
        if mass <= 0.0:
            return model.exhaust
        air, fuel, burnt = (float(self.sums[c] / mass) for c in (X_AIR, X_FUEL, X_BURNT))
        enthalpy = float(self.sums[X_HEAT] / mass)
        temperature, constant = _temperature(enthalpy, air, fuel, burnt, model.gas)
        return Exhaust(temperature, constant, enthalpy, air, fuel, burnt)

    def collect(self, engine: Engine, model: CycleModel, at: Conditions, burn: Burn | None, cycles: int) -> Cycle:
        gas, sums, out = cycle_gas(engine), self.sums, self.out
        out[self.points] = out[0]
        out.setflags(write=False)
        trapped = self.mass
        fresh = float(sums[FRESH])
        injected = min(model.fuel_limit, math.inf) if model.direct else fresh * model.fresh_fuel
        fuel = (injected if model.burnable > 0.0 else 0.0) if model.direct else injected
        limit = model.fuel_limit if model.direct else self.y[FUEL_]
        burned = model.burnable * min(limit, self.y[AIR_] / model.gas.air_per_fuel)
        heating = gas.lower_heating_value or fuel_of(gas).heating_value
        exhaust = self.exhaust(model)
        return Cycle(
            angle=np.linspace(0.0, model.cycle, self.points + 1),
            pressure=out[:, 0],
            pressure_slope=out[:, 1],
            temperature=out[:, 2],
            mass=out[:, 3],
            burnt=out[:, 4],
            work=float(sums[WORK]),
            gross_work=float(sums[GROSS]),
            wall_heat=float(sums[WALL]),
            fuel_heat=fuel * heating,
            enthalpy_in=float(sums[H_IN]),
            enthalpy_out=float(sums[H_OUT]),
            fresh_mass=fresh,
            air_mass=fresh * (1.0 - model.fresh_fuel),
            fuel_mass=fuel,
            burned_mass=float(burned),
            leak_mass=float(sums[LEAK]),
            exhaust_mass=float(sums[X_AIR] + sums[X_FUEL] + sums[X_BURNT]),
            exhaust_temperature=exhaust.temperature,
            trapped_mass=trapped,
            trapped_air=float(self.y[AIR_]),
            trapped_temperature=float(self.y[T_]),
            residual_share=float(self.y[BURNT_] / trapped),
            intake_closes=self.first * model.cycle / self.points,
            swept_volume=model.swept,
            cycles=cycles,
            conditions=at,
            burn=burn,
        )


def _temperature(enthalpy: float, air: float, fuel: float, burnt: float, gas: GasTables) -> tuple[float, float]:
    """Temperature (K) and gas constant of a mixture by its enthalpy; Newton's method."""
    temperature = 900.0
    for _ in range(50):
        t = energies(temperature, gas)
        constant = air * gas.r_air + fuel * gas.r_fuel + burnt * t[6]
        found = air * t[0] + fuel * t[2] + burnt * t[4] + constant * temperature
        capacity = air * t[1] + fuel * t[3] + burnt * t[5] + constant
        step = (enthalpy - found) / capacity
        temperature = min(max(temperature + step, 200.0), 4000.0)
        if abs(step) < 1e-9 * temperature:
            break
    return temperature, constant
