"""The whole engine at one steady operating point: throttle, charging, cylinders, losses, and what is left at the crank.

Intake pressure, charge temperature and back pressure are those at which what the cylinders draw and put out agrees with
what throttle and charger give for it: a fixed point, found by Anderson's mixing. A load between 0 and 1 is the share of
the way from the intake pressure with the throttle shut to that with it open and the charger at its target.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from pathlib import Path

import numpy as np

from vibsim.engine.accessories import accessory_torque, pack_accessory
from vibsim.engine.boost import MET, Boost, Drawn, boost_at
from vibsim.engine.charging.pack import EXHAUST_TURBINE, NONE, Charger, pack_charging
from vibsim.engine.cycle import Cycle, solve_at
from vibsim.engine.cycle_setup import Conditions, by_compression, conditions_of, cycle_gas
from vibsim.engine.friction import LOSS, friction_law, friction_records
from vibsim.engine.knock import LATEST, UNCERTAINTY, octane_margin
from vibsim.engine.layout import Layout, resolve_layout
from vibsim.engine.periodic import Anderson
from vibsim.engine.throttle import (
    Butterfly,
    area_for,
    butterfly_of,
    opened_area,
    opening_of,
    pressure_behind,
    throttle_flow,
)
from vibsim.inputs.errors import InputError, VibsimError
from vibsim.inputs.models import Engine

MATCHED = 1e-6  # change of pressures and temperatures from round to round, as a share
MOST_ROUNDS, MOST_HALVINGS = 200, 40
LOWER = 0.85  # steps down in the search for the intake pressure behind a shut throttle
LOWEST = 0.1  # of ambient: below it half the charge is burnt gas, and a throttle is opened to keep an engine firing
MARGIN_MET = 0.02  # octane numbers
MANIFOLD_WALL = 363.15  # K: what warms the charge on its way to the valves; common practice, no source
KEPT_POINTS = 512

Matched = tuple[Conditions, tuple[Cycle, ...], Boost | None]


@dataclass(frozen=True, eq=False)
class OperatingPoint:
    """A steady point. `cycles` one per cylinder, the same object where they run alike; `boost` None without charging;
    `opening` of the throttle, 0 to 1, None where there is none; torques in N m at the crank, flows in kg/s.

    `margin` the least octane numbers to spare before knock (infinite where none can).
    """

    engine: Engine
    speed: float
    load: float
    layout: Layout
    conditions: Conditions
    cycles: tuple[Cycle, ...]
    boost: Boost | None
    opening: float | None
    friction_torque: float
    accessory_torque: float
    margin: float
    margin_wanted: float | None

    @property
    def indicated_torque(self) -> float:
        return sum(cycle.work for cycle in self.cycles) / self.layout.cycle

    @property
    def charging_torque(self) -> float:
        """What the charger takes from the crank, by its alternator or its drive."""
        return self.boost.crank_torque if self.boost else 0.0

    @property
    def brake_torque(self) -> float:
        return self.indicated_torque - self.friction_torque - self.accessory_torque - self.charging_torque

    @property
    def brake_power(self) -> float:
        """W, after everything it costs that the crank pays for."""
        return self.brake_torque * self.speed

    @property
    def brake_mean_pressure(self) -> float:
        return self.brake_torque * self.layout.cycle / self.layout.swept_volume

    @property
    def knocks(self) -> bool:
        """Whether fewer octane numbers are left than were to be kept, however late the burn."""
        return self.margin_wanted is not None and self.margin < self.margin_wanted - 2.0 * MARGIN_MET

    @cached_property
    def drawn(self) -> Drawn:
        return drawn_by(self.cycles, self.layout, self.conditions)

    @property
    def air_flow(self) -> float:
        return self.drawn.air_flow

    @property
    def fuel_flow(self) -> float:
        return _rate(self.cycles, self.layout, self.speed, "fuel_mass")

    @property
    def exhaust_temperature(self) -> float:
        """Past the ports, all cylinders mixed, K."""
        return self.drawn.exhaust_temperature


@dataclass(frozen=True)
class Plant:
    """An engine with what feeds it."""

    engine: Engine
    layout: Layout
    charger: Charger
    butterfly: Butterfly | None  # given in the case; without one load sets the pressure alone

    @property
    def gas(self):
        return cycle_gas(self.engine)


def plant_of(engine: Engine, folder: Path, layout: Layout | None = None) -> Plant:
    """Raises InputError for compressor or turbine maps that cannot be read."""
    gas, layout = cycle_gas(engine), layout or resolve_layout(engine)
    charger = pack_charging(engine.charging, gas.ambient_pressure, folder)
    if charger.kind != NONE and gas.intake_pressure is not None:
        raise InputError(
            f"engine.gas.intake_pressure: got {1e-3 * gas.intake_pressure:g} kPa; goes without engine.charging, which "
            "finds the intake pressure"
        )
    return Plant(engine, layout, charger, butterfly_of(gas, layout) if gas.throttle is not None else None)


def operating_point(
    engine: Engine, folder: Path, speed: float, load: float, margin: float | None = None
) -> OperatingPoint:
    """The engine at a crank speed (rad/s) and a load (0 to 1); found once for each.

    `margin` octane numbers are kept by a later burn, if given, else those of engine.gas.knock_margin. Raises InputError
    for what cannot be, VibsimError where no steady point is found.
    """
    margin = cycle_gas(engine).knock_margin if margin is None else margin
    return _operating_point(engine, folder, float(speed), float(load), margin)


@lru_cache(maxsize=KEPT_POINTS)
def _operating_point(engine: Engine, folder: Path, speed: float, load: float, margin: float | None) -> OperatingPoint:
    plant = plant_of(engine, folder)
    base = conditions_of(engine, speed, load)

    def matched(late: float) -> tuple[Conditions, tuple[Cycle, ...], Boost | None]:
        return _matched(plant, replace(base, late=late), load)

    def spare(cycles: tuple[Cycle, ...]) -> float:
        return min(octane_margin(engine, cycle) for cycle in dict.fromkeys(cycles))

    found = matched(0.0)
    if margin is not None and spare(found[1]) < margin:
        found = _late_enough(matched, lambda point: spare(point[1]) - margin, found)
    conditions, cycles, boost = found
    return OperatingPoint(
        engine=engine,
        speed=speed,
        load=load,
        layout=plant.layout,
        conditions=conditions,
        cycles=cycles,
        boost=boost,
        opening=_opening(plant, conditions, cycles, boost),
        friction_torque=_friction(plant, cycles, speed),
        accessory_torque=sum(float(accessory_torque(speed, pack_accessory(a, 0)[()])) for a in engine.accessory),
        margin=spare(cycles),
        margin_wanted=margin,
    )


def _late_enough(matched: Callable[[float], Matched], over: Callable[[Matched], float], first: Matched) -> Matched:
    """The point with its burn set late just as far as leaves the margin, or as late as goes (regula falsi,
    Illinois)."""
    low, below = 0.0, over(first)
    high, point = LATEST, matched(LATEST)
    above = over(point)
    if above < 0.0:
        return point
    for _ in range(60):
        middle = low + (high - low) * min(max(-below / (above - below), 0.02), 0.98)
        point = matched(middle)
        rest = over(point)
        if 0.0 <= rest <= MARGIN_MET:
            return point
        if rest > 0.0:
            high, above, below = middle, rest, 0.5 * below
        else:
            low, below, above = middle, rest, 0.5 * above + 0.5 * MARGIN_MET
    return matched(high)


def doubts(point: OperatingPoint) -> list[str]:
    """What keeps a point from what was asked of it, or makes it doubtful: charger, its maps, knock."""
    found, at = [], f"at {point.speed * 30.0 / math.pi:.0f} rpm and load {point.load:.3g}"
    if point.boost is not None and point.boost.limited_by:
        boost = point.boost
        reach = f"{1e-3 * boost.pressure:.1f} of {1e-3 * boost.target:.1f} kPa"
        found.append(f"engine.charging {at}: reaches {reach}, limited by {boost.limited_by}")
    if point.boost is not None:
        found += [f"engine.charging {at}: {words}" for words in point.boost.flags]
    if point.margin < -UNCERTAINTY and (point.knocks or point.boost is not None):
        key = "engine.charging asks for less" if point.knocks else "engine.gas.knock_margin is given"
        found.append(f"engine.gas {at}: {-point.margin:.0f} octane numbers short, would knock unless {key}")
    return found


def charging_loss(point: OperatingPoint, carrier: int) -> np.ndarray:
    """Record (LOSS) of the torque that the charger takes: of an alternator at constant power, of a driven compressor
    with the square of the speed about this point (derived: torque of a fan)."""
    record = np.zeros((), dtype=LOSS)
    record["body"], record["full"], record["limit"] = carrier, 1.0, math.inf
    if point.boost is not None and point.boost.driven is not None:
        record["square"] = point.charging_torque / point.speed**2
    else:
        record["power"] = point.charging_torque * point.speed
    return record


def run_cylinders(plant: Plant, at: Conditions) -> tuple[Cycle, ...]:
    return tuple(solve_at(plant.engine, cylinder, at) for cylinder in plant.layout.cylinders)


def _rate(cycles: tuple[Cycle, ...], layout: Layout, speed: float, name: str) -> float:
    return sum(getattr(cycle, name) for cycle in cycles) * speed / layout.cycle


def drawn_by(cycles: tuple[Cycle, ...], layout: Layout, at: Conditions) -> Drawn:
    """Flows of all cylinders; the exhaust's temperature is weighted by mass."""
    out = _rate(cycles, layout, at.speed, "exhaust_mass")
    mass = sum(cycle.exhaust_mass for cycle in cycles)
    hot = sum(cycle.exhaust_mass * cycle.exhaust_temperature for cycle in cycles) / mass
    return Drawn(at.speed, _rate(cycles, layout, at.speed, "air_mass"), out, hot, at.exhaust_pressure)


