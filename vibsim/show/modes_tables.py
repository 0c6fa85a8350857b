"""Modes as tables."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from rich.console import Console
from rich.text import Text

from vibsim.engine.torsion import torsion_modes
from vibsim.show.tables import new_console, new_table, plain_number
from vibsim.show.torsion_tables import print_torsion_modes
from vibsim.studies.frequency_map import FrequencyMap
from vibsim.studies.modes import DIRECTIONS, BodyAxes, ModesResult

EXACT = 0.05  # mm of lever arm left at the elastic centre
LEAST_SHARE = 0.05  # of kinetic energy: what is named
UNSEEN = "·"  # an entry of a shape too small to print


def print_modes(result: ModesResult, crank: str, found: FrequencyMap | None = None, written: list[Path] | None = None):
    """Frequencies, damping, kinetic-energy shares, shapes, axes, and which orders cross the modes where."""
    console = new_console()
    held = f", held: {', '.join(result.held)}" if result.held else ""
    _print_energy(console, result, f"Modes about static equilibrium under {result.preload}, crank {crank}{held}")
    shapes = new_table("Shapes at the bodies' centres of mass, largest entry 1 (m, rad)", "mode", "body", *DIRECTIONS)
    for index, shape in enumerate(result.modes.shape):
        for row, (body, entries) in enumerate(_moving(result.bodies, shape)):
            shapes.add_row(str(index + 1) if row == 0 else "", Text(body), *entries)
    console.print(shapes)
    if result.elastic:
        console.print(
            Text("elastic: a mode of the body itself; of a free body, as given, before mounts hold it"), style="dim"
        )
    if result.tangent:
        console.print(
            Text(
                f"static stiffness and viscous damping alone of {', '.join(result.tangent)}: they stiffen and damp "
                "more with frequency, or at small amplitude; see vibsim mounts"
            )
        )
    note = "damping: share of critical; shapes: size∠phase, · where the size is below 0.02, bodies all below left out"
    console.print(note, style="dim")
    _print_axes(console, result.axes)
    if result.drivetrain is not None:
        under = f", under {result.torque:g} N m at the crank" if result.torque else ", without load (see --torque-N-m)"
        modes = torsion_modes(result.drivetrain, result.torque)
        print_torsion_modes(console, result.drivetrain, modes, under)
    if found is not None:
        _print_crossings(console, found)
    for path in written or []:
        console.print(Text(f"written: {path}", style="dim"))


def _moving(bodies: list[str], shape: np.ndarray) -> list[tuple[str, list[str]]]:
    """The bodies that a shape moves visibly, each with its entries in words; the first when none."""
    rows = [(body, [_complex(entry) for entry in entries]) for body, entries in zip(bodies, shape, strict=True)]
    return [(body, entries) for body, entries in rows if set(entries) != {UNSEEN}] or rows[:1]


def _print_energy(console: Console, result: ModesResult, title: str) -> None:
    columns = [f"{body} {direction}" for body in result.bodies for direction in DIRECTIONS]
    columns += result.elastic
    table = new_table(title, "mode", "Hz", "damping", "share of kinetic energy")
    for index, frequency in enumerate(result.modes.frequency):
        flat = np.append(result.modes.energy[index].ravel(), result.modes.elastic_energy[index])
        shares = [f"{columns[n]} {100.0 * flat[n]:.0f} %" for n in np.argsort(flat)[::-1] if flat[n] >= LEAST_SHARE]
        numbers = f"{frequency:.2f}", plain_number(result.modes.damping[index], 3)
        table.add_row(str(index + 1), *numbers, Text(", ".join(shares)))
    console.print(table)


def _print_axes(console: Console, axes: BodyAxes) -> None:
    """Kinetic energy along torque roll axis and elastic axes side by side, then where these axes lie."""
    roll, elastic = axes.roll_energy, axes.elastic_energy
    groups = []
    if roll is not None:
        groups.append((roll, ("along", "across", "up", "roll", "about across", "about up")))
    if elastic is not None:
        groups.append((elastic, ("along 1", "along 2", "along 3", "about 1", "about 2", "about 3")))
    if not groups:
        return
    title = f"Share of kinetic energy of the {axes.body}, %"
    title += ": torque roll axis system" if roll is not None else ""
    title += f"{' |' if roll is not None else ':'} elastic axes 1, 2, 3" if elastic is not None else ""
    table = new_table(title, "mode", *(name for _, names in groups for name in names))
    for n in range(len(groups[0][0])):
        table.add_row(str(n + 1), *(_percent(value) for shares, _ in groups for value in shares[n]))
    console.print(table)
    for line in axes_words(axes):
        console.print(Text(line))


def axes_words(axes: BodyAxes) -> list[str]:
    """Where centre of mass, torque roll axis and elastic centre lie, in mm of the drawing, and what they are worth."""
    lines = [f"centre of mass of the {axes.body}: {_place(axes.centre)} mm"]
    if axes.torque_roll is not None and axes.decoupling is not None:
        lines.append(
            f"torque roll axis: through {_place(axes.torque_roll.point)} mm along {_unit(axes.torque_roll.direction)}"
        )
        share, index = axes.decoupling
        lines.append(
            f"roll decoupling: {100.0 * share:.0f} % (the greatest share of roll about that axis in one mode, mode "
            f"{index + 1})"
        )
    elastic = axes.elastic
    if elastic is None:
        return [*lines, "elastic centre: none, as nothing holds the body in some direction"]
    arm = 1e3 * elastic.lever_arm
    exact = f"the nearest to one: a force through it still turns the body as at an arm of up to {arm:.1f} mm"
    lines.append(f"elastic centre: {_place(elastic.centre)} mm, " + ("exact" if arm < EXACT else exact))
    for n in range(3):
        rate, turning = 1e-3 * elastic.stiffness[n], elastic.turning_stiffness[n] * math.pi / 180.0
        lines.append(
            f"elastic axis {n + 1}: along {_unit(elastic.axes[:, n])} {rate:.0f} N/mm; "
            f"about {_unit(elastic.turning[:, n])} {turning:.0f} N m/deg"
        )
    return lines


def _print_crossings(console: Console, found: FrequencyMap) -> None:
    low, high = (value * 30.0 / math.pi for value in (found.low, found.high))
    title = f"Engine orders that cross modes from {low:.0f} to {high:.0f} rpm, crank free, as in a running engine"
    columns = ("order", "mode", "Hz", "order force N", "moment N m", "mount force N", "of strongest %", "mount")
    table = new_table(title, "rpm", *columns)
    table.columns[-1].justify = "left"
    for row in found.rows():
        table.add_row(
            f"{row['speed_rpm']:.0f}",
            f"{row['order']:g}",
            str(row["mode"]),
            f"{row['frequency_Hz']:.2f}",
            plain_number(row["order_force_N"], 1),
            plain_number(row["order_moment_N_m"], 1),
            plain_number(row["mount_force_N"], 1),
            f"{100.0 * row['share_of_strongest']:.0f}" + (" weak" if row["weak"] else ""),
            Text(row["mount"]),
            style="dim" if row["weak"] else "",
        )
    console.print(table)
    if not found.crossings:
        console.print("no order up to the sixth meets a mode in this range")
    console.print("mount force: amplitude on the most loaded mount by that mode alone, in resonance", style="dim")


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f}" if abs(share) >= 0.005 else "·"


def _place(point: np.ndarray) -> str:
    return " ".join(plain_number(1e3 * float(value), 1) for value in point)


def _unit(direction: np.ndarray) -> str:
    return "(" + " ".join(plain_number(float(value), 3) for value in direction) + ")"


def _complex(value: complex) -> str:
    """Size and phase in degrees; entries below a fiftieth are left out, phases near 0 and 180 become the sign."""
    size, angle = abs(value), math.degrees(math.atan2(value.imag, value.real))
    if size < 0.02:
        return UNSEEN
    if abs(angle) < 3.0 or abs(angle) > 177.0:
        return f"{math.copysign(size, value.real):.2f}"
    return f"{size:.2f}∠{angle:.0f}°"
