"""A sizing in tables: mounts before and after with reasons, goals and limits, choices, runs, how sure it is."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from rich.text import Text

from vibsim.show.tables import CAUTION, new_console, new_table
from vibsim.studies.sizing.meter import RPM, Meter
from vibsim.studies.sizing.robust import Robust
from vibsim.studies.sizing.size import Sized

STRONGEST = 6  # parameters listed per goal
LEAST_INDEX = 0.01


def print_sizing(sized: Sized, written: list[Path]) -> None:
    """All tables of a sizing."""
    console = new_console()
    _print_changes(console, sized)
    _print_measures(console, sized)
    if len(sized.problem.goals) > 1:
        _print_choices(console, sized)
    if sized.verified:
        _print_verified(console, sized)
    if sized.robust is not None:
        _print_robust(console, sized.robust)
    console.print(f"{sized.found.asked} sets of mounts asked")
    for path in written:
        console.print(Text(f"wrote {path}"))
    console.print(CAUTION, style="dim")


def _print_changes(console: Any, sized: Sized) -> None:
    table = new_table("Mounts", "what", "unit", "before", "after", "note")
    for change in sized.changes:
        numbers = f"{change.before:.5g}", f"{change.after:.5g}"
        table.add_row(Text(change.name), change.unit, *numbers, Text(change.serves))
    console.print(table)


def _print_measures(console: Any, sized: Sized) -> None:
    table = new_table("Goals and limits, by the linear model", "what", "unit", "before", "after", "asked for")
    goals = len(sized.problem.goals)
    for n, meter in enumerate((*sized.problem.goals, *sized.problem.limits)):
        number = f"goal {n + 1}" if n < goals else f"limit {n - goals + 1}"
        before, after = (f"{values[n] / meter.scale:.4g}" for values in (sized.before, sized.after))
        table.add_row(Text(f"{number}: {meter.name}"), meter.unit, before, after, _asked(meter))
    console.print(table)
    for line in sized.broken_before:
        console.print(Text(f"the case as given breaks {line}"))


def _asked(meter: Meter) -> str:
    words = "less is better" if meter.sign > 0.0 else "more is better"
    parts = [
        f"{name} {value / meter.scale:.4g}"
        for name, value in (("target", meter.target), ("at most", meter.most), ("at least", meter.least))
        if value is not None
    ]
    return ", ".join(parts) or words


def _print_choices(console: Any, sized: Sized) -> None:
    names = [f"goal {n + 1}, {meter.unit}" for n, meter in enumerate(sized.problem.goals)]
    title = f"Choices on the front of {len(sized.found.front)}: none is beaten in everything (--choose N takes another)"
    table = new_table(title, "", *names, "note")
    for n, choice in enumerate(sized.found.choices, 1):
        values = [f"{v / m.scale:.4g}" for v, m in zip(choice.goals, sized.problem.goals, strict=True)]
        words = "; ".join(choice.words)
        taken = "taken: " if choice is sized.choice else ""
        table.add_row(str(n), *values, Text(f"{taken}{words}" if words else taken.rstrip(": ")))
    console.print(table)


def _print_verified(console: Any, sized: Sized) -> None:
    title = "Verified in the time domain, the same orders of a settled run"
    columns = ("unit", "rpm", "forecast before", "after", "run before", "after", "change by run")
    table = new_table(title, "what", *columns)
    for item in sized.verified:
        scale = item.meter.scale
        numbers = [f"{value / scale:.4g}" for value in (*item.forecast, *item.run)]
        change = 100.0 * (item.run[1] / item.run[0] - 1.0) if item.run[0] else 0.0
        words = f"{change:+.1f} %" + ("" if item.settled else ", not settled")
        table.add_row(Text(item.meter.name.split(",")[0]), item.meter.unit, f"{item.speed * RPM:.0f}", *numbers, words)
    console.print(table)


def _print_robust(console: Any, robust: Robust) -> None:
    title = f"How sure: {robust.samples} vehicles as built, aged, hot and cold (seed {robust.seed})"
    table = new_table(title, "what", "unit", "median", "19 of 20 within", "asked for", "holds", "95 % interval")
    for sure in robust.sure:
        meter = sure.meter
        if meter.target is None and meter.most is None and meter.least is None:
            continue
        side = 95.0 if meter.most is not None or (meter.least is None and meter.sign > 0.0) else 5.0
        numbers = [
            f"{value / meter.scale:.4g}" for value in (np.nanmedian(sure.values), np.nanpercentile(sure.values, side))
        ]
        interval = f"{100.0 * sure.low:.1f} to {100.0 * sure.high:.1f} %"
        table.add_row(Text(meter.name), meter.unit, *numbers, _asked(meter), f"{100.0 * sure.holds:.1f} %", interval)
    console.print(table)
    table = new_table(
        "What matters: share of the scatter by Sobol indices, good to some per cent",
        "what",
        "parameter",
        "alone",
        "in all",
    )
    for item in robust.matters:
        ranked = [n for n in np.argsort(item.total)[::-1][:STRONGEST] if item.total[n] >= LEAST_INDEX]
        for row, n in enumerate(ranked):
            name = Text(item.meter.name if row == 0 else "")
            alone, whole = (f"{100.0 * max(value[n], 0.0):.0f} %" for value in (item.first, item.total))
            table.add_row(name, robust.parameters[n], alone, whole)
    console.print(table)
