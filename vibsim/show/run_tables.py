"""What a run found, on one screen."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from rich.table import Table
from rich.text import Text

from vibsim.show.road_tables import road_line, road_table
from vibsim.show.speed_tables import print_speed
from vibsim.show.tables import CAUTION, new_console, new_table, plain_number


def print_summary(summary: dict[str, Any], written: list[Path]) -> None:
    """The answer of a run on one screen."""
    if "steps" in summary:
        from vibsim.show.step_tables import print_steps

        print_steps(summary, written)
        return
    console = new_console()
    console.print(Text(str(summary["title"]), style="bold"))
    console.print(Text(_running(summary)))
    if "settling" in summary:
        console.print(Text(_settling(summary["settling"])))
    if "load_step" in summary:
        for text in load_step_lines(summary["load_step"]):
            console.print(Text(text))
    if "clutch" in summary:
        console.print(Text(clutch_line(summary["clutch"])))
    if "road" in summary:
        console.print(Text(road_line(summary["road"])))
        console.print(road_table(summary["road"]))
    if summary["mounts"]:
        table = new_table("Mounts, worst first", "mount", "mean N", "rms N", "peak N", "mostly", "strongest orders, N")
        for row in summary["mounts"]:
            numbers = plain_number(row["mean_N"], 0), plain_number(row["rms_N"], 1), plain_number(row["peak_N"], 1)
            table.add_row(Text(row["name"]), *numbers, row["worst_axis"], _orders(row))
        console.print(table)
    if summary["sensors"]:
        table = new_table("Sensors, worst first", "sensor", "rms m/s²", "peak m/s²", "mostly", "strongest orders, m/s²")
        for row in summary["sensors"]:
            numbers = plain_number(row["rms_m_per_s2"], 3), plain_number(row["peak_m_per_s2"], 2), row["worst_axis"]
            table.add_row(Text(row["name"]), *numbers, _orders(row))
        console.print(table)
        if summary["sensors"][0].get("orders"):
            console.print(Text(_blame(summary["sensors"][0])), style="dim")
    if summary.get("people"):
        console.print(people_table(summary["people"]))
    table = new_table("Torque ripple", "torque", "mean N m", "swing N m", "strongest orders, N m")
    for row in summary["torque"]:
        table.add_row(row["name"], plain_number(row["mean_N_m"], 2), plain_number(row["swing_N_m"], 1), _orders(row))
    console.print(table)
    print_speed(console, summary)
    over = "" if summary["run_kind"] == "steady" else "; rms over the whole record, orders from its whole cycles (Hann)"
    console.print(
        f"rms and peak of the force less its mean; accelerations unweighted; n× is engine order n{over}", style="dim"
    )
    for path in file_lines(written):
        console.print(Text(f"wrote {path}"))
    console.print(CAUTION, style="dim")


def _running(summary: dict[str, Any]) -> str:
    kind, torque = summary["run_kind"], summary["mean_load_torque_N_m"]
    if kind == "steady":
        speed = f"{summary['mean_speed_rpm']:.0f} rpm (fluctuates by {100.0 * summary['speed_fluctuation']:.2f} %)"
    elif summary.get("load_step", {}).get("speed_held"):
        speed = f"{summary['mean_speed_rpm']:.0f} rpm held by a brake, {summary['duration_s']:g} s"
    else:
        first, last = summary["first_speed_rpm"], summary["last_speed_rpm"]
        speed = f"{first:.0f} → {last:.0f} rpm in {summary['duration_s']:g} s"
    words = "output" if torque >= 0.0 else "needs driving with"
    power = f"{words} {plain_number(abs(torque), 1)} N m, {plain_number(abs(summary['mean_power_kW']), 2)} kW"
    gas = f"; peak pressure {summary['peak_pressure_bar']:.1f} bar" if summary["gas"] else "; no gas pressure"
    return f"{kind.replace('_', ' ')} run, {speed}: {power}{gas}"


def clutch_line(clutch: dict[str, Any]) -> str:
    """How a clutch closed, in words."""
    rpm = 30.0 / math.pi
    words = f"clutch '{clutch['shaft']}' bites at {clutch['bites_at_s']:g} s: "
    if "slipped_for_s" in clutch:
        at_lock = clutch["crank_speed_at_lock_rad_per_s"] * rpm
        words += f"locked after {clutch['slipped_for_s']:.3f} s at {at_lock:.0f} rpm"
    else:
        words += "holds at once" if clutch["holds"] else "still slips at the end of the record"
    if clutch["stretches_of_slip"] > 1:
        words += f", slipped in {clutch['stretches_of_slip']} stretches"
    first, least = clutch["crank_speed_before_rad_per_s"] * rpm, clutch["crank_speed_least_rad_per_s"] * rpm
    words += (
        f"; {1e-3 * clutch['lost_energy_J']:.3g} kJ lost, at most {clutch['greatest_torque_N_m']:.0f} N m; crank from "
        f"{first:.0f} down to {least:.0f} rpm"
    )
    if "most_shaken_mount" in clutch:
        words += f"; {clutch['most_shaken_mount']} changes by {clutch['greatest_change_N']:.0f} N"
    return words


def load_step_lines(step: dict[str, Any]) -> list[str]:
    """How soon boost and torque are there, and what an electric charger spent and heated for it."""
    before, after = step["brake_torque_before_N_m"], step["brake_torque_after_N_m"]
    lines = [
        f"load {step['load']:g} → {step['load_after']:g} at {step['step_at_s']:g} s: brake torque "
        f"{plain_number(before, 1)} → {plain_number(after, 1)} N m, intake "
        f"{1e-3 * step['intake_pressure_before_Pa']:.1f} → {1e-3 * step['intake_pressure_after_Pa']:.1f} kPa"
    ]
    if "time_to_90_percent_of_rise_s" in step:
        lines[0] += f", 90 % of that change after {step['time_to_90_percent_of_rise_s']:.2f} s"
    if "target_boost_Pa" in step and step["load_after"] > step["load"]:
        times = [
            f"{percent} % after {step[name]:.2f} s" if name in step else f"{percent} % not reached"
            for percent in (50, 90)
            for name in [f"time_to_{percent}_percent_of_target_s"]
        ]
        lines.append(
            f"boost target {1e-3 * step['target_boost_Pa']:.1f} kPa: {', '.join(times)}; "
            f"{1e-3 * step['boost_after_Pa']:.1f} kPa at the end"
        )
    if "battery_energy_J" in step:
        lines.append(
            f"battery gave {1e-3 * step['battery_energy_J']:.2f} kJ, at most "
            f"{step['greatest_battery_current_A']:.0f} A; winding up to {step['hottest_winding_K'] - 273.15:.1f} °C, "
            f"inverter to {step['hottest_inverter_K'] - 273.15:.1f} °C"
        )
    return lines


def _settling(settling: dict[str, Any]) -> str:
    if settling.get("solve") == "periodic":
        return (
            f"periodic state from {settling['settling_cycles']} cycles: change to the next "
            f"{settling['settling_residual']:.2g} ({settling['settling_slowest']}), tolerance "
            f"{settling['settling_tolerance']:g}; {settling['settling_departure']:.2g} from the state that repeats; "
            f"largest multiplier {settling['floquet_largest']:.3f}, settling takes "
            f"about {settling['settling_cycles_forecast']:.0f}"
        )
    words = "settled" if settling["settled"] else "DID NOT SETTLE"
    return (
        f"{words} after {settling['settling_cycles']} cycles: largest change from cycle to cycle "
        f"{settling['settling_residual']:.2g} ({settling['settling_slowest']}), "
        f"tolerance {settling['settling_tolerance']:g}"
    )


def _blame(row: dict[str, Any]) -> str:
    """What part of the worst sensor's mean square its strongest order has, and where to read the rest."""
    first = row["orders"][0]
    part = min(0.5 * first["amplitude"] ** 2 / row["rms_m_per_s2"] ** 2, 1.0) if row["rms_m_per_s2"] else 0.0
    words = f"{row['name']}: order {first['order']:g} makes {100.0 * part:.0f} % of its mean square"
    return f"{words}; through which mounts and from what: vibsim contributions, or vibsim plot of the results"


