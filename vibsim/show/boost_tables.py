"""Ways of charging side by side, in tables."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from rich.text import Text

from vibsim.show.tables import CAUTION, new_console, new_table, plain_number
from vibsim.studies.boost import LEDGER, RPM, Comparison, rows_of
from vibsim.studies.boost_runs import SHAKEN
from vibsim.studies.boost_steps import LOAD_BEFORE

ICE_POINT = 273.15
NAMES = {
    "none": "uncharged",
    "electric": "electric compressor",
    "exhaust_turbine": "exhaust turbine",
    "engine_driven": "driven by the crank",
}
BOOSTING = (
    "Boost raises peak pressure, heat and load of pistons, bearings, valves and crankshaft beyond what an engine may "
    "have been made for: its maker's limits, local codes and licensed practice decide."
)
SPINNING_UP = (
    "charger takes: the most, while its rotor spins up, and the brake torque is as much less; what the battery gives "
    "(engine.charging.battery.share, and what the alternator cannot) the crank does not pay at once"
)
CHARGER_PARTS = {
    "into_air_J": "into the air",
    "motor_J": "motor loss",
    "inverter_J": "inverter loss",
    "alternator_J": "alternator loss",
    "battery_loss_J": "battery loss",
    "shaft_J": "shaft loss",
    "drive_J": "drive loss",
}


def print_comparison(
    comparison: Comparison, shaken: list[dict[str, Any]], stepped: list[dict[str, Any]], written: list[Path]
) -> None:
    """Gains and costs at the main speed, net power over speed, energy per cycle, the load step, what mounts feel."""
    console = new_console()
    rows = rows_of(comparison, comparison.main)
    console.print(
        f"charging at full load; every burn set late enough to keep {comparison.margin:g} octane numbers before knock "
        f"(good to about ±{rows[0]['knock_margin_uncertainty'] or 0:.0f}, the differences to less)"
    )
    console.print(_gains(rows))
    for row in rows:
        if "electric_kW" in row:
            console.print(Text(_electric(row)))
    console.print(_over_speed(comparison))
    console.print(_energy(rows))
    if stepped:
        console.print(_stepping(stepped))
        console.print(SPINNING_UP, style="dim")
    if shaken:
        console.print(_shaking(shaken))
    for path in written:
        console.print(Text(f"wrote {path}"))
    console.print(BOOSTING, style="dim")
    console.print(CAUTION, style="dim")


def _gains(rows: list[dict[str, Any]]):
    columns = ("boost kPa", "charge °C", "air %", "later °", "N m", "kW", "gain %", "g/kWh", "peak bar", "exhaust °C")
    table = new_table(f"At {rows[0]['speed_rpm']:.0f} rpm", "charging", *columns, "crank pays kW", "note")
    for row in rows:
        fuel = row["fuel_g_per_kWh"]
        table.add_row(
            NAMES[row["source"]],
            plain_number(row["boost_kPa"], 1),
            plain_number(row["charge_temperature_K"] - ICE_POINT, 0),
            f"{row['air_gain_percent']:+.1f}",
            plain_number(row["burn_later_deg"], 1),
            plain_number(row["torque_N_m"], 1),
            plain_number(row["power_kW"], 1),
            f"{row['gain_percent']:+.1f}",
            "" if fuel is None else f"{fuel:.0f}",
            plain_number(row["peak_pressure_bar"], 0),
            plain_number(row["exhaust_temperature_K"] - ICE_POINT, 0),
            plain_number(row["crank_pays_kW"], 2),
            Text(", ".join(row["notes"])),
        )
    return table


def _electric(row: dict[str, Any]) -> str:
    lasting = row["until_derating_s"]
    holds = "for as long as it likes" if lasting is None else f"{lasting:.0f} s from cold before it must give less"
    battery = row["until_battery_empty_s"]
    empty = (
        "; the crank pays for all of it at once, by the alternator, unless engine.charging.battery.share is given"
        if battery is None
        else f"; the battery, which gives its part, lasts {battery:.0f} s"
    )
    return (
        f"electric compressor: {row['charger_rpm']:.0f} rpm, draws {row['electric_kW']:.2f} kW "
        f"({row['bus_current_A']:.0f} A), {row['alternator_kW']:.2f} kW of it from the alternator; holds this {holds}, "
        f"and {100.0 * row['periodic_duty']:.0f} % of every period for ever{empty}"
    )


def _over_speed(comparison: Comparison):
    names = [NAMES[charged.source] for charged in comparison.sources]
    table = new_table("Boost kPa and net power kW over speed", "rpm", *(f"{name}" for name in names))
    for index, speed in enumerate(comparison.speeds):
        cells = []
        for charged in comparison.sources:
            power = plain_number(1e-3 * charged.points[index].brake_power, 1)
            boost = plain_number(1e-3 * charged.boost[index], 1)
            cells.append(power if charged.source == "none" else f"{boost} → {power}")
        table.add_row(f"{speed * RPM:.0f}", *cells)
    return table


def _energy(rows: list[dict[str, Any]]):
    table = new_table(
        f"Energy per cycle of the engine at {rows[0]['speed_rpm']:.0f} rpm, J (% of the fuel's)",
        "goes into",
        *(NAMES[row["source"]] for row in rows),
    )
    fuel = [sum(row["energy"].values()) for row in rows]
    for key, name in LEDGER.items():
        parts = [row["energy"][key] for row in rows]
        if any(parts):
            cells = [f"{part:.0f} ({100.0 * part / all_:.1f})" for part, all_ in zip(parts, fuel, strict=True)]
            table.add_row(name, *cells)
    table.add_row("fuel", *(f"{all_:.0f}" for all_ in fuel))
    for key, name in CHARGER_PARTS.items():
        cells = [f"{row['charger_energy'][key]:.1f}" if key in row["charger_energy"] else "" for row in rows]
        if any(cells):
            table.add_row(f"of the charger: {name}", *cells)
    return table


def _shaking(rows: list[dict[str, Any]]):
    title = f"What it does to the engine on its mounts at {rows[0]['speed_rpm']:.0f} rpm and full load, from runs"
    columns = ("load torque N m", "torque swing N m", "%", "speed fluctuation %", "worst mount", "rms N", "%")
    table = new_table(title, "charging", *columns, "worst sensor", "rms m/s²", "%", "note")
    for row in rows:
        change = {
            name: f"{row['change_percent'][name]:+.1f}" if name in row["change_percent"] else "" for name in SHAKEN
        }
        mount, sensor = row["mount_rms_N"], row["sensor_rms_m_per_s2"]
        table.add_row(
            NAMES[row["source"]],
            plain_number(row["load_torque_N_m"], 1),
            plain_number(row["torque_swing_N_m"], 0),
            change["torque_swing_N_m"],
            plain_number(100.0 * row["speed_fluctuation"], 2),
            Text(row["worst_mount"]),
            "" if mount is None else plain_number(mount, 1),
            change["mount_rms_N"],
            Text(row["worst_sensor"]),
            "" if sensor is None else plain_number(sensor, 3),
            change["sensor_rms_m_per_s2"],
            "" if row["settled"] else "not settled",
        )
    return table


def _stepping(rows: list[dict[str, Any]]):
    columns = ("N m before", "after", "boost kPa", "50 % of target s", "90 % s", "90 % of torque s")
    title = (
        f"A step from load {LOAD_BEFORE:g}, of what each gives at full load, to full load at "
        f"{rows[0]['speed_rpm']:.0f} rpm, held by a brake"
    )
    table = new_table(title, "charging", *columns, "charger takes N m", "battery gives kJ", "A")
    for row in rows:
        table.add_row(
            NAMES[row["source"]],
            plain_number(row["torque_before_N_m"], 1),
            plain_number(row["torque_after_N_m"], 1),
            plain_number(row["boost_after_kPa"], 1),
            *_seconds(row, "time_to_50_percent_of_target_s", "time_to_90_percent_of_target_s"),
            *_seconds(row | {"source": ""}, "time_to_90_percent_of_torque_s"),
            plain_number(row["greatest_charging_torque_N_m"], 1) if "greatest_charging_torque_N_m" in row else "",
            plain_number(1e-3 * row["battery_energy_J"], 2) if "battery_energy_J" in row else "",
            plain_number(row["greatest_battery_current_A"], 0) if "battery_energy_J" in row else "",
        )
    return table


def _seconds(row: dict[str, Any], *keys: str) -> list[str]:
    without = "" if row["source"] == "none" else "not reached"
    return [without if row[key] is None else f"{row[key]:.2f}" for key in keys]
