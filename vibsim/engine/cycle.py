"""The working cycle solved: converged, with its balance and what an engineer asks of it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np

from vibsim.engine.burn import Burn
from vibsim.engine.course import shut_span
from vibsim.engine.cycle_rates import AIR_, BURNED, FRESH, FUEL_, GROSS, H_IN, H_OUT, LEAK, T_, WALL, WORK
from vibsim.engine.cycle_setup import Conditions, burnable_of, conditions_of, cycle_gas, cycle_model, heating_of
from vibsim.engine.cycle_solver import BurnRule, RepeatedCycle
from vibsim.engine.gas_tables import GasTables
from vibsim.engine.ignition import Trapped, ignition_of
from vibsim.engine.layout import ResolvedCylinder
from vibsim.engine.valve_timing import valves_of
from vibsim.inputs.models import Engine

STANDARD_PRESSURE = 101325.0
KEPT_CYCLES = 512  # 50 kB each: studies meet the same cylinder at the same point again and again


@dataclass(frozen=True, eq=False)
class Cycle:
    """A converged cycle. Arrays over angle (n + 1) rad from firing top dead centre to the cycle's end, read-only; sums
    in J and kg per cycle.

    `work` net, `gross_work` of compression and expansion alone, `scavenge_work` of the ideal pump that delivers a
    two-stroke's charge, taken off the first; `fresh_mass` what came in, `air_mass` of it air; `fuel_mass` supplied,
    `burned_mass` of it burned; `exhaust_mass` out less back, `exhaust_air` and `exhaust_fuel` of it unburnt, with
    `valve_temperature` (K) of what leaves the cylinder, `exhaust_temperature` of it past the port, whose walls take
    `port_heat`; `trapped_*` as the valves have shut (`valves_shut` rad), `residual_share` of it burnt gas; `gas`
    properties, `conditions` and `burn` it ran with.
    """

    angle: np.ndarray
    pressure: np.ndarray
    pressure_slope: np.ndarray
    temperature: np.ndarray
    mass: np.ndarray
    burnt: np.ndarray
    work: float
    gross_work: float
    scavenge_work: float
    wall_heat: float
    port_heat: float
    fuel_heat: float
    enthalpy_in: float
    enthalpy_out: float
    fresh_mass: float
    air_mass: float
    fuel_mass: float
    burned_mass: float
    leak_mass: float
    exhaust_mass: float
    exhaust_air: float
    exhaust_fuel: float
    exhaust_temperature: float
    valve_temperature: float
    trapped_mass: float
    trapped_air: float
    trapped_fuel: float
    trapped_temperature: float
    trapped_pressure: float
    residual_share: float
    valves_shut: float
    gas: GasTables
    swept_volume: float
    cycles: int
    conditions: Conditions
    burn: Burn | None

    @cached_property
    def _peak(self) -> tuple[float, float]:
        """Greatest pressure (Pa) and its angle (rad) on the cubics between nodes."""
        n, h = int(self.pressure[:-1].argmax()), float(self.angle[1])
        return max(_greatest(self.pressure, h * self.pressure_slope, low, h) for low in (n - 1, n))

    @property
    def peak_pressure(self) -> float:
        return self._peak[0]

    @property
    def peak_angle(self) -> float:
        """Of the greatest pressure, rad from firing top dead centre, negative before it."""
        angle = self._peak[1]
        return angle - float(self.angle[-1]) if angle > 0.5 * self.angle[-1] else angle

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
    def air_supplied(self) -> float:
        """Air that came in over what fills the swept volume at standard ambient pressure and the intake's temperature:
        volumetric efficiency, in a two-stroke the delivery ratio (definitions)."""
        filling = STANDARD_PRESSURE * self.swept_volume / (self.gas.r_air * self.conditions.intake_temperature)
        return self.air_mass / filling

    @property
    def air_kept(self) -> float:
        """Air in the cylinder as the valves shut over what came in: trapping efficiency; above 1 where burnt gas of a
        lean mixture brings air of its own. 0 without air."""
        return self.trapped_air / self.air_mass if self.air_mass else 0.0

    @property
    def heat_released(self) -> float:
        """Heating value of what burned, J."""
        return self.fuel_heat * self.burned_mass / self.fuel_mass if self.fuel_mass else 0.0

    @property
    def efficiency(self) -> float:
        """Net indicated work over the heating value of the fuel; 0 without fuel."""
        return self.work / self.fuel_heat if self.fuel_heat else 0.0


def _greatest(values: np.ndarray, slopes: np.ndarray, low: int, h: float) -> tuple[float, float]:
    """Greatest value and its place on the cubic from node `low` (n + 1, periodic) to the next; slopes per node."""
    first = low % (len(values) - 1)
    (a, b), (left, right) = values[first : first + 2], slopes[first : first + 2]
    square, cube = 3.0 * (b - a) - 2.0 * left - right, left + right - 2.0 * (b - a)
    turns = np.roots([3.0 * cube, 2.0 * square, left])
    at = [0.0, 1.0, *(float(t.real) for t in turns if abs(t.imag) < 1e-12 and 0.0 < t.real < 1.0)]
    return max((float(a + t * (left + t * (square + t * cube))), (low + t) * h) for t in at)


def solve_cycle(engine: Engine, cylinder: ResolvedCylinder, speed: float, load: float) -> Cycle:
    """Converged cycle of one cylinder at crank speed (rad/s) and load (0 to 1); see `solve_at`."""
    return solve_at(engine, cylinder, conditions_of(engine, speed, load))


def solve_at(engine: Engine, cylinder: ResolvedCylinder, at: Conditions, finer: int = 1) -> Cycle:
    """Converged cycle of one cylinder under given conditions, in cells `finer` times smaller than usual; solved once
    for each.

    Raises InputError for valve or burn angles that cannot be, VibsimError when the cycle does not converge.
    """
    bare = replace(cylinder, name="", bank=0.0, pin=0.0, at=0.0, firing=0.0, piston_mass=0.0, rod_mass=0.0)
    return _solve(engine.model_copy(update=_IRRELEVANT), replace(bare, rod_inertia=0.0), at, finer)


_IRRELEVANT = {"cylinder": (), "balance_shaft": (), "firing_order": (), "origin": (0.0, 0.0, 0.0), "body": ""}


@lru_cache(maxsize=KEPT_CYCLES)
def _solve(engine: Engine, cylinder: ResolvedCylinder, at: Conditions, finer: int) -> Cycle:
    model = cycle_model(engine, cylinder, at, finer)
    fill = cycle_gas(engine).ambient_pressure * cylinder.swept_volume / model.fresh_rt
    repeated = RepeatedCycle(model, _burn_rule(engine, cylinder, at), at.delivery * fill)
    repeated.converge()
    return collect(engine, repeated, at)


def _burn_rule(engine: Engine, cylinder: ResolvedCylinder, at: Conditions) -> BurnRule | None:
    """What burns, by what is trapped; None when nothing is supplied."""
    if at.fuelling * cylinder.fuelling == 0.0:
        return None
    gas = cycle_gas(engine)
    span = shut_span(valves_of(engine, gas, cylinder), engine.strokes * np.pi)
    ignition = ignition_of(gas, cylinder, at, span)

    def rule(trapped: Trapped) -> tuple[Burn, float]:
        return ignition.burn(trapped), burnable_of(gas, trapped.residual)

    return rule


def _slopes(repeated: RepeatedCycle) -> np.ndarray:
    """dp/dθ (n + 1) at the nodes; while it burns, evenly over each cell, that of the parabola through neighbours."""
    model, out = repeated.model, repeated.out
    pressure, found = out[:-1, 0], out[:, 1].copy()
    central = (np.roll(pressure, -1) - np.roll(pressure, 1)) / (2.0 * model.step)
    past = (model.step * (np.arange(repeated.points) + 1.0) - model.burn_start) % model.cycle
    burning = (past <= model.burn_span + 2.0 * model.step) & (model.burnable > 0.0)
    found[:-1] = np.where(burning, central, found[:-1])
    found[-1] = found[0]
    return found


def collect(engine: Engine, repeated: RepeatedCycle, at: Conditions) -> Cycle:
    """What a converged cycle gave."""
    model, sums, out = repeated.model, repeated.sums, repeated.out
    out[-1] = out[0]
    mass, slopes = out[:, 3:].sum(axis=1), _slopes(repeated)
    for array in (out, mass, slopes):
        array.setflags(write=False)
    fresh = float(sums[FRESH])
    fuel = model.injected + fresh * model.fresh_fuel
    trapped = repeated.trapped()
    leaving, manifold = repeated.leaving, model.exhaust
    out_less_back = repeated.exhaust_out - repeated.exhaust_back
    pumped = repeated.scavenge_work(cycle_gas(engine).ambient_pressure)
    return Cycle(
        angle=np.linspace(0.0, model.cycle, repeated.points + 1),
        pressure=out[:, 0],
        pressure_slope=slopes,
        temperature=out[:, 2],
        mass=mass,
        burnt=out[:, 5],
        work=float(sums[WORK]) - pumped,
        gross_work=float(sums[GROSS]),
        scavenge_work=pumped,
        wall_heat=float(sums[WALL]),
        port_heat=repeated.exhaust_out * (leaving.enthalpy - manifold.enthalpy),
        fuel_heat=fuel * heating_of(cycle_gas(engine)),
        enthalpy_in=float(sums[H_IN]),
        enthalpy_out=float(sums[H_OUT]),
        fresh_mass=fresh,
        air_mass=fresh * (1.0 - model.fresh_fuel),
        fuel_mass=fuel,
        burned_mass=float(sums[BURNED]),
        leak_mass=float(sums[LEAK]),
        exhaust_mass=out_less_back,
        exhaust_air=out_less_back * leaving.air,
        exhaust_fuel=out_less_back * leaving.fuel,
        exhaust_temperature=manifold.temperature,
        valve_temperature=leaving.temperature,
        trapped_mass=repeated.mass,
        trapped_air=float(repeated.y[AIR_]),
        trapped_fuel=float(repeated.y[FUEL_]),
        trapped_temperature=float(repeated.y[T_]),
        trapped_pressure=trapped.pressure,
        residual_share=trapped.residual,
        valves_shut=model.first * model.step,
        gas=model.gas,
        swept_volume=model.swept,
        cycles=repeated.cycles,
        conditions=at,
        burn=repeated.burn,
    )
