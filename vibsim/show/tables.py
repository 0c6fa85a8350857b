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


WORDS = ("strongest orders", "share of kinetic energy", "body", "between", "moves most")  # columns of text


def _table(title: str, *columns: str) -> Table:
    table = Table(title=Text(title), title_justify="left", title_style="bold", box=SIMPLE, pad_edge=False)
    for index, column in enumerate(columns):
        table.add_column(column, justify="left" if index == 0 or column in WORDS else "right")
    return table


def _orders(row: dict[str, Any], unit: str) -> str:
    """Strongest orders with amplitudes, those below a hundredth of the strongest left out."""
    found = row.get("orders", [])
    if not found or found[0]["amplitude"] <= 0.0:
        return ""
    strong = [item for item in found if item["amplitude"] >= 0.01 * found[0]["amplitude"]]
    return ", ".join(f"{item['order']:g}× {item['amplitude']:.3g}" for item in strong) + f" {unit}"


def print_summary(summary: dict[str, Any], written: list[Path]) -> None:
    """The answer of a run on one screen."""
    console = _console()
    console.print(Text(str(summary["title"]), style="bold"))
    console.print(_running(summary))
    if "settling" in summary:
        console.print(_settling(summary["settling"]))
    if summary["mounts"]:
        table = _table("Mounts, worst first", "mount", "rms N", "peak N", "mostly", "strongest orders")
        for row in summary["mounts"]:
            numbers = f"{row['rms_N']:.1f}", f"{row['peak_N']:.0f}", row["worst_axis"]
            table.add_row(Text(row["name"]), *numbers, _orders(row, "N"))
        console.print(table)
    if summary["sensors"]:
        table = _table("Sensors, worst first", "sensor", "rms m/s²", "peak m/s²", "mostly", "strongest orders")
        for row in summary["sensors"]:
            numbers = f"{row['rms_m_per_s2']:.3f}", f"{row['peak_m_per_s2']:.2f}", row["worst_axis"]
            table.add_row(Text(row["name"]), *numbers, _orders(row, "m/s²"))
        console.print(table)
    table = _table("Torque ripple", "torque", "mean N m", "swing N m", "strongest orders")
    for row in summary["torque"]:
        table.add_row(row["name"], f"{row['mean_N_m']:.2f}", f"{row['swing_N_m']:.1f}", _orders(row, "N m"))
    console.print(table)
    console.print(
        "rms of the varying force over all axes; accelerations unweighted; n× is engine order n, amplitudes follow",
        style="dim",
    )
    for path in _folders(written):
        console.print(Text(f"wrote {path}"))
    console.print(CAUTION, style="dim")


def _running(summary: dict[str, Any]) -> str:
    if summary["run_kind"] == "steady":
        speed = f"speed fluctuates by {100.0 * summary['speed_fluctuation']:.2f} % of its mean"
    else:
        speed = f"speed between {summary['least_speed_rpm']:.0f} and {summary['greatest_speed_rpm']:.0f} rpm"
    return (
        f"{summary['run_kind']} run at {summary['mean_speed_rpm']:.0f} rpm, load {summary['load']:g}: "
        f"output {summary['mean_load_torque_N_m']:.1f} N m, {summary['mean_power_kW']:.2f} kW; "
        f"peak pressure {summary['peak_pressure_bar']:.1f} bar; {speed}"
    )


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
    table = _table(
        f"Modes about static equilibrium, crank {crank}",
        "mode",
        "Hz",
        "damping",
        "moves most",
        "share of kinetic energy",
    )
    for index, frequency in enumerate(result.modes.frequency):
        body, direction, share = result.dominant(index)
        flat = result.modes.energy[index].ravel()
        others = [f"{columns[n]} {100.0 * flat[n]:.0f} %" for n in np.argsort(flat)[::-1] if flat[n] >= 0.05]
        numbers = f"{frequency:.2f}", f"{result.modes.damping[index]:.3f}"
        table.add_row(
            str(index + 1), *numbers, Text(f"{body} {direction} {100 * share:.0f} %"), Text(", ".join(others))
        )
    console.print(table)
    shapes = _table("Shapes at the bodies' centres of mass, largest entry 1 (m, rad)", "mode", "body", *DIRECTIONS)
    for index, shape in enumerate(result.modes.shape):
        for b, body in enumerate(result.bodies):
            shapes.add_row(str(index + 1) if b == 0 else "", Text(body), *(_complex(entry) for entry in shape[b]))
    console.print(shapes)
    console.print(
        "damping: share of critical; shapes: size, with phase in degrees where it is not 0 or 180", style="dim"
    )


def _complex(value: complex) -> str:
    """Size and phase in degrees; entries below a fiftieth are left out, phases near 0 and 180 become the sign."""
    size, angle = abs(value), math.degrees(math.atan2(value.imag, value.real))
    if size < 0.02:
        return "·"
    if abs(angle) < 3.0 or abs(angle) > 177.0:
        return f"{math.copysign(size, value.real):.2f}"
    return f"{size:.2f}∠{angle:.0f}°"


def print_overview(understood: Overview) -> None:
    """What was understood of a case file."""
    console = _console()
    console.print(Text(understood.title, style="bold"))
    console.print(Text(understood.layout))
    if understood.firing:
        order = ", ".join(f"{name} at {math.degrees(angle):.0f}°" for name, angle in understood.firing)
        intervals = " / ".join(f"{math.degrees(angle):.0f}°" for angle in understood.intervals)
        console.print(Text(f"fires: {order}; intervals {intervals}"))
    if understood.throws:
        console.print(Text("throws: " + "; ".join(" and ".join(throw) for throw in understood.throws)))
    table = _table("Masses", "body", "kg", "of which moving parts")
    for row in understood.masses:
        moving = f"{row['pistons_and_rods_kg']:.3f} ({row['moving_parts']})" if "moving_parts" in row else ""
        table.add_row(Text(row["body"]), f"{row['mass_kg']:.2f}", moving)
    console.print(table)
    if understood.statics_problem:
        console.print(Text(understood.statics_problem))
    if understood.mounts:
        table = _table(
            "Mounts in static equilibrium under weight",
            "mount",
            "between",
            "law",
            "force X Y Z, N",
            "deflection X Y Z, mm",
            "bounce Hz",
        )
        for mount in understood.mounts:
            force = " ".join(f"{value:8.1f}" for value in mount.force)
            deflection = " ".join(f"{1e3 * value:7.2f}" for value in mount.deflection)
            bounce = f"{mount.frequency:.1f}" if mount.frequency else ""
            table.add_row(Text(mount.name), Text(" → ".join(mount.between)), mount.law, force, deflection, bounce)
        console.print(table)
        console.print(
            "force on the second body; bounce frequency estimated from the sag; see vibsim modes", style="dim"
        )