def warmed(temperature: float, plant: Plant) -> float:
    """Temperature (K) at the valves of a charge that leaves charger or intercooler at one: without charging the inlet's
    air comes to engine.gas.intake_temperature, a share of the way to the manifold's wall; a charge goes as far."""
    inlet = float(plant.charger.parts[0].air.inlet_temperature)
    share = (plant.gas.intake_temperature - inlet) / (MANIFOLD_WALL - inlet)
    return temperature + min(max(share, 0.0), 1.0) * (MANIFOLD_WALL - temperature)


def _matched(plant: Plant, at: Conditions, load: float) -> Matched:
    if plant.charger.kind == NONE and plant.butterfly is None:
        return at, run_cylinders(plant, at), None
    full = _full_load(plant, at)
    if load == 1.0 or by_compression(plant.gas):
        return full
    shut = _shut_pressure(plant, at)
    pressure = shut + load * (full[0].intake_pressure - shut)
    return _part_load(plant, replace(full[0], intake_pressure=pressure))


def _full_load(plant: Plant, at: Conditions) -> Matched:
    """Throttle wide open and the charger at its target; without a charger the fixed point is of the pressure alone."""
    ambient = plant.gas.ambient_pressure
    outlet = at.exhaust_pressure
    area = math.inf if plant.butterfly is None else opened_area(1.0, plant.butterfly)

    def behind(drawn: Drawn, pressure: float, temperature: float) -> float:
        return pressure if math.isinf(area) else pressure_behind(drawn.air_flow, area, pressure, temperature)

    def fed(drawn: Drawn) -> tuple[np.ndarray, Boost | None]:
        if plant.charger.kind == NONE:
            pressure = behind(drawn, ambient, at.intake_temperature)
            return np.array([pressure, at.intake_temperature, outlet]), None
        target = float(plant.charger.parts[0].air.target)
        boost = boost_at(target, replace(drawn, outlet_pressure=outlet), plant.charger)
        given = min(boost.pressure, target)
        temperature = warmed(boost.temperature, plant)
        return np.array([behind(drawn, given, temperature), temperature, boost.back_pressure]), boost

    start = np.array([ambient, at.intake_temperature, outlet])
    return _settled(plant, at, fed, start)


