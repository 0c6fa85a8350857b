"""Sweeps in the terminal: what one will take, what became of it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from rich.markup import escape

from vibsim.show.tables import CAUTION, HeadedTable, new_console
from vibsim.studies.sweep.plan import Plan
from vibsim.studies.sweep.shown import shown_unit
from vibsim.studies.sweep.sweep import State

MOST_REASONS = 5
MOST_SHOWN = 3  # quantities in the table of best points; --json has all


def print_estimate(found: dict[str, Any], plan: Plan) -> None:
    console = new_console()
    table = HeadedTable("What the sweep will take")
    table.show_header = False
    for path, shape in zip(plan.points.paths, plan.points.values.T, strict=True):
        table.add_row(path, f"{shape.min():g} to {shape.max():g}, {len(set(shape))} values")
    table.add_row("points", f"{found['points']} ({plan.points.how}) in {found['chains']} chains")
    table.add_row("file", f"{_bytes(found['file_bytes'])}, {_bytes(found['bytes_per_point'])} a point")
    each = f"{found['seconds_per_point'] * 1e3:.0f} ms a point, of {found['timed_points']} computed"
    each += f", and {_span(found['start_seconds'])} to start"
    table.add_row("time", f"{_span(found['seconds'])} on {found['workers']} workers ({each})")
    console.print(table)
    for reason in found["failed"]:
        console.print(f"a point failed: {reason}", markup=False)


def print_sweep(state: State, path: Path, engine: str) -> None:
    console = new_console()
    console.print(f"{state.done} of {state.plan.total} points done by {engine}, {state.failed} failed", markup=False)
    reasons: dict[str, int] = {}
    for reason in state.reasons.values():
        reasons[reason] = reasons.get(reason, 0) + 1
    for reason, count in sorted(reasons.items(), key=lambda item: -item[1])[:MOST_REASONS]:
        console.print(f"  {count} points: {reason}", markup=False)
    if state.failed:
        console.print("  the same command with --resume --again tries them anew", markup=False)
    console.print(f"wrote {path}", markup=False)
    console.print(CAUTION, markup=False)


def print_points(found: dict[str, Any]) -> None:
    """Ranges of what was asked for, and the best points within limits."""
    console = new_console()
    ranges = HeadedTable(f"{found['title']}: {found['done']} of {found['points']} points")
    for head in ("quantity", "least", "greatest", "unit", "what matters most"):
        ranges.add_column(head, justify="right" if head in ("least", "greatest") else "left")
    shown_in = {row["quantity"]: shown_unit(row["units"]) for row in found["quantities"]}
    for row in found["quantities"]:
        scale, unit = shown_in[row["quantity"]]
        numbers = (_short(row[name], scale) for name in ("least", "greatest"))
        ranges.add_row(escape(row["quantity"]), *numbers, unit, matters_most(row))
    console.print(ranges)
    if found["best"]:
        within = f" within {', '.join(found['limits'])} ({found['within_limits']} points)" if found["limits"] else ""
        best = HeadedTable(f"{found['best_is']} {found['quantities'][0]['quantity']}{within}")
        shown = list(found["best"][0])[: len(found["axes"]) + MOST_SHOWN]
        for head in shown:
            unit = shown_in[head][1] if head in shown_in else ""
            best.add_column(escape(f"{head} {unit}".strip()), justify="right", overflow="fold")
        for row in found["best"]:
            best.add_row(*(_short(row[head], shown_in.get(head, (1.0, ""))[0]) for head in shown))
        console.print(best)
    elif found["limits"]:
        console.print(f"no point keeps {', '.join(found['limits'])}", markup=False)
    for failure in found["failures"][:MOST_REASONS]:
        console.print(f"point {failure['point']} failed: {failure['reason']}", markup=False)


def matters_most(row: dict[str, Any]) -> str:
    """The axis that explains most of a quantity, and its share."""
    shares = {name: share for name, share in row["importance"].items() if share is not None}
    first = max(shares, key=lambda name: shares[name]) if shares else ""
    return f"{first} ({shares[first]:.0%})" if first else ""


def _short(value: float | None, scale: float = 1.0) -> str:
    return "" if value is None else f"{scale * value:.4g}"


def _bytes(count: float) -> str:
    for unit in ("B", "kB", "MB"):
        if count < 1000:
            return f"{count:.3g} {unit}"
        count /= 1000
    return f"{count:.3g} GB"


def _span(seconds: float) -> str:
    if seconds < 90:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 5400 else f"{seconds / 3600:.1f} h"
