"""What came of a run of steps, on one screen."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from rich.text import Text

from vibsim.show.run_tables import file_lines
from vibsim.show.tables import CAUTION, new_console, new_table, plain_number


def print_steps(summary: dict[str, Any], written: list[Path]) -> None:
    """The steps of a run: speeds, what came of them, works, worst mount and sensor."""
    console = new_console()
    console.print(Text(str(summary["title"]), style="bold"))
    kind = summary["run_kind"].replace("_", "-")
    console.print(Text(f"{kind} run, {len(summary['steps'])} steps in {summary['duration_s']:.3g} s"))
    table = new_table("Steps", "step", "s", "rpm", "what came of it", "worst mount, N rms", "worst sensor, m/s² rms")
    for row in summary["steps"]:
        table.add_row(
            row["kind"].replace("_", "-"),
            f"{row['begin_s']:.2f} to {row['end_s']:.2f}",
            f"{row['first_speed_rpm']:.0f} → {row['last_speed_rpm']:.0f}",
            Text("; ".join(step_words(row))),
            Text(_worst(row, "mount", "N", 0)),
            Text(_worst(row, "sensor", "m_per_s2", 2)),
        )
    console.print(table)
    works = [name for name in WORKS if any(f"{name}_work_J" in row for row in summary["steps"])]
    table = new_table("Work over the crank's turning, kJ", "step", *works)
    for row in summary["steps"]:
        cells = [plain_number(1e-3 * row.get(f"{name}_work_J", 0.0), 3) for name in works]
        table.add_row(row["kind"].replace("_", "-"), *cells)
    console.print(table)
    console.print("gas and starter drive the crank; load, friction and accessories take from it", style="dim")
    for line in file_lines(written):
        console.print(Text(f"wrote {line}"))
    console.print(CAUTION, style="dim")


WORKS = ("gas", "starter", "load", "friction", "accessory")


def step_words(row: dict[str, Any]) -> list[str]:
    """What came of a step, in words."""
    if row["kind"] == "start":
        words = [f"cranked at {row['cranking_speed_rpm']:.0f} rpm"]
        if "greatest_starter_current_A" in row:
            words[0] += (
                f", up to {row['greatest_starter_current_A']:.0f} A, battery down to "
                f"{row['least_battery_voltage_V']:.1f} V"
            )
        if "idle_speed_after_s" in row:
            words.append(
                f"idle speed after {row['idle_speed_after_s']:.2f} s, flares to {row['greatest_speed_rpm']:.0f} rpm"
            )
        return words
    if row["kind"] == "idle":
        return [
            f"holds {row['mean_speed_rpm']:.0f} rpm (off by {row['speed_error_rpm']:+.1f} rpm), "
            f"fluctuates by {100.0 * row['speed_fluctuation']:.1f} %"
        ]
    if row["kind"] == "stop":
        return [
            f"at rest after {row['crank_at_rest_after_s']:.2f} s and {row['turns']:.1f} turns",
            f"turned back {row['reversals']:.0f} times, by {row['turned_back_deg']:.0f}° at most",
        ]
    if row["kind"] == "road":
        return [
            f"{row['distance_m']:.0f} m of {row['road']} at {3.6 * row['vehicle_speed_m_per_s']:.4g} km/h",
            f"holds {row['mean_speed_rpm']:.0f} rpm; tyres press with {row['least_tyre_force_N']:.0f} to "
            f"{row['greatest_tyre_force_N']:.0f} N, off the road {100.0 * row['share_off_road']:.1f} % of the time",
        ]
    return [f"{row['turns']:.0f} turns, output {1e-3 * row['load_work_J']:.1f} kJ"]


def _worst(row: dict[str, Any], what: str, unit: str, digits: int) -> str:
    if f"worst_{what}" not in row:
        return ""
    return f"{row[f'worst_{what}']}: {plain_number(row[f'worst_{what}_rms_{unit}'], digits)}"
