"""Checks that span the keys of a charging table: targets, losses, limits, temperatures that must fit together."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from pydantic.fields import FieldInfo

from vibsim.inputs import charging_models as models
from vibsim.inputs.units import GREATEST

Report = Callable[[tuple[str | int, ...], Any, str], None]
Where = tuple[str | int, ...]
WHERE: Where = ("engine", "charging")
SOURCES = ("electric", "exhaust_turbine", "engine_driven")


def check_charging(engine: dict[str, Any], report: Report) -> None:
    """Report every mistake in a converted charging table that a single key cannot show."""
    charging = engine.get("charging")
    if not isinstance(charging, dict) or charging.get("source") not in SOURCES:
        return
    _check_gas(engine, charging, report)
    _check_target(charging, report)
    _check_compressor(charging.get("compressor"), report)
    if _value(charging, "added_mass", models.Charged) and charging.get("added_mass_at") is None:
        report((*WHERE, "added_mass_at_mm"), None, "is missing; an added mass needs its place")
    if charging.get("source") == "electric":
        _check_motor(_table(charging, "motor"), report)
        _check_heat(charging, report)
        _check_battery(charging, report)
    if charging.get("source") == "exhaust_turbine":
        _check_turbine(charging, _table(charging, "turbine"), report)


def _table(charging: dict[str, Any], name: str) -> dict[str, Any]:
    value = charging.get(name)
    return value if isinstance(value, dict) else {}


def _value(table: dict[str, Any], key: str, model: type[models.Table]) -> float | None:
    """A number as given, or its default; None for what is no number."""
    info: FieldInfo = model.model_fields[key]
    value = table.get(key, info.default)
    good = isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < GREATEST
    return float(value) if good else None


def _check_gas(engine: dict[str, Any], charging: dict[str, Any], report: Report) -> None:
    gas = engine.get("gas")
    source = gas.get("source", "none") if isinstance(gas, dict) else "none"
    if source != "cycle":
        allowed = f"needs engine.gas.source = 'cycle', which computes what the charge does; it is '{source}'"
        report((*WHERE, "source"), charging["source"], allowed)


def _check_target(charging: dict[str, Any], report: Report) -> None:
    boost, ratio = charging.get("boost_pressure"), charging.get("pressure_ratio")
    if boost is None and ratio is None:
        report((*WHERE, "boost_pressure_kPa"), None, "is missing; give it, above ambient, or pressure_ratio")
    if boost is not None and ratio is not None:
        report((*WHERE, "pressure_ratio"), ratio, "boost_pressure says the same; keep one")


def _check_compressor(compressor: Any, report: Report) -> None:
    if not isinstance(compressor, dict) or compressor.get("file") is None:
        return
    for key in ("wheel_diameter", "peak_efficiency"):
        if compressor.get(key) is not None:
            allowed = "belongs to the generic map, a map from a file has its own; keep one"
            report((*WHERE, "compressor", key), None, allowed)


def _check_motor(motor: dict[str, Any], report: Report) -> None:
    where = (*WHERE, "motor")
    torque, power, top = (_value(motor, f"{key}_limit", models.Motor) for key in ("torque", "power", "speed"))
    if torque and power and top and power > torque * top:
        allowed = f"cannot be reached: the torque limit at the speed limit gives {1e-3 * torque * top:.4g} kW"
        report((*where, "power_limit"), f"{1e-3 * power:g} kW", allowed)
    speed = motor.get("rated_speed")
    if isinstance(speed, int | float) and top and speed > top:
        report((*where, "rated_speed"), f"{speed:.5g} rad/s", f"must be at most the speed limit, {top:.5g} rad/s")
    shares = [motor.get("copper_share"), motor.get("iron_share")]
    if motor.get("losses") == "constant_efficiency":
        for key in ("copper_share", "iron_share", "rated_torque", "rated_speed"):
            if motor.get(key) is not None:
                report((*where, key), None, "belongs to losses = 'copper_iron'; a constant efficiency has none")
        return
    numbers = [usual if share is None else share for share, usual in zip(shares, models.LOSS_SHARES, strict=True)]
    if all(isinstance(share, int | float) for share in numbers) and sum(numbers) > 1.0 + 1e-12:
        allowed = f"copper_share and iron_share sum to {sum(numbers):g}; must be at most 1, the rest is constant"
        key = "copper_share" if shares[0] is not None else "iron_share"
        report((*where, key), motor.get(key), allowed)


def _check_heat(charging: dict[str, Any], report: Report) -> None:
    coolant = _value(charging, "coolant_temperature", models.ElectricCharging)
    parts: tuple[tuple[str, type[models.Table]], ...] = (("motor", models.Motor), ("inverter", models.Inverter))
    for name, model in parts:
        table, where = _table(charging, name), (*WHERE, name, "derate_start")
        start, limit = _value(table, "derate_start", model), _value(table, "temperature_limit", model)
        if start and limit and start >= limit:
            report(where, f"{start:g} K", f"must be below temperature_limit, {limit:g} K")
        elif start and coolant and start <= coolant:
            report(where, f"{start:g} K", f"must be above coolant_temperature, {coolant:g} K")


def _check_battery(charging: dict[str, Any], report: Report) -> None:
    battery = _table(charging, "battery")
    voltage, resistance, current = (
        _value(battery, key, models.Battery) for key in ("voltage", "resistance", "current_limit")
    )
    if voltage and resistance and current and 2.0 * resistance * current > voltage:
        most = voltage / (2.0 * resistance)
        allowed = f"{voltage:g} V with {1e3 * resistance:g} mohm gives its greatest power at {most:.4g} A; stay below"
        report((*WHERE, "battery", "current_limit"), f"{current:g} A", allowed)


def _check_turbine(charging: dict[str, Any], turbine: dict[str, Any], report: Report) -> None:
    where = (*WHERE, "turbine")
    if turbine.get("efficiency_file") is not None:
        for key in ("peak_efficiency", "peak_speed_ratio"):
            if turbine.get(key) is not None:
                report((*where, key), None, "efficiency_file says it already; keep one")
    opens, fully = turbine.get("wastegate_opens"), turbine.get("wastegate_fully_open")
    if isinstance(opens, int | float) and isinstance(fully, int | float) and fully <= opens:
        allowed = f"must be above wastegate_opens, {1e-3 * opens:g} kPa"
        report((*where, "wastegate_fully_open"), f"{1e-3 * fully:g} kPa", allowed)
    if _value(turbine, "wastegate_area", models.Turbine) == 0.0 and (opens is not None or fully is not None):
        report((*where, "wastegate_area"), 0.0, "a wastegate of no area cannot open; leave its pressures out")
