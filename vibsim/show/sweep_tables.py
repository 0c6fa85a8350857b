"""Sweeps in the terminal: what one will take, what became of it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from rich.console import Console
from rich.table import Table

from vibsim.show.tables import CAUTION
from vibsim.studies.sweep.plan import Plan
from vibsim.studies.sweep.sweep import State

MOST_REASONS = 5


def print_estimate(found: dict[str, Any], plan: Plan) -> None:
    console = Console(highlight=False)
    table = Table(title="What the sweep will take", title_justify="left", show_header=False)
    for path, shape in zip(plan.points.paths, plan.points.values.T, strict=True):
        table.add_row(path, f"{shape.min():g} to {shape.max():g}, {len(set(shape))} values")
    table.add_row("points", f"{found['points']} ({plan.points.how}) in {found['chains']} chains")
    table.add_row("file", f"{_bytes(found['file_bytes'])}, {_bytes(found['bytes_per_point'])} a point")
    each = f"{found['seconds_per_point'] * 1e3:.0f} ms a point, of {found['timed_points']} computed"
    table.add_row("time", f"{_span(found['seconds'])} on {found['workers']} workers ({each})")
    console.print(table)
    for reason in found["failed"]:
        console.print(f"a point failed: {reason}", markup=False)


def print_sweep(state: State, path: Path, engine: str) -> None:
    console = Console(highlight=False)
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
