"""What flywheel is needed, in tables."""

from __future__ import annotations

from pathlib import Path

from rich.text import Text

from vibsim.show.tables import CAUTION, new_console, new_table, plain_number
from vibsim.studies.flywheel import Flywheel
from vibsim.studies.flywheel_rows import RPM, point_row

COLUMNS = ("load", "energy swing J", "fluctuation now %", "by energy kg m²", "needed kg m²", "times the present")


def print_flywheel(found: Flywheel, title: str, written: list[Path]) -> None:
    """The answer in a line, every operating point, then the runs that prove it."""
    console = new_console()
    console.print(Text(f"Flywheel · {title}", style="bold"))
    console.print(Text(answer(found)))
    table = new_table("Energy method over operating points", "rpm", *COLUMNS)
    for point in found.points:
        row = point_row(point)
        table.add_row(
            plain_number(row["speed_rpm"], 0),
            f"{row['load']:.3g}",
            plain_number(row["energy_swing_J"], 1),
            plain_number(100.0 * row["fluctuation_now"], 2),
            _inertia(point.estimate),
            _inertia(point.needed),
            f"{point.needed / found.present_inertia:.2f}",
        )
    console.print(table)
    if found.present is not None:
        table = new_table("Runs there, block on its mounts", "crank kg m²", "fluctuation %", "note")
        for proof in (found.present, *found.proofs):
            words = "as given" if proof is found.present else ""
            words = words if proof.settled else f"{words} not settled".strip()
            table.add_row(_inertia(proof.inertia), plain_number(100.0 * proof.fluctuation, 3), words)
        console.print(table)
    line = "does not change with speed" if found.line == "constant" else "follows the case's engine.load"
    console.print(
        f"by energy: ΔE/(ω²·Cs) at constant speed; needed: the speed varies and the load {line}; kg m² as "
        "engine.crank.inertia",
        style="dim",
    )
    for note in found.notes:
        console.print(Text(note), style="dim")
    for path in written:
        console.print(Text(f"wrote {path}"))
    console.print(CAUTION, style="dim")


def answer(found: Flywheel) -> str:
    """Inertia to build and the point that asks for it."""
    hardest = found.hardest
    place = f"{hardest.speed * RPM:.0f} rpm, load {hardest.load:.3g}"
    if hardest.needed <= 0.0:
        return f"fluctuation of {100 * found.wanted:g} % is kept at {place} with hardly any flywheel"
    proved = f", {100 * found.proofs[-1].fluctuation:.3g} % in a run" if found.proofs else ""
    return (
        f"fluctuation of {100 * found.wanted:g} %: {found.inertia:.4g} kg m² at the crank ({place} asks most{proved}); "
        f"present {found.present_inertia:.4g} kg m²"
    )


def _inertia(value: float) -> str:
    return f"{value:.4g}" if value > 0.0 else "none"