def _part_load(plant: Plant, at: Conditions) -> Matched:
    """At a stated intake pressure: the charger gives no less than that, and the throttle takes off what is over."""
    if plant.charger.kind == NONE:
        return at, run_cylinders(plant, at), None
    outlet, wanted = plant.gas.exhaust_pressure, at.intake_pressure
    # a wastegate knows the boost alone: it stays shut below its target whatever the throttle does
    target = float(plant.charger.parts[0].air.target) if plant.charger.kind == EXHAUST_TURBINE else wanted

    def fed(drawn: Drawn) -> tuple[np.ndarray, Boost | None]:
        boost = boost_at(target, replace(drawn, outlet_pressure=outlet), plant.charger)
        if boost.pressure >= MET * wanted:
            boost = replace(boost, target=wanted, limited_by="")
        return np.array([at.intake_pressure, warmed(boost.temperature, plant), boost.back_pressure]), boost

    return _settled(plant, at, fed, np.array([at.intake_pressure, at.intake_temperature, at.exhaust_pressure]))


def _settled(
    plant: Plant, at: Conditions, fed: Callable[[Drawn], tuple[np.ndarray, Boost | None]], start: np.ndarray
) -> Matched:
    """Repeat cylinders and what feeds them until intake pressure, temperature and back pressure (3) stay."""
    mixing, scale, values, good, halvings = Anderson(), start.copy(), start, None, 0
    for _ in range(MOST_ROUNDS):
        now = replace(
            at,
            intake_pressure=float(values[0]),
            intake_temperature=float(values[1]),
            exhaust_pressure=float(values[2]),
        )
        try:
            cycles = run_cylinders(plant, now)
        except VibsimError:  # a step too far: half of it, from where the cycles still closed
            if good is None or halvings == MOST_HALVINGS:
                raise
            mixing.forget()
            values, halvings = 0.5 * (values + good), halvings + 1
            continue
        good = values
        given, boost = fed(drawn_by(cycles, plant.layout, now))
        if np.abs((given - values) / scale).max() < MATCHED:
            return now, cycles, boost
        values = scale * mixing.next(values / scale, given / scale)
        values = np.clip(values, 0.2 * start, 8.0 * start)
    where = f"{at.speed * 30.0 / math.pi:.0f} rpm"
    raise VibsimError(f"engine.charging: no steady point of engine and charger found at {where}; check its sizes")


