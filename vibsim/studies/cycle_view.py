"""The working cycle at operating points: what it gives, where the fuel's energy goes, its course over crank angle."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from vibsim.engine.burn import Burn
from vibsim.engine.course import Valve, shut_span
from vibsim.engine.cycle import Cycle, solve_at
from vibsim.engine.cycle_curves import Curves, burned_angle, cycle_curves
from vibsim.engine.cycle_energy import Energy, energy_of
from vibsim.engine.cycle_setup import by_compression, cycle_gas
from vibsim.engine.layout import ResolvedCylinder, resolve_layout
from vibsim.engine.load_target import with_load
from vibsim.engine.operating_point import OperatingPoint, operating_point
from vibsim.engine.trace_fit import Slope, slope
from vibsim.engine.valve_timing import valves_of
from vibsim.inputs.case_checks import SLOWEST_CYCLE
from vibsim.inputs.errors import InputError, VibsimError, nearest
from vibsim.inputs.loader import CaseFile
from vibsim.inputs.models import Engine
from vibsim.inputs.trace import Trace
from vibsim.studies.gas_overview import CylinderGas, cycles_alike, feeding_in_words

RPM = 30.0 / math.pi
SHARES = (10, 50, 90)  # % burned
MARGIN = math.radians(5.0)  # between a fitted exponent's window and valves or burning
MOTORED = math.radians(20.0)  # either side of top dead centre that is left out where nothing burns
NARROWEST = math.radians(20.0)  # window of an exponent
ALL_BURNED = 0.99
SLOPE_RULE = (
    "exponents: least squares in log p–log V from 5° after the last valve closes to 5° before burning begins, and from "
    "99 % burned to 5° before a valve opens; where nothing burns, to and from 20° beside top dead centre"
)
CLOSES = "cycles are repeated until temperature and masses come back to {:g} of themselves"
G_PER_KWH = 3.6e9  # kg/J


@dataclass(frozen=True, eq=False)
class Point:
    """One operating point of cylinders that run alike: crank speed rad/s, load 0 to 1; curves as it runs and with the
    fuel cut at the same intake (None where that is the same, or would not close); polytropic exponents (None where
    burning leaves too little); `injection` rad, where the case says when it begins; `engine` as a whole, with all its
    cylinders and losses."""

    speed: float
    load: float
    gas: CylinderGas
    curves: Curves
    motored: Curves | None
    energy: Energy
    compression: Slope | None
    expansion: Slope | None
    injection: float | None
    engine: OperatingPoint

    @property
    def cycle(self) -> Cycle:
        return self.gas.cycle

    @property
    def fuel_per_work(self) -> float | None:
        """Indicated specific fuel consumption, kg/J; None without fuel or work."""
        cycle = self.cycle
        return cycle.fuel_mass / cycle.work if cycle.fuel_mass > 0.0 and cycle.work > 0.0 else None


@dataclass(frozen=True, eq=False)
class CycleView:
    """Operating points of a case, intake and exhaust (rad from firing top dead centre), cycle (rad), what was left
    out."""

    points: tuple[Point, ...]
    valves: tuple[Valve, Valve]
    cycle: float
    notes: tuple[str, ...]

    def label(self, point: Point) -> str:
        """`4000 rpm, load 0.35`, with the cylinders where they differ."""
        return ", ".join([f"{point.speed * RPM:.0f} rpm", f"load {point.load:.4g}", *self.which(point)])

    def which(self, point: Point) -> list[str]:
        """Cylinders of a point, in words; none where all run alike."""
        if len({other.gas.cylinders for other in self.points}) == 1:
            return []
        names = point.gas.cylinders
        return [f"cylinder{'s' if len(names) > 1 else ''} {', '.join(names)}"]


def find_cycles(
    case_file: CaseFile,
    speeds: list[float] | None = None,
    loads: list[float] | None = None,
    cylinder: str | None = None,
) -> CycleView:
    """Working cycles at every speed (rad/s) and load, those of the run unless given; of one cylinder, or of all that
    differ. Raises InputError where the case has no working cycle, for a point that cannot be or a name not known."""
    engine = _engine_with_cycle(case_file)
    layout = resolve_layout(engine)
    cylinders = layout.cylinders if cylinder is None else (_named(layout.cylinders, cylinder),)
    places = {item.name: item for item in cylinders}
    notes: list[str] = []
    points = []
    for speed in _speeds(case_file, speeds):
        for load in _loads(case_file, loads):
            at = operating_point(engine, case_file.folder, speed, load)
            notes += [f"{speed * RPM:.0f} rpm, load {load:.4g}: {line}" for line in feeding_in_words(at)]
            for gas in cycles_alike(at, tuple(places)):
                points.append(_point(at, places[gas.cylinders[0]], gas, notes))
    valves = valves_of(engine, cycle_gas(engine), cylinders[0])
    return CycleView(tuple(points), valves, layout.cycle, tuple(notes))


def _engine_with_cycle(case_file: CaseFile) -> Engine:
    engine = case_file.case.engine
    if engine is None:
        raise InputError("engine: is missing; cycle needs an [engine] table")
    if engine.gas.source != "cycle":
        raise InputError(f'engine.gas.source: got {engine.gas.source!r}; the working cycle needs source = "cycle"')
    return engine


def _named(cylinders: tuple[ResolvedCylinder, ...], name: str) -> ResolvedCylinder:
    for cylinder in cylinders:
        if cylinder.name == name:
            return cylinder
    raise InputError(f"--cylinder: got {name!r}; {nearest(name, [item.name for item in cylinders])}")


def _speeds(case_file: CaseFile, given: list[float] | None) -> list[float]:
    run = case_file.case.run
    if given is None:
        if run is None or run.speed == 0.0:
            raise InputError("run.speed: is missing; give it, or --speed-rpm")
        return [abs(run.speed)]
    for speed in given:
        if speed < SLOWEST_CYCLE:
            least = f"the working cycle needs at least {SLOWEST_CYCLE * RPM:.0f} rpm"
            raise InputError(f"--speed-rpm: got {speed * RPM:g}; {least}")
    return list(dict.fromkeys(given))


def _loads(case_file: CaseFile, given: list[float] | None) -> list[float]:
    run = case_file.case.run
    if given is None:
        resolved = with_load(case_file.case, case_file.folder).run
        return [1.0 if run is None or resolved is None else resolved.load]
    return list(dict.fromkeys(given))


def _point(at: OperatingPoint, cylinder: ResolvedCylinder, gas: CylinderGas, notes: list[str]) -> Point:
    engine, cycle, place = at.engine, gas.cycle, (at.speed, at.load)
    curves = cycle_curves(engine, cylinder, cycle)
    motored = None
    if cycle.fuel_heat == 0.0:
        notes.append(
            f"no fuel at {place[0] * RPM:.0f} rpm, load {place[1]:g}: no heat release, no shares of its energy"
        )
    else:
        try:
            cut = solve_at(engine, cylinder, replace(cycle.conditions, fuelling=0.0))
            motored = cycle_curves(engine, cylinder, cut)
        except VibsimError as error:
            notes.append(f"no motored curve at {place[0] * RPM:.0f} rpm, load {place[1]:g}: {error}")
    valves = valves_of(engine, cycle_gas(engine), cylinder)
    span = shut_span(valves, engine.strokes * math.pi)
    compression, expansion = _exponents(cylinder, cycle, curves, span)
    injection = _injection(engine, cylinder, cycle)
    return Point(*place, gas, curves, motored, energy_of(cycle), compression, expansion, injection, at)


def _exponents(
    cylinder: ResolvedCylinder, cycle: Cycle, curves: Curves, span: tuple[float, float]
) -> tuple[Slope | None, Slope | None]:
    """Polytropic exponents of compression and expansion by SLOPE_RULE."""
    begins, done = -MOTORED, MOTORED
    if cycle.burn is not None:
        burned = burned_angle(cycle, ALL_BURNED)
        assert burned is not None
        begins, done = cycle.burn.start - MARGIN, burned
    trace = Trace(curves.angle[:-1], curves.pressure[:-1])
    windows = (span[0] + MARGIN, begins), (done, span[1] - MARGIN)
    first, second = (
        slope(trace, cylinder, float(cycle.angle[-1]), window) if window[1] - window[0] >= NARROWEST else None
        for window in windows
    )
    return first, second


def _injection(engine: Engine, cylinder: ResolvedCylinder, cycle: Cycle) -> float | None:
    """Where injection begins: of diesel, unless the case says when burning does."""
    gas = cycle_gas(engine)
    if not by_compression(gas) or gas.burn_start is not None or cycle.burn is None:
        return None
    return gas.injection_start + cylinder.burn_shift + cycle.conditions.late


def as_dict(view: CycleView) -> dict[str, Any]:
    """What `--json` prints."""
    return {"points": [point_as_dict(point) for point in view.points], "notes": list(view.notes)}


def point_as_dict(point: Point) -> dict[str, Any]:
    cycle, per_work = point.cycle, point.fuel_per_work
    first, second = point.compression, point.expansion
    return (
        {"speed_rpm": point.speed * RPM, "load": point.load}
        | point.gas.as_dict()
        | burn_as_dict(cycle, point.injection)
        | {
            "indicated_fuel_consumption_g_per_kWh": None if per_work is None else G_PER_KWH * per_work,
            "exhaust_valve_temperature_K": cycle.valve_temperature,
            "compression_exponent": None if first is None else first.exponent,
            "expansion_exponent": None if second is None else second.exponent,
            "cycles_to_close": cycle.cycles,
            "engine": engine_as_dict(point.engine),
            "energy": energy_as_dict(point.energy),
        }
    )


def engine_as_dict(at: OperatingPoint) -> dict[str, float | None]:
    """What the whole engine gives at the crank after its losses, all cylinders; mean pressures are torques over the
    swept volume of all (brake = indicated − friction − accessories − charger)."""
    per_torque = 1e-5 * at.layout.cycle / at.layout.swept_volume
    consumed = at.fuel_flow / at.brake_power if at.fuel_flow > 0.0 and at.brake_power > 0.0 else None
    heat = sum(cycle.fuel_heat for cycle in at.cycles)
    return {
        "brake_mean_pressure_bar": 1e-5 * at.brake_mean_pressure,
        "friction_mean_pressure_bar": per_torque * at.friction_torque,
        "accessory_mean_pressure_bar": per_torque * at.accessory_torque,
        "charger_mean_pressure_bar": per_torque * at.charging_torque,
        "brake_torque_N_m": at.brake_torque,
        "brake_power_kW": 1e-3 * at.brake_power,
        "brake_efficiency": at.brake_torque * at.layout.cycle / heat if heat > 0.0 else None,
        "brake_fuel_consumption_g_per_kWh": None if consumed is None else G_PER_KWH * consumed,
        "air_flow_g_per_s": 1e3 * at.air_flow,
        "throttle_opening": at.opening,
    }


def burn_as_dict(cycle: Cycle, injection: float | None) -> dict[str, float | None]:
    """When the charge burns, degrees from firing top dead centre; None without a burn."""
    burn: Burn | None = cycle.burn
    angles = {f"burned_{share}_deg": _degrees(burned_angle(cycle, 0.01 * share)) for share in SHARES}
    low, high = angles["burned_10_deg"], angles["burned_90_deg"]
    return {
        "injection_deg": _degrees(injection),
        "ignition_deg": None if burn is None else math.degrees(burn.start),
        **angles,
        "burn_10_to_90_deg": None if low is None or high is None else high - low,
        "burn_duration_deg": None if burn is None else math.degrees(burn.span),
    }


def _degrees(angle: float | None) -> float | None:
    return None if angle is None else math.degrees(angle)


def energy_as_dict(energy: Energy) -> dict[str, float | None]:
    """J per cycle, and the closure error as a share of the fuel's energy."""
    return {
        "fuel_J": energy.fuel,
        "net_work_J": energy.work,
        "gross_work_J": energy.gross,
        "gas_exchange_work_J": energy.gas_exchange,
        "scavenging_work_J": energy.scavenging,
        "wall_heat_J": energy.walls,
        "exhaust_J": energy.port + energy.exhaust,
        "exhaust_port_heat_J": energy.port,
        "exhaust_past_port_J": energy.exhaust,
        "unburned_J": energy.unburned,
        "closure_error_J": energy.error,
        "closure_error_share": energy.error / energy.fuel if energy.fuel > 0.0 else None,
    }


def curve_columns(point: Point) -> dict[str, np.ndarray]:
    """Columns of a point's CSV by title, over one cycle without its last angle, which is its first."""
    curves, degree = point.curves, math.radians(1.0)
    columns = {
        "crank_angle_deg": np.degrees(curves.angle),
        "volume_cm3": 1e6 * curves.volume,
        "pressure_bar": 1e-5 * curves.pressure,
        "temperature_K": curves.temperature,
        "burned_share": curves.burned,
        "heat_release_J_per_deg": degree * curves.heat_rate,
        "wall_heat_J_per_deg": degree * curves.wall_rate,
    }
    return {title: values[:-1] for title, values in columns.items()}
