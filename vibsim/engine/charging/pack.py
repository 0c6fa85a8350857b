"""From the case file's charging table to the parts that the kernels take."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import numpy as np

from vibsim.engine.charging.compressor_map import Compressor, read_map
from vibsim.engine.charging.driven import Drive
from vibsim.engine.charging.electric import Motor, Supply, split_losses
from vibsim.engine.charging.generic_map import USUAL_DIAMETER, USUAL_PEAK, generic_compressor
from vibsim.engine.charging.intercooler import NO_INTERCOOLER, Intercooler, rated_loss
from vibsim.engine.charging.thermal import Thermal
from vibsim.engine.charging.turbine import (
    USUAL_PEAK as TURBINE_PEAK,
)
from vibsim.engine.charging.turbine import (
    USUAL_RATIO,
    EfficiencyCurve,
    Turbine,
    parabola,
    read_efficiency,
)
from vibsim.inputs import charging_models as models

NONE, ELECTRIC, EXHAUST_TURBINE, ENGINE_DRIVEN = range(4)
SOURCES = {"none": NONE, "electric": ELECTRIC, "exhaust_turbine": EXHAUST_TURBINE, "engine_driven": ENGINE_DRIVEN}
WASTEGATE_OPENS, WASTEGATE_SPAN = 0.9, 0.3  # of the target boost: where it begins to open, and on to fully open
UNLIMITED = 1e9  # A


class Air(NamedTuple):
    """Targets and volumes: `target` intake pressure Pa, `ambient` Pa, `inlet_temperature` K, volumes m³, effective
    `bypass_area` m² of the flap around the compressor, `response_time` s of the boost control."""

    target: float
    ambient: float
    inlet_temperature: float
    intake_volume: float
    exhaust_volume: float
    bypass_area: float
    response_time: float


PARTS: dict[str, type] = {
    "air": Air,
    "cooler": Intercooler,
    "motor": Motor,
    "supply": Supply,
    "thermal": Thermal,
    "turbine": Turbine,
    "drive": Drive,
}


def _record(names: dict[str, np.dtype]) -> np.dtype:
    """A record whose fields plain Python, too, reads as attributes."""
    return np.dtype((np.record, list(names.items())))


CHARGER = _record({name: _record({f: np.dtype(float) for f in part.__annotations__}) for name, part in PARTS.items()})


class Charger(NamedTuple):
    """A charging system of any source, of one type for the compiled code.

    `kind` NONE, ELECTRIC, EXHAUST_TURBINE or ENGINE_DRIVEN; `parts` one record of records named as in PARTS, which the
    kernels take as they take the NamedTuples of the same fields, absent parts all zero; the tables beside them.
    """

    kind: int
    parts: np.ndarray
    compressor: Compressor
    curve: EfficiencyCurve


def pack_charging(charging: models.Charged | models.NoCharging, ambient: float, folder: Path) -> Charger:
    """Pack a charging table for an ambient pressure (Pa); CSV files are looked for in `folder`.

    Raises InputError for maps that cannot be read or make no map.
    """
    parts, curve = np.zeros(1, CHARGER).view(np.recarray), parabola()
    if isinstance(charging, models.NoCharging):
        return Charger(NONE, parts, generic_compressor(), curve)
    record = parts[0]
    record["air"], record["cooler"] = air_of(charging, ambient), cooler_of(charging.intercooler)
    if isinstance(charging, models.ElectricCharging):
        record["motor"], record["supply"] = motor_of(charging), supply_of(charging)
        record["thermal"] = thermal_of(charging)
    if isinstance(charging, models.TurbineCharging):
        boost = record["air"]["target"] - ambient
        record["turbine"], curve = turbine_of(charging.turbine, boost), curve_of(charging.turbine, folder)
    if isinstance(charging, models.DrivenCharging):
        drive = charging.drive
        record["drive"] = Drive(drive.ratio, drive.mechanical_efficiency, drive.inertia)
    return Charger(SOURCES[charging.source], parts, compressor_of(charging.compressor, folder), curve)  # type: ignore[attr-defined]


def air_of(charging: models.Charged, ambient: float) -> Air:
    """Targets and volumes; those a source does not have are zero."""
    ratio, boost = charging.pressure_ratio, charging.boost_pressure
    target = ambient * ratio if ratio is not None else ambient + (boost or 0.0)
    return Air(
        target,
        ambient,
        charging.inlet_temperature,
        charging.intake_volume,
        getattr(charging, "exhaust_volume", 0.0),
        getattr(charging, "bypass_area", 0.0),
        getattr(charging, "response_time", 0.0),
    )


def compressor_of(table: models.Compressor, folder: Path) -> Compressor:
    """The map from its file, or the generic one."""
    temperature, pressure = table.reference_temperature, table.reference_pressure
    if table.file is not None:
        return read_map(folder / table.file, temperature, pressure)
    diameter, peak = table.wheel_diameter or USUAL_DIAMETER, table.peak_efficiency or USUAL_PEAK
    return generic_compressor(diameter, peak, temperature, pressure)


def cooler_of(table: models.Intercooler | None) -> Intercooler:
    if table is None:
        return NO_INTERCOOLER
    loss = rated_loss(table.pressure_loss, table.rated_mass_flow, table.rated_density)
    return Intercooler(table.effectiveness, table.coolant_temperature, loss)


def motor_of(charging: models.ElectricCharging) -> Motor:
    """Loss coefficients from the rated point, or a constant efficiency."""
    motor, inverter = charging.motor, charging.inverter
    torque = motor.rated_torque or motor.torque_limit
    speed = motor.rated_speed or motor.power_limit / motor.torque_limit
    loss_share = 1.0 / motor.efficiency - 1.0
    usual = models.LOSS_SHARES
    copper = usual[0] if motor.copper_share is None else motor.copper_share
    iron = usual[1] if motor.iron_share is None else motor.iron_share
    coefficients = (0.0, 0.0, 0.0, loss_share)
    if motor.losses == "copper_iron":
        coefficients = (*split_losses(loss_share * torque * speed, torque, speed, copper, iron), 0.0)
    return Motor(
        motor.torque_limit,
        motor.power_limit,
        motor.speed_limit,
        *coefficients,
        1.0 / inverter.efficiency - 1.0,
        motor.inertia,
        motor.derate_start,
        motor.temperature_limit,
        inverter.derate_start,
        inverter.temperature_limit,
    )


def supply_of(charging: models.ElectricCharging) -> Supply:
    battery, alternator = charging.battery, charging.alternator
    return Supply(
        battery.voltage,
        battery.resistance,
        battery.current_limit or UNLIMITED,
        battery.energy,
        battery.share,
        alternator.efficiency,
        alternator.power_limit,
        alternator.torque_limit,
    )


def thermal_of(charging: models.ElectricCharging) -> Thermal:
    motor, inverter = charging.motor, charging.inverter
    return Thermal(
        motor.heat_capacity,
        inverter.heat_capacity,
        1.0 / motor.thermal_resistance,
        1.0 / inverter.thermal_resistance,
        1.0 / charging.thermal_coupling if charging.thermal_coupling else 0.0,
        charging.coolant_temperature,
    )


def turbine_of(table: models.Turbine, boost: float) -> Turbine:
    """The turbine, its wastegate set about a target boost (Pa) where its own pressures are not given."""
    opens, fully = table.wastegate_opens, table.wastegate_fully_open
    span = WASTEGATE_SPAN * boost
    if opens is None:
        opens = WASTEGATE_OPENS * boost if fully is None else max(fully - span, 0.0)
    return Turbine(
        table.effective_area,
        0.5 * table.wheel_diameter,
        table.mechanical_efficiency,
        table.bearing_loss,
        table.inertia,
        table.wastegate_area,
        opens,
        opens + span if fully is None else fully,
    )


def curve_of(table: models.Turbine, folder: Path) -> EfficiencyCurve:
    if table.efficiency_file is not None:
        return read_efficiency(folder / table.efficiency_file)
    return parabola(table.peak_efficiency or TURBINE_PEAK, table.peak_speed_ratio or USUAL_RATIO)
