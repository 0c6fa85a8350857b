"""Even and uneven firing side by side, in tables: one column per case."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from rich.markup import escape
from rich.table import Table
from rich.text import Text

from vibsim.post.exhaust_sound import LEFT_OUT
from vibsim.show.tables import CAUTION, new_console, new_table, plain_number
from vibsim.studies.evenness import WEIGHTED, FiringCase, rows, verdict

NONE = "–"
FAINTEST = 0.02  # of the strongest order of any case: below that an order is not listed
LINES = (  # words, key, factor, digits
    ("firing evenness (1 even, 0 all at once)", "firing_evenness", 1.0, 3),
    ("torque evenness (1 all in the firing order)", "torque_evenness", 1.0, 3),
    ("mean torque, N m", "mean_torque_N_m", 1.0, 1),
    ("torque swing, N m", "torque_swing_N_m", 1.0, 1),
    ("torque ripple rms, N m", "torque_rms_N_m", 1.0, 1),
    ("greatest over mean torque", "greatest_over_mean", 1.0, 2),
    ("speed fluctuation, %", "speed_fluctuation", 100.0, 2),
    ("energy swing, J", "energy_swing_J", 1.0, 1),
    ("energy fluctuation, % of a cycle's work", "energy_fluctuation", 100.0, 1),
)


def print_evenness(found: list[FiringCase], speed_rpm: float, written: list[Path]) -> None:
    """Firing and ripple, orders of torque, what is felt, what is heard."""
    console, names = new_console(), [escape(case.name) for case in found]
    cases = rows(found)
    console.print(Text(verdict(found), style="bold"))
    console.print(_main_table(cases, names, speed_rpm))
    console.print(_order_table(cases, names))
    if any(row["sensors"] for row in cases):
        console.print(_felt_table(cases, names))
    if all(case.sounds for case in found):
        table = new_table("Sound: rms of what the WAV files hold", "", *names)
        for index, sound in enumerate(found[0].sounds):
            label = sound.name.removeprefix(f"{found[0].name}-")
            shown = [case.sounds[index] if index < len(case.sounds) else None for case in found]
            table.add_row(Text(f"{label}, {sound.unit}"), *(NONE if s is None else f"{s.rms:.3g}" for s in shown))
        console.print(table)
    for row in cases:
        if not row["settled"]:
            console.print(Text(f"{row['case']}: DID NOT SETTLE"))
    console.print(Text(f"{WEIGHTED}; exhaust: {LEFT_OUT}"), style="dim")
    for path in written:
        console.print(Text(f"wrote {path}"))
    console.print(CAUTION, style="dim")


def _main_table(cases: list[dict[str, Any]], names: list[str], speed_rpm: float) -> Table:
    table = new_table(f"Firing and torque at {speed_rpm:.0f} rpm", "", *names)
    table.add_row(
        "fires at, °", *(", ".join(f"{f['cylinder']}: {f['deg']:.0f}" for f in row["firing"]) for row in cases)
    )
    table.add_row("intervals, °", *(" ".join(f"{angle:.0f}" for angle in row["intervals_deg"]) for row in cases))
    for words, key, factor, digits in LINES:
        values = [row[key] for row in cases]
        table.add_row(words, *(NONE if v is None else plain_number(factor * v, digits) for v in values))
    return table


def _order_table(cases: list[dict[str, Any]], names: list[str]) -> Table:
    table = new_table("Net torque per engine order, N m", "order", *names)
    found = [{item["order"]: item["amplitude_N_m"] for item in row["torque_orders"]} for row in cases]
    strongest = max(max(amplitudes.values(), default=0.0) for amplitudes in found)
    for order in sorted({order for amplitudes in found for order in amplitudes}):
        values = [amplitudes.get(order, math.nan) for amplitudes in found]
        if any(value >= FAINTEST * strongest for value in values):
            table.add_row(f"{order:g}", *(NONE if math.isnan(v) else plain_number(v, 1) for v in values))
    return table


def _felt_table(cases: list[dict[str, Any]], names: list[str]) -> Table:
    table = new_table(
        "Felt: rms m/s² unweighted, weighted where it is a seat or grip, strongest order", "sensor", *names
    )
    sensors = list(dict.fromkeys(item["name"] for row in cases for item in row["sensors"]))
    for name in sensors:
        cells = []
        for row in cases:
            item = next((item for item in row["sensors"] if item["name"] == name), None)
            cells.append(NONE if item is None else _felt(item))
        table.add_row(Text(name), *cells)
    return table


def _felt(item: dict[str, Any]) -> str:
    weighted = "" if item["weighted_rms_m_per_s2"] is None else f", weighted {item['weighted_rms_m_per_s2']:.3f}"
    contact = "" if item["contact"] == "plain" else f" ({item['contact']})"
    return f"{item['rms_m_per_s2']:.3f}{weighted}{contact}, {item['strongest_order']:g}×"
