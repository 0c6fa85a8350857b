"""Verdict and tables of a run of steps: started, idled, run up, stopped."""

from __future__ import annotations

from typing import Any

from vibsim.show.report.words import Card, Table, table, three_digits
from vibsim.show.step_tables import WORKS, step_words
from vibsim.show.tables import plain_number
from vibsim.studies.report import Source

WORST = (("mount", "N", "N", "Worst mount"), ("sensor", "m_per_s2", "m/s²", "Worst sensor"))


def steps_verdict(source: Source) -> dict[str, Any]:
    """Heading, sentence and cards of a run of steps, the worst step named."""
    summary = source.summary
    assert summary is not None
    steps = summary["steps"]
    kind = str(summary["run_kind"]).replace("_", "-")
    cards = [card for what in WORST for card in _worst(steps, *what)]
    cards += [*_people(source), *_events(steps)]
    return {
        "name": source.name,
        "running": f"{kind} run, {len(steps)} step{'s' if len(steps) > 1 else ''} in {summary['duration_s']:.3g} s: "
        + _speeds(steps),
        "sentence": _sentence(steps),
        "cards": cards,
        "remarks": [],
        "doubtful": False,
    }


def _label(row: dict[str, Any]) -> str:
    return str(row["kind"]).replace("_", "-")


def _loudest(steps: list[dict[str, Any]], what: str, unit: str) -> dict[str, Any] | None:
    having = [row for row in steps if f"worst_{what}" in row]
    return max(having, key=lambda row: row[f"worst_{what}_rms_{unit}"], default=None)


def _worst(steps: list[dict[str, Any]], what: str, key: str, unit: str, title: str) -> list[Card]:
    row = _loudest(steps, what, key)
    if row is None:
        return []
    lines = [f"over the {_label(row)}, {row['begin_s']:.2f} to {row['end_s']:.2f} s"]
    value = f"{three_digits(row[f'worst_{what}_rms_{key}'])} {unit} rms"
    return [{"title": title, "name": row[f"worst_{what}"], "value": value, "lines": lines}]


def _people(source: Source) -> list[Card]:
    """The contact nearest to its action value, or furthest above it, were the record gone through for eight hours."""
    if source.exposure is None or not source.exposure["daily"]:
        return []
    row = source.exposure["daily"][0]
    share = row["a8_m_per_s2"] / row["action_m_per_s2"]
    over = "OVER THE LIMIT VALUE" if row["a8_m_per_s2"] > row["limit_m_per_s2"] else row["verdict"]
    words = f"{over} of {row['action_m_per_s2']:g} m/s², were this gone through for 8 h a day; {row['contact']}"
    value = f"A(8) {three_digits(row['a8_m_per_s2'])} m/s²"
    shown = {"title": "Exposure, worst", "name": row["sensor"], "value": value, "lines": [words]}
    return [shown | {"share": round(100.0 * share, 1), "alarm": share > 1.0}]


def _speeds(steps: list[dict[str, Any]]) -> str:
    course = [steps[0]["first_speed_rpm"], *(row["last_speed_rpm"] for row in steps)]
    most = max(row.get("greatest_speed_rpm", max(row["first_speed_rpm"], row["last_speed_rpm"])) for row in steps)
    words = " → ".join(f"{abs(speed):.0f}" for speed in course)
    return f"{words} rpm" + (f", up to {most:.0f} rpm" if most > max(course) + 1.0 else "")


def _events(steps: list[dict[str, Any]]) -> list[Card]:
    """What came of the first start, idle and stop, a card each; of other steps nothing is to be said here."""
    told = {row["kind"]: row for row in reversed(steps) if row["kind"] in ("start", "idle", "stop")}
    return [
        {"title": _label(told[kind]).capitalize(), "name": "", "value": "", "lines": step_words(told[kind])}
        for kind in ("start", "idle", "stop")
        if kind in told
    ]


def _sentence(steps: list[dict[str, Any]]) -> str:
    parts = [
        f"worst {what} {row[f'worst_{what}']} in the {_label(row)}"
        for what, unit in (("mount", "N"), ("sensor", "m_per_s2"))
        if (row := _loudest(steps, what, unit)) is not None
    ]
    text = "; ".join(parts)
    return f"{text[:1].upper()}{text[1:]}." if text else ""


def steps_tables(source: Source) -> list[Table]:
    """Steps with what came of them, and the work over the crank's turning."""
    assert source.summary is not None
    steps = source.summary["steps"]
    rows = [
        [
            _label(row),
            "; ".join(step_words(row)),
            f"{row['begin_s']:.2f} to {row['end_s']:.2f}",
            f"{row['first_speed_rpm']:.0f} → {row['last_speed_rpm']:.0f}",
            *(_cell(row, *what) for what in WORST),
        ]
        for row in steps
    ]
    columns = ["step", "what came of it", "s", "rpm", "worst mount, N rms", "worst sensor, m/s² rms"]
    works = [name for name in WORKS if any(f"{name}_work_J" in row for row in steps)]
    done = [[_label(row), *(plain_number(1e-3 * row.get(f"{name}_work_J", 0.0), 3) for name in works)] for row in steps]
    note = "gas and starter drive the crank; load, friction and accessories take from it"
    return [
        table("Steps", columns, rows, "levels about the mean over the step", text=2),
        table("Work over the crank's turning, kJ", ["step", *works], done, note),
    ]


def _cell(row: dict[str, Any], what: str, key: str, unit: str, title: str) -> str:
    return f"{row[f'worst_{what}']}: {three_digits(row[f'worst_{what}_rms_{key}'])}" if f"worst_{what}" in row else ""
