"""Torsional vibration as tables: modes and shapes, critical speeds, shafts, and dampers at the nose."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from rich.console import Console
from rich.text import Text

from vibsim.engine.drivetrain import Drivetrain
from vibsim.engine.torsion import TorsionModes, holzer_table
from vibsim.show.damper_tables import damper_verdict, print_sizing
from vibsim.show.tables import CAUTION, new_console, new_table, plain_number
from vibsim.studies.damper_runs import DamperRuns
from vibsim.studies.torsion import LEFT_OUT, RPM, Torsion
from vibsim.studies.torsion_damper import DamperSizing

MOST_CROSSINGS = 14
LEAST_ANGLE, LEAST_STRAIN = 0.005, 0.05


def print_torsion(
    result: Torsion,
    sizing: DamperSizing | None,
    runs: DamperRuns | None,
    title: str,
    holzer: list[int],
    written: list[Path],
) -> None:
    """The answer in a line or two, modes, critical speeds, shafts over the speeds, and the damper if one was sized."""
    console = new_console()
    console.print(Text(f"Torsion · {title}", style="bold"))
    for said in [*verdict(result), *([] if sizing is None else damper_verdict(sizing, runs))]:
        console.print(Text(said))
    print_torsion_modes(console, result.found, result.modes, f", at the mean torque of load {result.load:g}")
    for mode in holzer:
        _print_holzer(console, result, mode - 1)
    if result.answer is None:
        inertia = result.found.inertias[0]
        console.print(
            f"a rigid crank alone: one rotor of {inertia:.4g} kg m^2 that turns freely; add engine.crank.torsion, or "
            "[[rotor]] and [[shaft]]"
        )
    else:
        _print_crossings(console, result)
        _print_shafts(console, result)
        console.print(Text(LEFT_OUT), style="dim")
    if sizing is not None:
        print_sizing(console, result, sizing, runs)
    for path in written:
        console.print(Text(f"wrote {path}"))
    console.print(CAUTION, style="dim")


def verdict(result: Torsion) -> list[str]:
    """The strongest critical speed, and where the crank twists most."""
    answer, found = result.answer, result.found
    if answer is None:
        return ["one rotor that turns freely: a rigid crank has no torsional mode"]
    said = []
    if result.crossings:
        row = result.crossings[0]
        said.append(
            f"strongest critical speed: {row.speed * RPM:.0f} rpm, where order {row.order:g} meets mode {row.mode} "
            f"({result.modes.frequency[row.mode - 1]:.1f} Hz): ±{row.torque:.0f} N m in shaft '{row.shaft}'"
        )
    if found.throws:
        twist = answer.twist(found.nose, 0)
        at, k = np.unravel_index(int(twist.argmax()), twist.shape)
        said.append(
            f"the crank twists most, ±{math.degrees(twist[at, k]):.4f}° nose against flywheel, by order "
            f"{answer.orders[k]:g} at {answer.speeds[at] * RPM:.0f} rpm"
        )
    return said


def print_torsion_modes(console: Console, found: Drivetrain, modes: TorsionModes, under: str = "") -> None:
    """Frequencies, damping, where the strain lies, then the shapes; `under` what load they stand under."""
    table = new_table(
        f"Torsional modes, block still{under}", "mode", "Hz", "damping", "most twisted", "share of strain %"
    )
    table.columns[3].justify = "left"
    for n, frequency in enumerate(modes.frequency):
        if frequency == 0.0:
            table.add_row(str(n + 1), "0", "", "turns freely", "")
            continue
        link = int(modes.strain[n].argmax())
        share = f"{100.0 * modes.strain[n, link]:.0f}"
        numbers = f"{frequency:.2f}", plain_number(float(modes.damping[n]), 3)
        table.add_row(str(n + 1), *numbers, Text(found.links[link].name), share)
    console.print(table)
    heading = "Angles in each mode, largest 1"
    shapes = new_table(heading, "rotor", "kg m^2", "ratio", *(f"{value:.1f} Hz" for value in modes.frequency))
    inertias = found.inertias
    for n in found.chain:
        part, inertia = found.parts[n], inertias[n]
        angles = ("·" if abs(shape[n]) < LEAST_ANGLE else plain_number(float(shape[n]), 2) for shape in modes.shape)
        shapes.add_row(Text(part.name), f"{inertia:.4g}", f"{part.ratio:g}", *angles)
    console.print(shapes)


def _print_holzer(console: Console, result: Torsion, index: int) -> None:
    frequency = result.modes.frequency[index]
    heading = f"Holzer table of mode {index + 1} at {frequency:.2f} Hz, per radian of the largest angle"
    columns = ("kg m^2", "angle", "J ω² angle\nN m", "N m/rad", "shaft torque\nN m")
    table = new_table(heading, "rotor", *columns, "shaft after it")
    table.columns[-1].justify = "left"
    for row in holzer_table(result.found, result.modes, index):
        shaft = (
            (f"{row['stiffness_N_m_per_rad']:.4g}", f"{row['shaft_torque_N_m']:.4g}", Text(str(row["shaft"])))
            if "shaft" in row
            else ("", "", "")
        )
        numbers = f"{row['inertia_kg_m2']:.4g}", f"{row['angle']:.4f}", f"{row['inertia_torque_N_m']:.4g}"
        table.add_row(Text(str(row["rotor"])), *numbers, *shaft)
    console.print(table)


def _print_crossings(console: Console, result: Torsion) -> None:
    assert result.answer is not None
    low, high = result.answer.speeds[0] * RPM, result.answer.speeds[-1] * RPM
    heading = f"Critical speeds from {low:.0f} to {high:.0f} rpm, load {result.load:g}: strongest first"
    table = new_table(
        heading,
        "rpm",
        "order",
        "mode",
        "Hz",
        "nose against\nflywheel °",
        "shaft torque\n± N m",
        "twisted most",
    )
    table.columns[-1].justify = "left"
    for row in result.crossings[:MOST_CROSSINGS]:
        table.add_row(
            f"{row.speed * RPM:.0f}",
            f"{row.order:g}",
            str(row.mode),
            f"{result.modes.frequency[row.mode - 1]:.1f}",
            f"{math.degrees(row.twist):.4f}",
            f"{row.torque:.0f}",
            Text(row.shaft),
        )
    console.print(table)
    console.print("amplitudes by that order alone at that speed; strongest as felt at the crank", style="dim")


def _print_shafts(console: Console, result: Torsion) -> None:
    found, answer = result.found, result.answer
    assert answer is not None
    columns = ("N m/rad", "greatest\nN m", "least\nN m", "at rpm", "most lost\nW", "at rpm")
    table = new_table("Torque in every shaft over a cycle, mean included, and power it loses", "shaft", *columns)
    for n, link in enumerate(found.links):
        extreme = np.maximum(np.abs(answer.greatest[:, n]), np.abs(answer.least[:, n]))
        worst, hot = int(extreme.argmax()), int(answer.lost[:, n].argmax())
        table.add_row(
            Text(link.name),
            f"{result.modes.stiffness[n]:.4g}",
            plain_number(float(answer.greatest[worst, n]), 0),
            plain_number(float(answer.least[worst, n]), 0),
            f"{answer.speeds[worst] * RPM:.0f}",
            plain_number(float(answer.lost[hot, n]), 1),
            f"{answer.speeds[hot] * RPM:.0f}",
        )
    console.print(table)
