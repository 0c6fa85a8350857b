"""Cases, results and comparisons as small HTML tables, for notebooks. All words of a case are escaped."""

from __future__ import annotations

import math
from typing import Any

from vibsim.inputs.loader import CaseFile
from vibsim.post.summary import summarise
from vibsim.results.labelled import Group
from vibsim.show.compare_runs_tables import MOST_ROWS, order_words, unit_words, value_words
from vibsim.show.html_parts import page, people_table, step_tables, table, wheel_table
from vibsim.show.road_tables import road_line
from vibsim.show.run_tables import load_step_lines
from vibsim.show.sweep_tables import matters_most
from vibsim.show.tables import CAUTION
from vibsim.studies.compare_runs import BETTER, WORSE, RunComparison, judged
from vibsim.studies.sweep.read import describe, is_sweep, read_sweep, usual

RPM = 30.0 / math.pi
MOST_FAILURES = 5


# by caption: unit, and the columns' words with key and form of the summary's rows
COLUMNS: dict[str, tuple[str, dict[str, tuple[str, str]]]] = {
    "Mounts": ("N", {"mean": ("mean_N", ".0f"), "rms": ("rms_N", ".1f"), "peak": ("peak_N", ".1f")}),
    "Sensors": ("m/s²", {"rms": ("rms_m_per_s2", ".3f"), "peak": ("peak_m_per_s2", ".2f")}),
    "Torque": ("N m", {"mean": ("mean_N_m", ".1f"), "swing": ("swing_N_m", ".1f")}),
}


def case_html(case_file: CaseFile) -> str:
    """What a case holds: engine, run, bodies, mounts, sensors."""
    case = case_file.case
    lines = [case.case.notes]
    if case.engine is not None:
        engine = case.engine
        count = len(engine.cylinder)
        lines.append(
            f"{count} cylinder{'s' if count > 1 else ''}, {engine.strokes}-stroke, {1e3 * engine.bore:g} × "
            f"{1e3 * engine.stroke:g} mm, gas: {engine.gas.source}"
        )
    if case.run is not None:
        lines.append(f"{case.run.kind.replace('_', ' ')} run at {case.run.speed * RPM:.0f} rpm")
    tables = [table("Bodies", ["body", "mass, kg"], [[body.name, f"{body.mass:g}"] for body in case.body])]
    mounts = [[m.name, f"{m.between[0]} – {m.between[1]}", m.law, _millimetres(m.at)] for m in case.mount]
    if mounts:
        tables.append(table("Mounts", ["mount", "between", "law", "at, mm"], mounts))
    sensors = [[s.name, s.body, _millimetres(s.at), s.contact or ""] for s in case.sensor]
    if sensors:
        tables.append(table("Sensors", ["sensor", "body", "at, mm", "touched as"], sensors))
    return page(case.case.title or case_file.name, lines, tables)


def _millimetres(place: tuple[float, float, float]) -> str:
    return ", ".join(f"{1e3 * value:g}" for value in place)


def results_html(results: Group) -> str:
    """The answer of a run or sweep in a few tables."""
    if is_sweep(results):
        return _sweep_html(results)
    found = summarise(results)
    first = f"{found['run_kind'].replace('_', ' ')} run"
    if "mean_speed_rpm" in found:  # a run that goes through several speeds has no one of them
        power = f"{found['mean_load_torque_N_m']:.1f} N m, {found['mean_power_kW']:.2f} kW"
        first += f", {found['mean_speed_rpm']:.0f} rpm, output {power}"
    lines = [first, *str(results.attributes.get("warnings", "")).splitlines()]
    if "steps" in found:
        return page(str(found["title"]), [*lines[1:], CAUTION], step_tables(found))
    if not found.get("settling", {}).get("settled", 1):
        lines.append("The run did not settle.")
    lines += load_step_lines(found["load_step"]) if "load_step" in found else []
    lines += [road_line(found["road"])] if "road" in found else []
    tables = [_rows_table(caption, found.get(caption.lower(), []), *columns) for caption, columns in COLUMNS.items()]
    tables += [wheel_table(found["road"]) if "road" in found else "", people_table(found.get("people", []))]
    return page(str(found["title"]), [*lines, CAUTION], [text for text in tables if text])


def _rows_table(caption: str, rows: list[dict[str, Any]], unit: str, columns: dict[str, tuple[str, str]]) -> str:
    """Rows of a summary; nothing where there are none."""
    cells = [
        [row["name"], *(_form(row.get(key), form) for key, form in columns.values()), _orders(row)] for row in rows
    ]
    head = [caption.lower().removesuffix("s"), *(f"{word}, {unit}" for word in columns), f"strongest orders, {unit}"]
    return table(caption, head, cells) if rows else ""


def _form(value: float | None, form: str) -> str:
    return "" if value is None else f"{value:{form}}"


def _orders(row: dict[str, Any]) -> str:
    return ", ".join(f"{item['order']:g}× {item['amplitude']:.3g}" for item in row.get("orders", ()))


def _sweep_html(results: Group) -> str:
    read = read_sweep(results)
    found = describe(read, usual(read), [])
    rows = [
        [row["quantity"], _number(row["least"]), _number(row["greatest"]), row["units"], matters_most(row)]
        for row in found["quantities"]
    ]
    line = f"{found['done']} of {found['points']} points over {', '.join(found['axes'])}"
    failed = [f"point {item['point']} failed: {item['reason']}" for item in found["failures"][:MOST_FAILURES]]
    head = ["quantity", "least", "greatest", "unit", "what matters most"]
    return page(found["title"], [line, *failed, CAUTION], [table("Quantities", head, rows)])


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.4g}"


def comparison_html(compared: RunComparison) -> str:
    """Levels of all runs, and what got better and worse."""
    names = list(compared.names)
    rows = [
        [
            f"{row.quantity}: {row.place}",
            unit_words(row.units),
            *(value_words(row, number) for number in range(len(names))),
            *(verdict or "" for verdict in row.verdicts),
        ]
        for row in compared.levels
    ]
    head = ["level", "unit", *names, *(f"{name} is" for name in names[1:])]
    tables = [table("Levels", head, rows)]
    for number, name in enumerate(names[1:], start=1):
        for verdict in (BETTER, WORSE):
            found = judged(compared.orders, number, verdict)[:MOST_ROWS]
            if found:
                cells = [order_words(row, number) for row in found]
                caption = f"Orders that got {verdict} in {name}"
                tables.append(table(caption, ["place", "order", names[0], name, "change", "unit"], cells))
    return page(" against ".join(names), [*compared.notes, CAUTION], tables)
