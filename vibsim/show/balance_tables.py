"""Free forces and couples in tables and words."""

from __future__ import annotations

import math
from pathlib import Path

from rich.text import Text

from vibsim.show.tables import CAUTION, new_console, new_table, plain_number
from vibsim.studies.balance import NEGLIGIBLE, Balance, OnePosition, as_dict, verdict


def print_balance(balance: Balance, position: OnePosition | None, written: list[Path]) -> None:
    """Free forces and couples per order, the verdict, and what would cure the first order."""
    console = new_console()
    found = as_dict(balance)
    console.print(
        f"free forces at {found['speed_rpm']:.0f} rpm, F = {balance.unit:.1f} N is one cylinder's primary force, "
        f"a = {found['throw_spacing_mm']:.1f} mm the throw spacing"
    )
    intervals = " / ".join(f"{value:.0f}°" for value in found["firing_intervals_deg"])
    console.print(f"firing intervals {intervals}")
    for what, unit in (("force", "N"), ("couple", "N m")):
        about = "" if what == "force" else " about the middle of the throws"
        title = f"Free {what} per order{about}: forward turns with the crank, backward against it"
        sizes = [f"{word} {unit}" for word in ("forward", "backward", "largest")]
        table = new_table(title, "order", *sizes, "in F" if what == "force" else "in F·a", "along °")
        for row in found["orders"]:
            part = row[f"{what}_{unit.replace(' ', '_')}"]
            if part["share"] < NEGLIGIBLE:
                continue
            numbers = [plain_number(part[key], 2) for key in ("forward", "backward", "major")]
            table.add_row(f"{row['order']:g}", *numbers, f"{part['share']:.3f}", plain_number(part["direction_deg"], 1))
        if table.row_count:
            console.print(table)
    table = new_table("Torque about the crank per order", "order", "inertia N m", "gas N m")
    for row in found["torque"]:
        table.add_row(f"{row['order']:g}", plain_number(row["inertia_N_m"], 2), plain_number(row["gas_N_m"], 2))
    console.print(table)
    for line in found["verdict"]:
        console.print(Text(line))
    sums = found["cancellation"]
    console.print(
        f"counterweights alone cancel the first-order force when |Σ m·e^(i(2·bank − pin))| = 0: it is "
        f"{sums['force_sum_share']:.4f} of Σ m; the couple when the same weighted with place is: "
        f"{sums['couple_sum_share']:.4f} of its whole"
    )
    for row in (*found["counterweights_to_add"], *found["shafts_to_add"]):
        if row["unbalance_kg_mm"] < 1e-6:
            continue
        what = "counterweight on the crank" if row["ratio"] == 1.0 else f"balance shaft at {row['ratio']:g}"
        console.print(
            f"to add, {what}: {row['unbalance_kg_mm']:.3f} kg mm at {plain_number(row['angle_deg'], 1)}°, "
            f"{plain_number(row['at_mm'], 1)} mm along the crank"
        )
    if position is not None:
        console.print(Text(position_in_words(balance, position)))
    for path in written:
        console.print(Text(f"wrote {path}"))
    console.print(CAUTION, style="dim")


def position_in_words(balance: Balance, position: OnePosition) -> str:
    """What one crank angle says, and what the revolution says."""
    angles = ", ".join(f"{math.degrees(angle):.0f}°" for angle in position.least_angles[:6])
    remains = [line for line in verdict(balance) if not line.endswith(": none")]
    return (
        f"at crank angle {math.degrees(position.angle):.0f}° the free force is {position.force_at:.1f} N; over the "
        f"revolution it runs from {position.force_least:.1f} N (at {angles}) to {position.force_greatest:.1f} N; the "
        f"couple is {position.couple_at:.2f} N m there and at most {position.couple_greatest:.2f} N m. One position is "
        f"not a revolution; what remains: {'; '.join(remains) or 'nothing of the first two orders'}"
    )
