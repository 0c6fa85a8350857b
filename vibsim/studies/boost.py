"""What each way of charging gives an engine and what it costs: boost, net power, current, heat, at one knock margin."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from vibsim.engine.charging.electric import ElectricPoint
from vibsim.engine.charging.thermal import Holding, holding
from vibsim.engine.cycle_energy import energy_of
from vibsim.engine.cycle_setup import by_compression, cycle_gas
from vibsim.engine.knock import LATEST, UNCERTAINTY
from vibsim.engine.operating_point import OperatingPoint, operating_point, plant_of
from vibsim.inputs.case_checks import SLOWEST_CYCLE
from vibsim.inputs.charging_models import ElectricCharging
from vibsim.inputs.errors import InputError, VibsimError
from vibsim.inputs.loader import CaseFile
from vibsim.solver.simulate import Progress, no_progress
from vibsim.studies.charging_choices import UNCHARGED, choices, engine_of

RPM = 30.0 / math.pi
POINTS = 15
ROUND = (1.0, 2.0, 2.5, 5.0)  # steps of speeds, times a power of ten
LOWEST_SHARE, HIGHEST_PISTON_SPEED = 0.2, 18.0  # of the highest speed; m/s, common practice
KEPT_MARGIN = 0.0  # octane numbers
HOT_EXHAUST = 1223.15  # K: what turbines and valves of the usual kind bear for long; common practice, no source


@dataclass(frozen=True, eq=False)
class Charged:
    """One source over speed (n points): its case, steady points at full load, and at each speed how long an electric
    drive holds them (None for the others, or while it stands)."""

    source: str
    case_file: CaseFile
    points: tuple[OperatingPoint, ...]
    held: tuple[Holding | None, ...]

    def values(self, name: str) -> np.ndarray:
        """One attribute of every point (n)."""
        return np.array([getattr(point, name) for point in self.points])

    @property
    def boost(self) -> np.ndarray:
        """Intake over ambient pressure, Pa (n); below zero where a throttle takes some."""
        ambient = ambient_of(self.case_file)
        return np.array([point.conditions.intake_pressure - ambient for point in self.points])

    @property
    def bus_power(self) -> np.ndarray:
        """Electric power drawn, W (n)."""
        drawn = [electric_of(point) for point in self.points]
        return np.array([electric.bus if electric else 0.0 for electric in drawn])


@dataclass(frozen=True, eq=False)
class Comparison:
    """Every source at full load over crank speeds (n) rad/s, all keeping `margin` octane numbers; the uncharged engine
    first. `main` is the index of the speed that tables show."""

    speeds: np.ndarray
    margin: float
    main: int
    sources: tuple[Charged, ...]


def electric_of(point: OperatingPoint) -> ElectricPoint | None:
    """The electric drive at a point; None for another source, or while it stands."""
    return point.boost.electric if point.boost else None


def ambient_of(case_file: CaseFile) -> float:
    """Ambient pressure of the working cycle, Pa."""
    return cycle_gas(engine_of(case_file)).ambient_pressure


def compare_charging(
    case_file: CaseFile,
    speeds: np.ndarray | None = None,
    main: float | None = None,
    boost: float | None = None,
    margin: float | None = None,
    sources: list[str] | None = None,
    progress: Progress = no_progress,
) -> Comparison:
    """Full-load points of the engine uncharged and with each source over speeds (rad/s; default a usual range), each
    with its burn set late enough to keep the same `margin` of octane numbers (default that of engine.gas.knock_margin,
    or 0). `main` is the speed the tables show (default the run's). `boost` (Pa above ambient) replaces the target.

    Raises InputError for what cannot be, VibsimError where no steady point is found.
    """
    gas = cycle_gas(engine_of(case_file))
    if margin is None:
        margin = KEPT_MARGIN if gas.knock_margin is None else gas.knock_margin
    cases = choices(keeping(case_file, margin), boost, sources)
    main = _main_speed(case_file) if main is None else main
    chosen = np.unique(np.append(usual_speeds(case_file) if speeds is None else speeds, main))
    if chosen[0] < SLOWEST_CYCLE:
        raise InputError(
            f"--speeds-rpm: got {chosen[0] * RPM:g}; the working cycle needs at least {SLOWEST_CYCLE * RPM:.0f} rpm"
        )
    done, total, found = 0, len(cases) * len(chosen), []
    for source, case in cases.items():
        points = []
        for speed in chosen:
            points.append(_full_load(source, case, float(speed)))
            done += 1
            progress("full-load points", done, total)
        found.append(Charged(source, case, tuple(points), tuple(_holding(case, point) for point in points)))
    return Comparison(chosen, margin, int(np.argmin(np.abs(chosen - main))), tuple(found))


def _full_load(source: str, case: CaseFile, speed: float) -> OperatingPoint:
    try:
        return operating_point(engine_of(case), case.folder, speed, 1.0)
    except VibsimError as error:
        raise type(error)(f"{source} at {speed * RPM:.0f} rpm: {error}") from None


def keeping(case_file: CaseFile, margin: float) -> CaseFile:
    """The case with its burn set for a knock margin; one that nothing can make knock stays as it is."""
    engine = engine_of(case_file)
    gas = cycle_gas(engine)
    if by_compression(gas):
        return case_file
    engine = engine.model_copy(update={"gas": gas.model_copy(update={"knock_margin": margin})})
    return replace(case_file, case=case_file.case.model_copy(update={"engine": engine}))


def _main_speed(case_file: CaseFile) -> float:
    run = case_file.case.run
    if run is None or run.speed == 0.0:
        raise InputError("run.speed: is missing; give it, or --speed-rpm")
    return abs(run.speed)


def usual_speeds(case_file: CaseFile) -> np.ndarray:
    """Crank speeds (rad/s) from low to high for an engine of this stroke, in round numbers of rpm."""
    return round_speeds(engine_of(case_file).stroke)


def round_speeds(stroke: float) -> np.ndarray:
    """`usual_speeds` (rad/s) for a stroke (m)."""
    top = HIGHEST_PISTON_SPEED * math.pi / stroke * RPM
    widest = top * (1.0 - LOWEST_SHARE) / (POINTS - 1)
    decade = 10.0 ** math.floor(math.log10(widest))
    step = max(share * decade for share in ROUND if share * decade <= widest)
    rounded = np.arange(math.ceil(LOWEST_SHARE * top / step), math.floor(top / step) + 1) * step
    return rounded / RPM


def _holding(case: CaseFile, point: OperatingPoint) -> Holding | None:
    """How long the motor bears the point, from the coolant's temperature."""
    engine = engine_of(case)
    if electric_of(point) is None or not isinstance(engine.charging, ElectricCharging):
        return None
    assert point.boost is not None
    charge = point.boost.charge
    assert charge is not None
    parts = plant_of(engine, case.folder, point.layout).charger.parts[0]
    period = engine.charging.duty_period
    return holding(charge.torque, charge.speed, point.speed, period, parts.motor, parts.supply, parts.thermal)


LEDGER = {
    "brake_work_J": "brake work",
    "charging_J": "charger, from the crank",
    "friction_J": "friction",
    "accessories_J": "accessories",
    "gas_exchange_J": "gas exchange",
    "walls_J": "cylinder walls",
    "port_J": "exhaust port walls",
    "exhaust_J": "exhaust",
    "unburned_J": "unburned fuel",
}


def energy_ledger(point: OperatingPoint) -> dict[str, float]:
    """Where the fuel's energy goes in a cycle of the whole engine, J; the parts sum to it within the balance's error.

    Work of gas exchange is counted as a loss of its own and taken out of the exhaust, which it ends in.
    """
    cycle, parts = point.layout.cycle, [energy_of(one) for one in point.cycles]
    exchange = -sum(part.gas_exchange for part in parts) + sum(part.scavenging for part in parts)
    return {
        "brake_work_J": point.brake_torque * cycle,
        "charging_J": point.charging_torque * cycle,
        "friction_J": point.friction_torque * cycle,
        "accessories_J": point.accessory_torque * cycle,
        "gas_exchange_J": exchange,
        "walls_J": sum(part.walls for part in parts),
        "port_J": sum(part.port for part in parts),
        "exhaust_J": sum(part.exhaust + part.scavenging for part in parts) - exchange,
        "unburned_J": sum(part.unburned for part in parts),
    }


def charger_ledger(point: OperatingPoint) -> dict[str, float]:
    """What a charger takes in a cycle and where it goes, J: work into the air, its own losses; what of it crank,
    battery and exhaust pay."""
    if point.boost is None or point.boost.charge is None:
        return {}
    per_cycle = point.layout.cycle / point.speed
    boost, air = point.boost, point.boost.charge.power
    found = {"into_air_J": air * per_cycle}
    if boost.electric is not None:
        e = boost.electric
        found |= {
            "motor_J": e.motor_loss * per_cycle,
            "inverter_J": e.inverter_loss * per_cycle,
            "alternator_J": e.alternator_loss * per_cycle,
            "battery_loss_J": e.battery_loss * per_cycle,
            "from_battery_J": e.battery * per_cycle,
        }
    elif boost.turbo is not None:
        found |= {
            "shaft_J": boost.turbo.shaft_loss * per_cycle,
            "from_exhaust_J": boost.turbo.turbine_power * per_cycle,
        }
    elif boost.driven is not None:
        found |= {"drive_J": boost.driven.drive_loss * per_cycle}
    return found | {"from_crank_J": point.charging_torque * point.layout.cycle}


def notes_of(point: OperatingPoint) -> list[str]:
    """What keeps a point from its target, leaves a map, knocks or runs hot, in plain words."""
    notes = []
    if point.boost is not None:
        if point.boost.limited_by:
            notes.append(f"limited by {point.boost.limited_by}")
        notes += point.boost.flags
        electric = point.boost.electric
        if electric is not None and math.isnan(electric.bus_voltage):
            notes.append("battery cannot give its part")
    if point.knocks:
        notes.append(f"knocks even {math.degrees(LATEST):.0f}° later")
    if point.exhaust_temperature > HOT_EXHAUST:
        notes.append("hot exhaust")
    return notes


def row_of(charged: Charged, index: int, plain: OperatingPoint, ambient: float) -> dict[str, Any]:
    """One source at one speed, in the units of tables; gains are over the uncharged engine at the same margin."""
    point, held = charged.points[index], charged.held[index]
    boost = point.boost
    row: dict[str, Any] = {
        "source": charged.source,
        "speed_rpm": point.speed * RPM,
        "boost_kPa": 1e-3 * (point.conditions.intake_pressure - ambient),
        "charge_temperature_K": point.conditions.intake_temperature,
        "air_flow_kg_per_h": 3600.0 * point.air_flow,
        "air_gain_percent": 100.0 * (point.air_flow / plain.air_flow - 1.0),
        "burn_later_deg": math.degrees(point.conditions.late),
        "knock_margin": point.margin if math.isfinite(point.margin) else None,
        "knock_margin_uncertainty": UNCERTAINTY if math.isfinite(point.margin) else None,
        "peak_pressure_bar": 1e-5 * max(cycle.peak_pressure for cycle in point.cycles),
        "back_pressure_kPa": 1e-3 * point.conditions.exhaust_pressure,
        "exhaust_temperature_K": point.exhaust_temperature,
        "torque_N_m": point.brake_torque,
        "power_kW": 1e-3 * point.brake_power,
        "gain_percent": 100.0 * (point.brake_torque / plain.brake_torque - 1.0),
        "fuel_g_per_kWh": 3.6e9 * point.fuel_flow / point.brake_power if point.brake_power > 0.0 else None,
        "crank_pays_kW": 1e-3 * point.charging_torque * point.speed,
        "charger_rpm": boost.charge.speed * RPM if boost and boost.charge else None,
        "notes": notes_of(point),
        "energy": energy_ledger(point),
        "charger_energy": charger_ledger(point),
    }
    if boost is not None and boost.electric is not None:
        electric = boost.electric
        row |= {
            "electric_kW": 1e-3 * electric.bus,
            "bus_current_A": electric.bus_current,
            "battery_current_A": electric.battery_current,
            "alternator_kW": 1e-3 * electric.alternator,
        }
    if held is not None:
        row |= {
            "until_derating_s": _finite(held.until_derating),
            "until_battery_empty_s": _finite(held.until_empty),
            "lasting_duty": held.mean_duty,
            "periodic_duty": held.periodic_duty,
        }
    return row


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def rows_of(comparison: Comparison, index: int) -> list[dict[str, Any]]:
    """All sources at one speed."""
    first = comparison.sources[0]
    assert first.source == UNCHARGED
    ambient = ambient_of(first.case_file)
    return [row_of(charged, index, first.points[index], ambient) for charged in comparison.sources]


def as_dict(comparison: Comparison) -> dict[str, Any]:
    return {
        "knock_margin_kept": comparison.margin,
        "main_speed_rpm": float(comparison.speeds[comparison.main]) * RPM,
        "points": [row for index in range(len(comparison.speeds)) for row in rows_of(comparison, index)],
    }