def _shut_pressure(plant: Plant, at: Conditions) -> float:
    """Intake pressure (Pa) at load 0: the case's, or that at which the shut throttle passes what the engine draws, but
    none that the engine would not fire at."""
    if plant.butterfly is None:
        return plant.gas.closed_throttle_pressure
    from scipy.optimize import brentq

    ambient, area = plant.gas.ambient_pressure, opened_area(0.0, plant.butterfly)
    base = replace(at, intake_temperature=plant.gas.intake_temperature, exhaust_pressure=plant.gas.exhaust_pressure)

    def over(pressure: float) -> float:
        now = replace(base, intake_pressure=pressure)
        drawn = drawn_by(run_cylinders(plant, now), plant.layout, now)
        return throttle_flow(area, ambient, base.intake_temperature, pressure) - drawn.air_flow

    lowest = LOWEST * ambient
    if over(lowest) < 0.0:
        return lowest
    high, low = ambient, ambient
    while over(low) < 0.0:
        high, low = low, max(LOWER * low, lowest)
    return float(brentq(over, low, high, rtol=1e-9)) if low < high else ambient


def _opening(plant: Plant, at: Conditions, cycles: tuple[Cycle, ...], boost: Boost | None) -> float | None:
    if plant.butterfly is None:
        return None
    drawn = drawn_by(cycles, plant.layout, at)
    ahead = boost.pressure if boost else plant.gas.ambient_pressure
    area = area_for(drawn.air_flow, ahead, at.intake_temperature, at.intake_pressure)
    return min(opening_of(area, plant.butterfly), 1.0) if area < opened_area(1.0, plant.butterfly) else 1.0


def _friction(plant: Plant, cycles: tuple[Cycle, ...], speed: float) -> float:
    peaks = np.array([[cycle.peak_pressure for cycle in cycles]])
    record = friction_records(plant.engine, plant.layout, peaks, np.array([speed]))[0]
    return float(friction_law(speed, record["dry"], record["viscous"], record["square"]))
