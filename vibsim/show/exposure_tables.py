"""Exposure of people in tables: the day against action and limit values, then what is felt at every point."""

from __future__ import annotations

from pathlib import Path

from rich.console import Console
from rich.text import Text

from vibsim.post.exposure import Felt
from vibsim.post.exposure_rules import CAUTION as HEALTH
from vibsim.post.exposure_rules import comfort_words
from vibsim.show.tables import CAUTION, new_console, new_table
from vibsim.studies.exposure import RPM, Exposure, Point, overall_comfort

DAY = 24.0  # hours, past which nothing is reached


def print_exposure(exposure: Exposure, written: list[Path]) -> None:
    """All tables of an exposure."""
    console = new_console()
    count = len(exposure.points)
    console.print(Text(exposure.title, style="bold"))
    console.print(f"{count} operating point{'s' if count > 1 else ''}, {exposure.hours:g} h of a day")
    _print_days(console, exposure)
    for point in exposure.points:
        _print_point(console, point)
    methods = dict.fromkeys(felt.method for point in exposure.points for felt in point.felt)
    for method in methods:
        console.print(f"weighted by: {method}", style="dim")
    for point in exposure.points:
        for remark in point.remarks:
            console.print(Text(remark))
    for path in written:
        console.print(Text(f"wrote {path}"))
    console.print(HEALTH)
    console.print(CAUTION, style="dim")


def _print_days(console: Console, exposure: Exposure) -> None:
    if not exposure.days:
        console.print("daily exposure: none of these contacts is judged for health")
        return
    columns = (
        "contact",
        "A(8) m/s²",
        "by",
        "action",
        "limit",
        "to action",
        "to limit",
        "VDV m/s^1.75",
        "mostly from",
        "verdict",
    )
    table = new_table("Daily exposure, Directive 2002/44/EC", "sensor", *columns)
    for column in (1, 9, 10):
        table.columns[column].justify = "left"
    for day in exposure.days:
        most = int(day.shares.argmax())
        dose = "" if day.dose is None else f"{day.dose:.2f} of {day.values.dose_action:g} / {day.values.dose_limit:g}"
        until = [hours_words(exposure.hours_until(day, value)) for value in (day.values.action, day.values.limit)]
        mostly = f"{exposure.points[most].name}, {100.0 * day.shares[most]:.0f} %"
        numbers = f"{day.level:.3f}", day.axis, f"{day.values.action:g}", f"{day.values.limit:g}"
        table.add_row(Text(day.name), day.contact, *numbers, *until, dose, Text(mostly), day.verdict)
    console.print(table)
    console.print("to action, to limit: hours of this mix of points, every day", style="dim")


def hours_words(hours: float) -> str:
    """Hours and minutes of a day, `> 24 h` past it."""
    if hours > DAY:
        return "> 24 h"
    minutes = round(60.0 * hours)
    return f"{minutes // 60} h {minutes % 60:02d} min"


def _print_point(console: Console, point: Point) -> None:
    title = f"{point.name}: {point.speed * RPM:.0f} rpm, load {point.load:g}, {point.hours:g} h"
    columns = ("contact", "raw X Y Z m/s² rms", "weighted X Y Z", "total", "MTVV", "crest", "VDV 1 h", "comfort")
    table = new_table(title, "sensor", *columns)
    for column in (1, 8):
        table.columns[column].justify = "left"
    for felt in point.felt:
        table.add_row(*_felt_cells(felt))
    console.print(table)
    overall = overall_comfort(point)
    if overall is not None:
        console.print(f"seat, backrest and feet together: {overall:.3f} m/s², {comfort_words(overall)}")


def _felt_cells(felt: Felt) -> list[Text]:
    total, words = felt.total, "for health alone"
    if total is None:
        assert felt.for_health is not None
        total = float(felt.for_health.max())
    else:
        words = comfort_words(total)
    worst = int(felt.rms.argmax())
    numbers = [
        "  ".join(f"{value:.3f}" for value in felt.raw),
        "  ".join(f"{value:.3f}" for value in felt.rms),
        f"{total:.3f}",
        *(f"{values[worst]:.3f}" for values in (felt.mtvv,)),
        f"{felt.crest[worst]:.1f}",
        f"{felt.dose_in_an_hour[worst]:.3f}",
    ]
    return [Text(item) for item in (felt.name, felt.contact, *numbers, words)]
