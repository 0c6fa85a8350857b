"""Small HTML tables of which notebooks' displays are made. All words of a case are escaped."""

from __future__ import annotations

from html import escape
from typing import Any

from vibsim.show.step_tables import WORKS, step_words
from vibsim.show.tables import plain_number


def table(caption: str, head: list[str], rows: list[list[str]]) -> str:
    """A table, every cell escaped; the first column names the row."""
    heads = "".join(f'<th scope="col">{escape(word)}</th>' for word in head)
    lines = "".join(
        f'<tr><th scope="row">{escape(row[0])}</th>{"".join(f"<td>{escape(cell)}</td>" for cell in row[1:])}</tr>'
        for row in rows
    )
    return f"<table><caption>{escape(caption)}</caption><thead><tr>{heads}</tr></thead><tbody>{lines}</tbody></table>"


def page(title: str, lines: list[str], tables: list[str]) -> str:
    """A heading, a paragraph per line, tables."""
    paragraphs = "".join(f"<p>{escape(line)}</p>" for line in lines if line)
    return f"<div><strong>{escape(title)}</strong>{paragraphs}{''.join(tables)}</div>"


def step_tables(found: dict[str, Any]) -> list[str]:
    """The steps of a run with what came of them, and their works, of `summarise_steps`."""
    rows = [
        [
            f"{number} {row['kind'].replace('_', '-')}",
            f"{row['begin_s']:.2f} to {row['end_s']:.2f}",
            f"{row['first_speed_rpm']:.0f} → {row['last_speed_rpm']:.0f}",
            "; ".join(step_words(row)),
            _worst(row, "mount", "N", 0),
            _worst(row, "sensor", "m_per_s2", 2),
        ]
        for number, row in enumerate(found["steps"], start=1)
    ]
    head = ["step", "s", "rpm", "what came of it", "worst mount, N rms", "worst sensor, m/s² rms"]
    caption = f"Steps of a {found['run_kind'].replace('_', '-')} run of {found['duration_s']:.3g} s"
    works = [name for name in WORKS if any(f"{name}_work_J" in row for row in found["steps"])]
    cells = [
        [first[0], *(plain_number(1e-3 * row.get(f"{name}_work_J", 0.0), 3) for name in works)]
        for first, row in zip(rows, found["steps"], strict=True)
    ]
    return [table(caption, head, rows), table("Work over the crank's turning, kJ", ["step", *works], cells)]


def _worst(row: dict[str, Any], what: str, unit: str, digits: int) -> str:
    level = row.get(f"worst_{what}_rms_{unit}")
    return "" if level is None else f"{row[f'worst_{what}']}: {plain_number(level, digits)}"


def people_table(rows: list[dict[str, Any]]) -> str:
    """What people feel, of a summary; nothing where nobody touches anything."""
    cells = [
        [
            row["name"],
            row["contact"],
            "" if row["a8_m_per_s2"] is None else f"{row['a8_m_per_s2']:.2f}, action value {row['action_m_per_s2']:g}",
            "" if row["comfort_m_per_s2"] is None else f"{row['comfort_m_per_s2']:.3f}, {row['comfort']}",
        ]
        for row in rows
    ]
    return table("People", ["sensor", "touched as", "A(8) of 8 h, m/s²", "comfort, m/s²"], cells) if rows else ""


def wheel_table(road: dict[str, Any]) -> str:
    """How hard tyres press, of a summary."""
    names = ("mean", "rms", "least", "greatest")
    cells = [
        [
            row["name"],
            *(plain_number(row[f"force_{name}_N"], 0) for name in names),
            f"{100 * row['share_off_road']:.1f}",
        ]
        for row in road["wheels"]
    ]
    return table("Wheels", ["wheel", *(f"{name}, N" for name in names), "off the road, %"], cells)
