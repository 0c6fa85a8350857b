"""Tables on a terminal."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
from rich.box import SIMPLE
from rich.console import Console
from rich.table import Table
from rich.text import Text

from vibsim.studies.balance import NEGLIGIBLE, Balance, OnePosition, as_dict, verdict
from vibsim.studies.compare import Compared, layout_rows, speed_rows
from vibsim.studies.modes import DIRECTIONS, ModesResult
from vibsim.studies.overview import Overview

CAUTION = (
    "Computed from the case as given, not a certificate: for vibration exposure and for the strength of crankshaft, "
    "mounts and chassis follow local codes and licensed practice."
)


PIPE_WIDTH = 160  # columns when the output is no terminal


def _console() -> Console:
    console = Console(highlight=False)
    if not console.is_terminal:
        console.width = PIPE_WIDTH
    return console


WORDS = ("share of kinetic energy", "body", "between", "law")  # columns of text


def _table(title: str, *columns: str) -> Table:
    table = Table(title=Text(title), title_justify="left", title_style="bold", box=SIMPLE, pad_edge=False)
    for index, column in enumerate(columns):
        table.add_column(
            column, justify="left" if index == 0 or column in WORDS or column.startswith("strongest") else "right"
        )
    return table


def _orders(row: dict[str, Any]) -> str:
    """Strongest orders with amplitudes, those below a hundredth of the strongest left out."""
    found = row.get("orders", [])
    strong = [item for item in found if item["amplitude"] >= max(0.01 * found[0]["amplitude"], 1e-6)]
    return ", ".join(f"{item['order']:g}× {item['amplitude']:.3g}" for item in strong)


def _plain(value: float, digits: int) -> str:
    """A number without a minus sign before zeros."""
    return f"{round(value, digits) + 0.0:.{digits}f}"


def print_summary(summary: dict[str, Any], written: list[Path]) -> None:
    """The answer of a run on one screen."""
    console = _console()
    console.print(Text(str(summary["title"]), style="bold"))
    console.print(Text(_running(summary)))
    if "settling" in summary:
        console.print(Text(_settling(summary["settling"])))
    if summary["mounts"]:
        table = _table("Mounts, worst first", "mount", "mean N", "rms N", "peak N", "mostly", "strongest orders, N")
        for row in summary["mounts"]:
            numbers = _plain(row["mean_N"], 0), _plain(row["rms_N"], 1), _plain(row["peak_N"], 1)
            table.add_row(Text(row["name"]), *numbers, row["worst_axis"], _orders(row))
        console.print(table)
    if summary["sensors"]:
        table = _table("Sensors, worst first", "sensor", "rms m/s²", "peak m/s²", "mostly", "strongest orders, m/s²")
        for row in summary["sensors"]:
            numbers = _plain(row["rms_m_per_s2"], 3), _plain(row["peak_m_per_s2"], 2), row["worst_axis"]
            table.add_row(Text(row["name"]), *numbers, _orders(row))
        console.print(table)
    table = _table("Torque ripple", "torque", "mean N m", "swing N m", "strongest orders, N m")
    for row in summary["torque"]:
        table.add_row(row["name"], _plain(row["mean_N_m"], 2), _plain(row["swing_N_m"], 1), _orders(row))
    console.print(table)
    over = "" if summary["run_kind"] == "steady" else "; rms over the whole record, orders from its whole cycles (Hann)"
    console.print(
        f"rms and peak of the force less its mean; accelerations unweighted; n× is engine order n{over}", style="dim"
    )
    for path in _folders(written):
        console.print(Text(f"wrote {path}"))
    console.print(CAUTION, style="dim")


def _running(summary: dict[str, Any]) -> str:
    kind, torque = summary["run_kind"], summary["mean_load_torque_N_m"]
    if kind == "steady":
        speed = f"{summary['mean_speed_rpm']:.0f} rpm (fluctuates by {100.0 * summary['speed_fluctuation']:.2f} %)"
    else:
        first, last = summary["first_speed_rpm"], summary["last_speed_rpm"]
        speed = f"{first:.0f} → {last:.0f} rpm in {summary['duration_s']:g} s"
    words = "output" if torque >= 0.0 else "needs driving with"
    power = f"{words} {_plain(abs(torque), 1)} N m, {_plain(abs(summary['mean_power_kW']), 2)} kW"
    gas = f"; peak pressure {summary['peak_pressure_bar']:.1f} bar" if summary["gas"] else "; no gas pressure"
    return f"{kind} run, {speed}: {power}{gas}"


def _settling(settling: dict[str, Any]) -> str:
    words = "settled" if settling["settled"] else "DID NOT SETTLE"
    return (
        f"{words} after {settling['settling_cycles']} cycles: largest change from cycle to cycle "
        f"{settling['settling_residual']:.2g} ({settling['settling_slowest']}), "
        f"tolerance {settling['settling_tolerance']:g}"
    )


def _folders(written: list[Path]) -> list[str]:
    """Files, with the figures folded into one line."""
    lines = [str(path) for path in written if path.suffix != ".png"]
    pictures = [path for path in written if path.suffix == ".png"]
    if pictures:
        names = ", ".join(path.stem for path in pictures)
        lines.append(f"{pictures[0].parent}/ ({names})")
    return lines


def print_modes(result: ModesResult, crank: str) -> None:
    """Frequencies, damping and kinetic-energy shares."""
    console = _console()
    columns = [f"{body} {direction}" for body in result.bodies for direction in DIRECTIONS]
    table = _table(f"Modes about static equilibrium, crank {crank}", "mode", "Hz", "damping", "share of kinetic energy")
    for index, frequency in enumerate(result.modes.frequency):
        flat = result.modes.energy[index].ravel()
        shares = [f"{columns[n]} {100.0 * flat[n]:.0f} %" for n in np.argsort(flat)[::-1] if flat[n] >= 0.05]
        numbers = f"{frequency:.2f}", _plain(result.modes.damping[index], 3)
        table.add_row(str(index + 1), *numbers, Text(", ".join(shares)))
    console.print(table)
    shapes = _table("Shapes at the bodies' centres of mass, largest entry 1 (m, rad)", "mode", "body", *DIRECTIONS)
    for index, shape in enumerate(result.modes.shape):
        for b, body in enumerate(result.bodies):
            shapes.add_row(str(index + 1) if b == 0 else "", Text(body), *(_complex(entry) for entry in shape[b]))
    console.print(shapes)
    console.print("damping: share of critical; shapes: size∠phase, · where the size is below 0.02", style="dim")


def _complex(value: complex) -> str:
    """Size and phase in degrees; entries below a fiftieth are left out, phases near 0 and 180 become the sign."""
    size, angle = abs(value), math.degrees(math.atan2(value.imag, value.real))
    if size < 0.02:
        return "·"
    if abs(angle) < 3.0 or abs(angle) > 177.0:
        return f"{math.copysign(size, value.real):.2f}"
    return f"{size:.2f}∠{angle:.0f}°"


def print_balance(balance: Balance, position: OnePosition | None, written: list[Path]) -> None:
    """Free forces and couples per order, the verdict, and what would cure the first order."""
    console = _console()
    found = as_dict(balance)
    console.print(
        f"free forces at {found['speed_rpm']:.0f} rpm, F = {balance.unit:.1f} N is one cylinder's primary force, "
        f"a = {found['throw_spacing_mm']:.1f} mm the throw spacing"
    )
    intervals = " / ".join(f"{value:.0f}°" for value in found["firing_intervals_deg"])
    console.print(f"firing intervals {intervals}")
    for what, unit in (("force", "N"), ("couple", "N m")):
        about = "" if what == "force" else " about the middle of the throws"
        title = f"Free {what} per order{about}: forward turns with the crank, backward against it"
        sizes = [f"{word} {unit}" for word in ("forward", "backward", "largest")]
        table = _table(title, "order", *sizes, "in F" if what == "force" else "in F·a", "along °")
        for row in found["orders"]:
            part = row[f"{what}_{unit.replace(' ', '_')}"]
            if part["share"] < NEGLIGIBLE:
                continue
            numbers = [_plain(part[key], 2) for key in ("forward", "backward", "major")]
            table.add_row(f"{row['order']:g}", *numbers, f"{part['share']:.3f}", _plain(part["direction_deg"], 1))
        if table.row_count:
            console.print(table)
    table = _table("Torque about the crank per order", "order", "inertia N m", "gas N m")
    for row in found["torque"]:
        table.add_row(f"{row['order']:g}", _plain(row["inertia_N_m"], 2), _plain(row["gas_N_m"], 2))
    console.print(table)
    for line in found["verdict"]:
        console.print(Text(line))
    sums = found["cancellation"]
    console.print(
        f"counterweights alone cancel the first-order force when |Σ m·e^(i(2·bank − pin))| = 0: it is "
        f"{sums['force_sum_share']:.4f} of Σ m; the couple when the same weighted with place is: "
        f"{sums['couple_sum_share']:.4f} of its whole"
    )
    for row in (*found["counterweights_to_add"], *found["shafts_to_add"]):
        if row["unbalance_kg_mm"] < 1e-6:
            continue
        what = "counterweight on the crank" if row["ratio"] == 1.0 else f"balance shaft at {row['ratio']:g}"
        console.print(
            f"to add, {what}: {row['unbalance_kg_mm']:.3f} kg mm at {_plain(row['angle_deg'], 1)}°, "
            f"{_plain(row['at_mm'], 1)} mm along the crank"
        )
    if position is not None:
        console.print(Text(position_in_words(balance, position)))
    for path in written:
        console.print(Text(f"wrote {path}"))
    console.print(CAUTION, style="dim")


def position_in_words(balance: Balance, position: OnePosition) -> str:
    """What one crank angle says, and what the revolution says."""
    angles = ", ".join(f"{math.degrees(angle):.0f}°" for angle in position.least_angles[:6])
    remains = [line for line in verdict(balance) if not line.endswith(": none")]
    return (
        f"at crank angle {math.degrees(position.angle):.0f}° the free force is {position.force_at:.1f} N; over the "
        f"revolution it runs from {position.force_least:.1f} N (at {angles}) to {position.force_greatest:.1f} N; the "
        f"couple is {position.couple_at:.2f} N m there and at most {position.couple_greatest:.2f} N m. One position is "
        f"not a revolution; what remains: {'; '.join(remains) or 'nothing of the first two orders'}"
    )


def print_comparison(compared: list[Compared], written: list[Path]) -> None:
    """Layouts side by side, then every speed."""
    console = _console()
    speed = compared[0].speeds[0] * 30.0 / math.pi
    columns = ("cc", "1st force N", "2nd force N", "1st couple N m", "2nd couple N m", "evenness", "width mm")
    table = _table(f"Free forces and couples at {speed:.0f} rpm", "case", *columns)
    for row in layout_rows(compared):
        values = [row[key] for key in ("first_force_N", "second_force_N", "first_couple_N_m", "second_couple_N_m")]
        shown = [_plain(value, 1) for value in values]
        width = _plain(row["width_mm"], 0)
        table.add_row(Text(row["case"]), f"{row['displacement_cc']:.0f}", *shown, f"{row['evenness']:.2f}", width)
    console.print(table)
    sizes = (
        "rpm",
        "case",
        "load N m",
        "ripple N m",
        "fluctuation %",
        "worst mount",
        "rms N",
        "worst sensor",
        "rms m/s²",
    )
    table = _table("Steady runs: net torque swing, worst mount and sensor", *sizes)
    for row in speed_rows(compared):
        mount = _plain(row["mount_rms_N"], 1) if row["worst_mount"] else ""
        sensor = _plain(row["sensor_rms_m_per_s2"], 3) if row["worst_sensor"] else ""
        table.add_row(
            f"{row['speed_rpm']:.0f}",
            Text(row["case"] + ("" if row["settled"] else " (not settled)")),
            _plain(row["load_torque_N_m"], 1),
            _plain(row["torque_swing_N_m"], 1),
            f"{100.0 * row['speed_fluctuation']:.2f}",
            Text(row["worst_mount"]),
            mount,
            Text(row["worst_sensor"]),
            sensor,
        )
    console.print(table)
    for path in written:
        console.print(Text(f"wrote {path}"))
    console.print(CAUTION, style="dim")


def print_overview(understood: Overview) -> None:
    """What was understood of a case file."""
    console = _console()
    console.print(Text(understood.title, style="bold"))
    console.print(Text(understood.layout))
    if understood.firing:
        order = ", ".join(f"{name} at {math.degrees(angle):.0f}°" for name, angle in understood.firing)
        intervals = " / ".join(f"{math.degrees(angle):.0f}°" for angle in understood.intervals)
        console.print(Text(f"fires: {order}; intervals {intervals}"))
    for words in understood.running:
        console.print(Text(words))
    table = _table("Masses", "body", "kg", "of which moving parts")
    for row in understood.masses:
        moving = f"{row['pistons_and_rods_kg']:.3f} ({row['moving_parts']})" if "moving_parts" in row else ""
        table.add_row(Text(row["body"]), f"{row['mass_kg']:.2f}", moving)
    console.print(table)
    if understood.statics_problem:
        console.print(Text(understood.statics_problem))
    if understood.mounts:
        table = _table("Mounts at rest", "mount", "between", "law", "X N", "Y N", "Z N", "sag mm", "Hz")
        for mount in understood.mounts:
            force = [_plain(value, 1) for value in mount.force]
            bounce = f"{mount.frequency:.1f}" if mount.frequency else ""
            between = Text(" → ".join(mount.between))
            table.add_row(Text(mount.name), between, mount.law, *force, _plain(1e3 * mount.sag, 2), bounce)
        console.print(table)
        console.print(
            "force of weight on the second body; Hz: bounce estimated from the sag; see vibsim modes", style="dim"
        )