def people_table(rows: list[dict[str, Any]]) -> Table:
    """What those at grips, seats and footrests feel, weighted."""
    columns = ("contact", "A(8) of 8 h m/s²", "action value", "comfort total m/s²", "comfort")
    table = new_table("People, weighted (a day of points: vibsim exposure)", "sensor", *columns)
    for column in (1, 5):
        table.columns[column].justify = "left"
    for row in rows:
        level, action, comfort = row["a8_m_per_s2"], row["action_m_per_s2"], row["comfort_m_per_s2"]
        health = ("", "") if level is None else (plain_number(level, 3), f"{action:g}")
        table.add_row(
            Text(row["name"]),
            row["contact"],
            *health,
            "" if comfort is None else plain_number(comfort, 3),
            row["comfort"],
        )
    return table


def file_lines(written: list[Path]) -> list[str]:
    """Files, with the figures folded into one line."""
    lines = [str(path) for path in written if path.suffix != ".png"]
    pictures = [path for path in written if path.suffix == ".png"]
    if pictures:
        names = ", ".join(path.stem for path in pictures)
        lines.append(f"{pictures[0].parent}/ ({names})")
    return lines


def _orders(row: dict[str, Any]) -> str:
    """Strongest orders with amplitudes, those below a hundredth of the strongest left out."""
    found = row.get("orders", [])
    strong = [item for item in found if item["amplitude"] >= max(0.01 * found[0]["amplitude"], 1e-6)]
    return ", ".join(f"{item['order']:g}× {item['amplitude']:.3g}" for item in strong)
