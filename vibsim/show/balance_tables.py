"""Free forces and couples in tables and words."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from rich.console import Console
from rich.text import Text

from vibsim.show.tables import CAUTION, new_console, new_table, plain_number
from vibsim.studies.balance import NEGLIGIBLE, Balance, Weight, as_dict, weight_row
from vibsim.studies.position import ALIKE, OnePosition, angle_words, listed, remaining_words

SHOWN_UNBALANCE = 5e-4  # kg mm


def print_balance(
    balance: Balance, added: tuple[Weight, ...], position: OnePosition | None, written: list[Path]
) -> None:
    """Free forces and couples per order, the verdict, and what would cure the first order; `added` counterweights."""
    console = new_console()
    found = as_dict(balance)
    for row in (weight_row(weight) for weight in added):
        if row["unbalance_kg_mm"] >= SHOWN_UNBALANCE:
            console.print(f"added to the case, {_weight_words(row)}")
    console.print(
        f"free forces at {found['speed_rpm']:.0f} rpm, F = {balance.unit:.1f} N is one cylinder's primary force, "
        + (
            f"a = {found['throw_spacing_mm']:.1f} mm the throw spacing"
            if balance.arm
            else "couples in F·bore: one throw"
        )
    )
    intervals = " / ".join(f"{value:.0f}°" for value in found["firing_intervals_deg"])
    evenness = found["longest_firing_interval_over_even"]
    console.print(f"firing intervals {intervals}; the longest is {evenness:.2f} of the even interval")
    for what, unit in (("force", "N"), ("couple", "N m")):
        about = "" if what == "force" else " about the middle of the throws"
        title = f"Free {what} per order{about}: forward turns with the crank, backward against it"
        sizes = [f"{word} {unit}" for word in ("forward", "backward", "largest")]
        table = new_table(
            title,
            "order",
            *sizes,
            "in F" if what == "force" else ("in F·a" if balance.arm else "in F·bore"),
            "along °",
            "forward at °",
            "backward at °",
        )
        for row in found["orders"]:
            part = row[f"{what}_{unit.replace(' ', '_')}"]
            if part["share"] < NEGLIGIBLE:
                continue
            numbers = [plain_number(part[key], 2) for key in ("forward", "backward", "major")]
            table.add_row(f"{row['order']:g}", *numbers, f"{part['share']:.3f}", _direction(part), *_phases(part))
        if table.row_count:
            console.print(table)
    _print_vehicle_axes(console, found["vehicle_axes"])
    columns = ("on the crank: inertia N m", "gas N m", "on the block: inertia N m")
    table = new_table(
        "Torque about the crank per order; gas reacts on the block with what it puts on the crank", "order", *columns
    )
    for row in found["torque"]:
        values = [row[f"{key}_N_m"] for key in ("inertia_on_crank", "gas_on_crank", "inertia_on_block")]
        if max(values) >= 0.005:
            table.add_row(f"{row['order']:g}", *(plain_number(value, 2) for value in values))
    console.print(table)
    for line in found["verdict"]:
        console.print(Text(line))
    sums = found["cancellation"]
    console.print(
        "counterweights alone cancel the first-order force where the sum Σ m·e^(i(2·bank − pin)) is zero, and the "
        f"couple where Σ m·x·e^(i(2·bank − pin)) is; here {_sum_words('force', sums)} of Σ m and "
        f"{_sum_words('couple', sums)} of Σ m·|x|"
    )
    for row in (*found["counterweights_to_add"], *found["shafts_to_add"]):
        if row["unbalance_kg_mm"] < SHOWN_UNBALANCE:
            continue
        console.print(f"to add, {_weight_words(row)}")
    if position is not None:
        for line in position_in_words(balance, position):
            console.print(Text(line))
    for path in written:
        console.print(Text(f"wrote {path}"))
    console.print(CAUTION, style="dim")


def _phases(part: dict[str, float]) -> list[str]:
    """Where the two turning parts point at crank angle 0; a part that is nothing points nowhere."""
    least = NEGLIGIBLE * part["major"]
    return [
        plain_number(part[f"{name}_phase_deg"], 1) if part[name] > least else "" for name in ("forward", "backward")
    ]


def _sum_words(what: str, sums: dict[str, float]) -> str:
    share = sums[f"{what}_sum_share"]
    at = f" at {plain_number(sums[f'{what}_sum_angle_deg'], 1)}°" if share >= 5e-5 else ""
    return f"{share:.4f}{at}"


def _direction(part: dict[str, float]) -> str:
    """Of the long axis; a circle has none."""
    round_ = part["major"] - abs(part["minor"]) < NEGLIGIBLE * part["major"]
    return "round" if round_ else plain_number(part["direction_deg"], 1)


def _print_vehicle_axes(console: Console, rows: list[dict[str, Any]]) -> None:
    """Amplitudes along vehicle axes; a row that rounds to nothing is left out."""
    keys = ("force_N", "moment_about_crank_origin_N_m", "moment_about_centre_of_mass_N_m")
    title = "In vehicle axes: force, moment about the crank's origin (C) and its body's centre of mass (M), without gas"
    columns = [f"{what} {axis} {unit}" for what, unit in (("force", "N"), ("C", "N m"), ("M", "N m")) for axis in "XYZ"]
    table = new_table(title, "order", *columns)
    for row in rows:
        values = [value for key in keys for value in row[key]]
        if max(values) >= 0.005:
            table.add_row(f"{row['order']:g}", *(plain_number(value, 2) for value in values))
    if table.row_count:
        console.print(table)


def _weight_words(row: dict[str, float]) -> str:
    what = "counterweight on the crank" if row["ratio"] == 1.0 else f"balance shaft at {row['ratio']:g}"
    return (
        f"{what}: {row['unbalance_kg_mm']:.3f} kg mm at {plain_number(row['angle_deg'], 1)}°, "
        f"{plain_number(row['at_mm'], 1)} mm along the crank"
    )


def position_in_words(balance: Balance, position: OnePosition) -> list[str]:
    """What one crank angle says, and what the revolution says: a line each."""
    turns = balance.about_crank.turns
    whole = "the revolution" if turns == 1 else f"{turns} revolutions"
    force, couple, most = abs(position.force_at), abs(position.couple_at), position.couple_greatest
    return [
        f"at crank angle {angle_words(position.angle, 3)} the free force is {force:.1f} N; over {whole} "
        f"it {_course_words(balance, position)}; the couple is {couple:.2f} N m there and at most {most:.2f} N m",
        "one position is not a revolution:",
        *(f"- {clause}" for clause in remaining_words(balance, position)),
    ]


def _course_words(balance: Balance, position: OnePosition) -> str:
    least, greatest = position.force_least, position.force_greatest
    if greatest < NEGLIGIBLE * balance.unit:
        return "stays nothing"
    if greatest - least < ALIKE * greatest:
        return f"stays {greatest:.1f} N"
    low, high = listed(position.least_angles), angle_words(position.greatest_angle)
    return f"runs from {least:.1f} N (at {low}) to {greatest:.1f} N (at {high})"
