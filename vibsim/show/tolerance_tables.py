"""Scatter of the free forces in tables and words."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from rich.console import Console
from rich.text import Text

from vibsim.show.tables import CAUTION, new_console, new_table, plain_number
from vibsim.studies.tolerance import Scatter
from vibsim.studies.tolerance_rows import ABOUT_SHARES, as_dict, ranked

ORDINALS, SHORT = {1: "first", 2: "second"}, {1: "1st", 2: "2nd"}
DIGITS = {"N": 1, "N m": 2}
LEFT_OUT = "not in it: places along the crank, throw radius and rod length"
DISTRIBUTIONS = {
    "uniform": "errors even within ±, crank and shaft unbalance even over the circle",
    "normal": "errors normal, ± at three standard deviations and not cut off there, unbalance so in both directions",
}


def print_scatter(scatter: Scatter, written: list[Path]) -> None:
    """What is left of the first two orders, which tolerance counts, the forecast's check, and the balance grade."""
    console = new_console()
    found = as_dict(scatter)
    balance = scatter.balance
    arm = f"a = {1e3 * balance.arm:.1f} mm the throw spacing" if balance.arm else "a the bore"
    console.print(
        Text(
            f"{found['samples']} engines as built at {found['speed_rpm']:.0f} rpm, seed {found['seed']}; "
            f"F = {balance.unit:.1f} N is one cylinder's primary force, {arm}"
        )
    )
    console.print(Text(f"{DISTRIBUTIONS[found['distribution']]}; {LEFT_OUT}"))
    _print_residuals(console, found["residuals"])
    _print_sources(console, found["sources"])
    _print_forecast(console, found["residuals"])
    if found["rotor"]:
        _print_rotor(console, found["rotor"])
    for path in written:
        console.print(Text(f"wrote {path}"))
    console.print(CAUTION, style="dim")


def _shown(rows: list[dict[str, Any]]) -> list[tuple[str, dict[str, Any]]]:
    """Rows with names: all parts of the first order, of the second its largest."""
    kept = [row for row in rows if row["order"] == 1 or row["part"] == "largest"]
    return [(f"{ORDINALS[row['order']]}-order {row['what']}, {row['part']}", row) for row in kept]


def _print_residuals(console: Console, rows: list[dict[str, Any]]) -> None:
    levels = {"as_drawn": "as drawn", "mean": "mean", "median": "50 %", "p95": "95 %", "p99": "99 %"}
    title = "What is left: as drawn, mean, and what so many engines stay below; forward turns with the crank"
    table = new_table(title, "free force or couple", *levels.values(), "unit", "as drawn in F, F·a", "95 % in F, F·a")
    for name, row in _shown(rows):
        numbers = [plain_number(row[level], DIGITS[row["unit"]]) for level in levels]
        shares = [plain_number(row["in_F"][level], 4) for level in ("as_drawn", "p95")]
        table.add_row(name, *numbers, row["unit"], *shares)
    console.print(table)


def _print_sources(console: Console, rows: list[dict[str, Any]]) -> None:
    columns = [
        words
        for on in rows[0]["on"]
        for words in (f"{SHORT[on['order']]} {on['what']} {'N' if on['what'] == 'force' else 'N m'}", "share %")
    ]
    table = new_table("Which tolerance counts: rms change and share of the variance", "error", "±", "parts", *columns)
    for row in ranked(rows):
        cells = []
        for on in row["on"]:
            share = on["share_of_variance"]
            digits = DIGITS["N" if on["what"] == "force" else "N m"]
            cells += [plain_number(on["rms_change"], digits), "" if share is None else f"{100.0 * share:.1f}"]
        usual = " (usual)" if row["usual"] else ""
        table.add_row(row["source"], f"{row['half_width']:g} {row['unit']}{usual}", str(row["count"]), *cells)
    console.print(table)
    console.print(Text(ABOUT_SHARES))
    if any(row["usual"] for row in rows):
        console.print(Text("(usual): common practice of car and motorcycle engines, no source; give your own"))


def _print_forecast(console: Console, rows: list[dict[str, Any]]) -> None:
    columns = ("rms change", "built", "sampling ±", "rms size", "built", "deviation of size", "built", "unit")
    table = new_table("Forecast from the slopes beside the engines built", "free force or couple", *columns)
    for name, row in _shown(rows):
        digits = DIGITS[row["unit"]] + 1
        change, size, deviation = row["rms_change"], row["rms_of_phasors"], row["standard_deviation"]
        numbers = [change["first_order"], change["monte_carlo"], change["sampling_error"]]
        numbers += [None, None] if row["part"] == "largest" else [size["forecast"], size["monte_carlo"]]
        cells = ["" if number is None else plain_number(number, digits) for number in numbers]
        normal = deviation["first_order"]
        cells.append("not normal" if normal is None else plain_number(normal, digits))
        table.add_row(name, *cells, plain_number(deviation["monte_carlo"], digits), row["unit"])
    console.print(table)
    console.print(
        Text(
            "not normal: what is drawn does not stand out of the scatter, and a size cannot fall below nothing; take "
            "the percentages above"
        )
    )


def _print_rotor(console: Console, rotor: dict[str, Any]) -> None:
    table = new_table(
        f"Turning parts (crank, big ends) off their drawing, against G{rotor['grade_mm_per_s']:g} of ISO 21940-11",
        *("plane, mm along the crank", "permissible g mm", "50 % g mm", "95 % g mm", "99 % g mm", "within %"),
    )
    for plane in rotor["planes"]:
        numbers = [plane[f"{name}_g_mm"] for name in ("permissible", "median", "p95", "p99")]
        within = f"{100.0 * plane['share_within']:.1f}"
        table.add_row(plain_number(plane["at_mm"], 1), *(plain_number(value, 1) for value in numbers), within)
    console.print(table)
    error = f" ± {100.0 * rotor['sampling_error']:.1f}" if rotor["sampling_error"] else ""
    console.print(
        Text(
            f"{100.0 * rotor['share_within']:.1f}{error} % of the cranks are within in both planes before any "
            f"correction; permissible {rotor['permissible_unbalance_g_mm']:.1f} g mm in all, "
            f"{rotor['permissible_eccentricity_um']:.2f} µm times {rotor['rotor_mass_kg']:g} kg, at "
            f"{rotor['speed_rpm']:.0f} rpm taken as the highest service speed (--speed-rpm), by the lever rule in the "
            "planes of the outer throws"
        )
    )
