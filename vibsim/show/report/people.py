"""What people feel, in the report: tables of exposure, and what the script needs to judge any hours of a day."""

from __future__ import annotations

import math
from typing import Any

from vibsim.post.exposure_rules import CAUTION, COMFORT, RULES, daily_values
from vibsim.show.report.packing import packed
from vibsim.show.report.words import Table, table, three_digits
from vibsim.show.tables import plain_number
from vibsim.studies.report import Report
from vibsim.studies.report_levels import Levels

AXES = "XYZ"


def people_data(levels: Levels) -> dict[str, Any]:
    """Contacts with their daily values, and A(8) and comfort of every point, for the script."""
    rows = []
    for name, contact in zip(levels.felt, levels.contacts, strict=True):
        judged = contact in RULES and RULES[contact].health is not None
        daily = daily_values(contact) if judged else None
        rows.append(
            {
                "name": name,
                "contact": contact,
                "action": daily.action if daily else None,
                "limit": daily.limit if daily else None,
            }
        )
    return {"felt": rows, "a8": packed(levels.a8), "comfort": packed(levels.comfort)}


def comfort_bands() -> list[list[Any]]:
    """Words for comfort totals: from, to (none: without end), words."""
    return [[low, high if math.isfinite(high) else None, words] for low, high, words in COMFORT]


def exposure_tables(report: Report) -> list[tuple[str, list[Table]]]:
    """Per run what the day's rules say and the weighted levels by axis; of a day put together, that first."""
    found = []
    if report.day is not None:
        parts = ", ".join(f"{row['name']} {row['hours']:g} h" for row in report.day["points"])
        found.append((f"The day: {parts}", [_daily(report.day, f"A day of {report.day['hours']:g} h")]))
    for source in report.sources:
        if source.exposure is not None:
            tables = [_daily(source.exposure, "Eight hours a day of this"), *_weighted(source.exposure)]
            found.append((source.name, [one for one in tables if one["rows"]]))
    return found


def _daily(exposure: dict[str, Any], caption: str) -> Table:
    rows = []
    for row in exposure["daily"]:
        dose = "" if row["vdv_m_per_s1_75"] is None else plain_number(row["vdv_m_per_s1_75"], 2)
        values = f"{row['action_m_per_s2']:g} / {row['limit_m_per_s2']:g}"
        hours = [_hours(row[f"hours_to_{name}"]) for name in ("action", "limit")]
        level = plain_number(row["a8_m_per_s2"], 3)
        rows.append([row["sensor"], row["contact"], level, row["axis"], values, row["verdict"], *hours, dose])
    columns = ["sensor", "contact", "A(8) m/s²", "by", "action / limit", "verdict", "h to action", "h to limit", "VDV"]
    return table(caption, columns, rows, CAUTION)


def _hours(hours: float | None) -> str:
    return "over 24" if hours is None or hours > 24.0 else f"{hours:.3g}"


def _weighted(exposure: dict[str, Any]) -> list[Table]:
    """Weighted levels by axis and comfort, of one run."""
    (point,) = exposure["points"]
    rows = []
    for row in point["felt"]:
        numbers = [three_digits(value) for value in row["weighted_m_per_s2"]]
        worst = max(range(3), key=lambda n: row["weighted_m_per_s2"][n])
        more = [f"{row['crest_factor'][worst]:.1f}", three_digits(row["mtvv_m_per_s2"][worst])]
        comfort = "" if row["comfort_total_m_per_s2"] is None else three_digits(row["comfort_total_m_per_s2"])
        weighting = "/".join(dict.fromkeys(row["weightings"]))
        rows.append([row["sensor"], row["contact"], weighting, *numbers, *more, comfort, row["comfort"] or ""])
    weighted = [f"weighted {axis}" for axis in AXES]
    columns = ["sensor", "contact", "weighting", *weighted, "crest", "MTVV", "comfort total", "comfort"]
    standards = "; ".join(dict.fromkeys(row["standard"] for row in point["felt"]))
    overall = point["overall_comfort_m_per_s2"]
    note = f"m/s² rms without factors; crest factor and MTVV of the worst axis; {standards}"
    note += f"; comfort of all contacts together {three_digits(overall)} m/s²" if overall is not None else ""
    note += "".join(f"; {words}" for words in point["remarks"])
    return [table("Weighted levels and comfort", columns, rows, note, text=3)]
