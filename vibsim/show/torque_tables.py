"""Torque and power over speed and load, in tables."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from rich.table import Table
from rich.text import Text

from vibsim.engine.knock import UNCERTAINTY
from vibsim.show.boost_tables import BOOSTING, NAMES
from vibsim.show.tables import CAUTION, new_console, new_table, plain_number
from vibsim.studies.boost import RPM
from vibsim.studies.charging_choices import UNCHARGED
from vibsim.studies.torque_curve import LEFT_OUT, PARABOLA, Peak, TorqueCurves, TorqueLine, peak_of
from vibsim.studies.torque_rows import row_of

NONE = "–"
COLUMNS = (  # heading, key, digits; a column without a value is left out
    ("rpm", "speed_rpm", 0),
    ("mean\nN m", "torque_N_m", 1),
    ("\nkW", "power_kW", 1),
    ("bmep\nbar", "bmep_bar", 2),
    ("fuel\ng/kWh", "fuel_g_per_kWh", 0),
    ("intake\nkPa", "intake_pressure_kPa", 1),
    ("throttle\n%", "throttle_percent", 0),
    ("burn\nlater °", "burn_later_deg", 1),
    ("octane\nto spare", "knock_margin_octane_numbers", 0),
    ("", "knock", None),
    ("least\nN m", "least_torque_N_m", 0),
    ("greatest\nN m", "greatest_torque_N_m", 0),
    ("ripple rms\nN m", "ripple_rms_N_m", 0),
    ("greatest\n/ mean", "greatest_over_mean", 1),
    ("strongest\norder", "strongest_order", 1),
    ("its\nN m", "order_amplitude_N_m", 0),
)
KNOCK = {"would": "knocks", "may": "may"}


def print_torque(curves: TorqueCurves, title: str, written: list[Path]) -> None:
    """Peaks in a line each, how rough, then a table for every load, from the greatest down."""
    console = new_console()
    console.print(Text(f"Torque and power · {title}", style="bold"))
    for words in summary(curves):
        console.print(Text(words))
    for line in curves.lines:
        console.print(_table(curves, line))
        for words in _notes(line):
            console.print(Text(words))
    if curves.without_load:
        console.print(_without_load(curves))
    if any(row_of(curves.main, point)["knock_margin_octane_numbers"] is not None for point in curves.main.points):
        console.print(Text(_knock_words(curves)), style="dim")
    console.print(Text(f"{PARABOLA}; {LEFT_OUT}"), style="dim")
    for words in curves.notes:
        console.print(Text(f"note: {words}", style="bold"))
    for path in written:
        console.print(Text(f"wrote {path}"))
    if any(line.source != UNCHARGED for line in curves.lines):
        console.print("steady, as if it could be held: `vibsim boost` says for how long an electric drive can")
        console.print(BOOSTING, style="dim")
    console.print(CAUTION, style="dim")


def summary(curves: TorqueCurves) -> list[str]:
    """The peaks of the case as given and of other charging, and where the main line is smoothest and roughest."""
    shown = [line for index, line in enumerate(curves.lines) if index == 0 or line.source != curves.own]
    words, lone = [], len(curves.speeds) == 1
    for line in shown:
        torque, power = peak_of(line.speeds, line.torque), peak_of(line.speeds, line.power)
        name = label(curves, line)
        if torque.value <= 0.0:
            words.append(f"{name}: does not drive, takes {-line.torque.max():.1f} to {-line.torque.min():.1f} N m")
            continue
        words.append(f"{name}: greatest torque {_peak(torque, 'N m', 1.0, lone)}")
        words.append(f"{name}: greatest power {_peak(power, 'kW', 1e-3, lone)}")
    return [*words, roughness(curves)]


def roughness(curves: TorqueCurves) -> str:
    points = sorted(curves.main.points, key=lambda point: point.ripple.rms)
    ends = [points[0], points[-1]] if len(points) > 1 else points
    names = ("smoothest", "roughest") if len(points) > 1 else ("ripple",)
    parts = [
        f"{name} at {point.speed * RPM:.0f} rpm, {point.ripple.rms:.0f} N m rms about a mean of "
        f"{_number(point.torque, 0)} (order {point.ripple.order:g} strongest)"
        for name, point in zip(names, ends, strict=True)
    ]
    return f"{label(curves, curves.main)}: " + "; ".join(parts)


def label(curves: TorqueCurves, line: TorqueLine) -> str:
    """`full load`, `load 0.5`, with the charging where lines differ in it."""
    load = "full load" if line.load == 1.0 else f"load {line.load:g}"
    if not curves.follows_load:
        load = "as given"
    differ = len({one.source for one in curves.lines}) > 1 or line.source != UNCHARGED
    return f"{load}, {NAMES[line.source]}" if differ else load


def _peak(peak: Peak, unit: str, scale: float, lone: bool) -> str:
    where = "" if peak.inside or lone else ", an end of the speeds shown"
    return f"{_number(scale * peak.value, 1)} {unit} at {peak.speed * RPM:.0f} rpm{where}"


def _table(curves: TorqueCurves, line: TorqueLine) -> Table:
    rows = [row_of(line, point) for point in line.points]
    kept = [column for column in COLUMNS if any(_says(row[column[1]], column[1]) for row in rows)]
    name = label(curves, line)
    table = new_table(name[0].upper() + name[1:], *(heading for heading, _, _ in kept))
    table.collapse_padding = True
    table.columns[0].justify = "right"
    for row in rows:
        table.add_row(*(_cell(row[key], digits) for _, key, digits in kept))
    return table


def _says(value: Any, key: str) -> bool:
    return value is not None and not (key == "burn_later_deg" and value == 0.0)


def _cell(value: Any, digits: int | None) -> str:
    if digits is None:
        return KNOCK.get(value, "")
    return NONE if value is None else _number(value, digits)


def _notes(line: TorqueLine) -> list[str]:
    """What holds points back, each with the speeds it holds at."""
    where: dict[str, list[float]] = {}
    for point in line.points:
        for note in row_of(line, point)["notes"]:
            where.setdefault(note, []).append(point.speed * RPM)
    return [f"{note}: at {_spans(speeds, line.speeds * RPM)} rpm" for note, speeds in where.items()]


def _spans(speeds: list[float], every: Any) -> str:
    """`2000 to 3500, 9000`: runs of neighbouring speeds."""
    found: list[list[float]] = []
    last = -2
    for index, speed in enumerate(every):
        if speed not in speeds:
            continue
        if index == last + 1:
            found[-1].append(speed)
        else:
            found.append([speed])
        last = index
    return ", ".join(f"{run[0]:.0f}" if len(run) == 1 else f"{run[0]:.0f} to {run[-1]:.0f}" for run in found)


def _without_load(curves: TorqueCurves) -> Table:
    table = new_table(
        "Without load: mean torque, N m", "rpm", *(f"{row.speed * RPM:.0f}" for row in curves.without_load)
    )
    words: tuple[tuple[str, Callable], ...] = (
        ("load 0", lambda row: row.idle),
        ("fuel cut (overrun)", lambda row: row.cut),
    )
    for name, of in words:
        values = [of(row) for row in curves.without_load]
        if any(value is not None for value in values):
            table.add_row(name, *(NONE if value is None else _number(value, 1) for value in values))
    return table


def _knock_words(curves: TorqueCurves) -> str:
    kept = "" if curves.margin is None else f"; the burn is set late enough to keep {curves.margin:g}"
    return (
        f"octane to spare: octane numbers before knock, good to about ±{UNCERTAINTY:.0f}: may within that, knocks "
        f"beyond{kept}"
    )


def _number(value: float, digits: int) -> str:
    return plain_number(value, digits).replace("-", "−")
