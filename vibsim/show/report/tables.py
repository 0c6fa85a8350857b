"""The report's tables: captions, columns and cells of text, what stands in the charts also in numbers."""

from __future__ import annotations

import math
from typing import Any

from vibsim.post.exposure_rules import CAUTION as EXPOSURE_CAUTION
from vibsim.show.report.steps import steps_tables
from vibsim.show.report.verdict import at_words, shown_unit, trade_words
from vibsim.show.report.words import Table, table
from vibsim.show.run_tables import _orders
from vibsim.show.tables import CAUTION, plain_number
from vibsim.studies.overview import Overview
from vibsim.studies.report import Report, Source, Subject, View

MOST_FAILURES = 20


def run_tables(source: Source) -> list[Table]:
    """Levels of a run: mounts, sensors, people, torque."""
    summary = source.summary
    assert summary is not None
    if "steps" in summary:
        return steps_tables(source)
    tables = []
    if summary["mounts"]:
        rows = [
            [
                row["name"],
                *(plain_number(row[key], digits) for key, digits in (("mean_N", 0), ("rms_N", 1), ("peak_N", 1))),
                row["worst_axis"],
                _orders(row),
            ]
            for row in summary["mounts"]
        ]
        columns = ["mount", "mean N", "rms N", "peak N", "mostly", "strongest orders, N"]
        tables.append(table("Mounts, worst first", columns, rows, "rms and peak of the force less its mean"))
    if summary["sensors"]:
        rows = [
            [
                row["name"],
                plain_number(row["rms_m_per_s2"], 3),
                plain_number(row["peak_m_per_s2"], 2),
                row["worst_axis"],
                _orders(row),
            ]
            for row in summary["sensors"]
        ]
        columns = ["sensor", "rms m/s²", "peak m/s²", "mostly", "strongest orders, m/s²"]
        tables.append(table("Sensors, worst first", columns, rows, "accelerations unweighted"))
    if summary["people"] and source.exposure is None:
        tables.append(_people_table(summary["people"]))
    rows = [
        [row["name"], plain_number(row["mean_N_m"], 2), plain_number(row["swing_N_m"], 1), _orders(row)]
        for row in summary["torque"]
    ]
    columns = ["torque", "mean N m", "swing N m", "strongest orders, N m"]
    tables.append(table("Torque ripple", columns, rows, "n× is engine order n, events per crank revolution"))
    return tables


def _people_table(people: list[dict[str, Any]]) -> Table:
    rows = []
    for row in people:
        judged = row["a8_m_per_s2"] is not None
        felt = row["comfort_m_per_s2"]
        health = [plain_number(row["a8_m_per_s2"], 3), f"{row['action_m_per_s2']:g}"] if judged else ["", ""]
        comfort = "" if felt is None else plain_number(felt, 3)
        rows.append([row["name"], row["contact"], *health, comfort, row["comfort"]])
    columns = ["sensor", "contact", "A(8) of 8 h m/s²", "action value", "comfort total m/s²", "comfort"]
    return table("People, weighted", columns, rows, EXPOSURE_CAUTION, text=2)


def side_by_side(report: Report) -> list[Table]:
    """Runs in columns: rms of every mount and sensor, ripple."""
    runs = [source for source in report.sources if source.summary is not None]
    if len(runs) < 2:
        return []
    tables = []
    for kind, key, caption, digits in (
        ("mounts", "rms_N", "Mount force, rms N", 1),
        ("sensors", "rms_m_per_s2", "Acceleration, rms m/s²", 3),
        ("torque", "swing_N_m", "Torque swing, N m", 1),
    ):
        levels = [{row["name"]: row[key] for row in source.summary.get(kind, [])} for source in runs if source.summary]
        names = dict.fromkeys(name for one in levels for name in one)
        rows = [[name, *(plain_number(one[name], digits) if name in one else "" for one in levels)] for name in names]
        columns = ["", *(source.name for source in runs)]
        if len(runs) == 2:
            columns.append("change")
            rows = [[*row, _change(levels[0].get(row[0]), levels[1].get(row[0]))] for row in rows]
        if rows:
            tables.append(table(caption, columns, rows))
    return tables


def _change(first: float | None, second: float | None) -> str:
    if not first or second is None:
        return ""
    percent = round(100.0 * (second / first - 1.0))
    return f"{percent:+d} %".replace("-", "−") if percent else "0 %"


def difference(report: Report) -> str:
    """Which run shakes mounts and sensors least, and how much less than the one that shakes them most."""
    runs = [source for source in report.sources if source.summary is not None]
    parts = []
    for kind, key, words in (("mounts", "rms_N", "worst mount"), ("sensors", "rms_m_per_s2", "worst sensor")):
        worst = {
            source.name: source.summary[kind][0][key] for source in runs if source.summary and source.summary.get(kind)
        }
        if len(worst) > 1 and max(worst.values()) > 0.0:
            least = min(worst, key=lambda name: worst[name])
            most = max(worst, key=lambda name: worst[name])
            parts.append(f"{words}: {least} {_change(worst[most], worst[least])} against {most}")
    return "; ".join(parts)[:1].upper() + "; ".join(parts)[1:]


def sweep_tables(view: View) -> list[Table]:
    """Range and place of every quantity, best points, failures."""
    found = view.found
    assert found is not None
    rows = []
    for row in found["quantities"]:
        if row["least"] is None:
            continue
        scale, unit = shown_unit(row)
        least, greatest = (f"{scale * row[name]:.4g}" for name in ("least", "greatest"))
        places = [at_words(view.axes, row[name]) for name in ("least_at", "greatest_at")]
        rows.append([trade_words(row), unit, least, places[0], greatest, places[1]])
    tables = [table("Least and most over the points", ["quantity", "unit", "least", "at", "most", "at"], rows, text=2)]
    if found["best"]:
        tables.append(_best_table(view))
    if found["failures"]:
        shown = found["failures"][:MOST_FAILURES]
        rest = len(found["failures"]) - len(shown)
        failed = [[str(row["point"]), row["reason"]] for row in shown]
        tables.append(table("Points that failed", ["point", "why"], failed, f"and {rest} more" if rest else "", 2))
    return tables


def _best_table(view: View) -> Table:
    """The points of least of the first quantity, in the units that charts show."""
    assert view.found is not None
    found = view.found
    quantities = [(row["quantity"], *shown_unit(row)) for row in found["quantities"] if row["least"] is not None]
    labels = [trade_words(row) for row in found["quantities"] if row["least"] is not None]
    columns = [f"{axis.label}, {axis.unit}" if axis.unit else axis.label for axis in view.axes]
    columns += [f"{label}, {unit}" if unit else label for label, (_, _, unit) in zip(labels, quantities, strict=True)]
    rows = []
    for row in found["best"]:
        places = [row[name] for name in found["axes"]]
        values = [None if row[word] is None else scale * row[word] for word, scale, _ in quantities]
        rows.append(["" if value is None else f"{value:.4g}" for value in [*places, *values]])
    return table(f"Points of least {trade_words(found['quantities'][0])}", columns, rows, "", 0) | {"narrow": True}


def subject_tables(subject: Subject) -> list[Table]:
    """Masses, mounts at rest and modes."""
    tables = [] if subject.understood is None else _overview_tables(subject.understood)
    if subject.modes is not None:
        rows = []
        for row in subject.modes.table():
            share = f"{row['moves_most']} {100.0 * row['energy_share']:.0f} %"
            rows.append([str(row["mode"]), f"{row['frequency_Hz']:.2f}", f"{100.0 * row['damping_ratio']:.1f}", share])
        columns = ["mode", "frequency Hz", "damping % of critical", "share of kinetic energy"]
        note = f"about the position under {subject.modes.preload}; crank locked"
        tables.append(table("Natural modes", columns, rows, note, 0))
    return tables


def _overview_tables(understood: Overview) -> list[Table]:
    rows = [[row["body"], f"{row['mass_kg']:.2f}"] for row in understood.masses]
    tables = [table("Masses", ["body", "kg"], rows)]
    if understood.mounts:
        rows = [
            [
                mount.name,
                " → ".join(mount.between),
                mount.law,
                *(plain_number(value, 1) for value in mount.force),
                plain_number(1e3 * mount.sag, 2),
                f"{mount.frequency:.1f}" if mount.frequency else "",
            ]
            for mount in understood.mounts
        ]
        columns = ["mount", "between", "law", "X N", "Y N", "Z N", "sag mm", "Hz"]
        note = "force of the weight on the second body; Hz estimated from the sag"
        tables.append(table("Mounts at rest", columns, rows, note, 3))
    return tables


def engine_words(subject: Subject) -> list[str]:
    """The layout, its firing and the rest of the case, a line each."""
    understood = subject.understood
    if understood is None:
        return []
    lines = [understood.layout]
    if understood.firing:
        order = ", ".join(f"{name} at {math.degrees(angle):.0f}°" for name, angle in understood.firing)
        intervals = " / ".join(f"{math.degrees(angle):.0f}°" for angle in understood.intervals)
        lines.append(f"fires: {order}; intervals {intervals}")
    return [*lines, *understood.running]


def cautions(report: Report) -> list[str]:
    """What was assumed and what is doubtful, the general caution first."""
    lines = [CAUTION]
    for source in report.sources:
        for key in ("warnings", "gas_notes", "mount_notes"):
            lines += [line for line in str(source.attributes.get(key, "")).split("\n") if line]
        settled = source.attributes.get("settled")
        if settled is not None and not settled:
            lines.append(f"{source.name}: the run did not settle; what is shown is its last cycle")
    lines += report.differences.notes
    for subject in report.subjects:
        lines += [f"{subject.name}: not shown, {words}" for words in subject.missing]
        if subject.understood is not None:
            lines += [*subject.understood.notes, *subject.understood.warnings]
        if subject.modes is not None:
            lines += subject.modes.warnings()
    for view in report.views:
        if view.record:
            lines.append(
                f"{view.name}: does not repeat; orders at a time are those of a window of four working cycles about it "
                f"(Hann), of {len(view.levels.speed)} windows along the record; forces over a cycle are put together "
                "from them"
            )
        elif view.found is None and any(one.attributes.get("run_kind") != "steady" for one in view.runs):
            lines.append(f"{view.name}: not periodic; orders are those of its whole record, Hann window")
        drawn = [key for key in view.keys if not key.startswith("run.")]
        if drawn:
            lines.append(
                f"{view.name}: drawing, mechanism and modes are of the case as written, {', '.join(drawn)} too"
            )
    return list(dict.fromkeys(lines))


ASSUMED = (
    "Bodies are rigid but for what the case says, and drawn as boxes with their mass and inertia.",
    "Forces in the mechanism are those of inertia at constant speed, without gas; they grow with speed squared.",
    "Forces of mounts and accelerations over a cycle are put together from their orders, the mean left out.",
    "Vehicle axes: X forward, Y left, Z up (ISO 8855).",
)


def provenance(source: Source) -> list[list[str]]:
    """Where a result is from, name and value."""
    named = [
        ("file", source.name),
        ("case", source.attributes.get("case_name")),
        ("SHA-256 of the case", source.attributes.get("case_sha256")),
        ("kind", source.attributes.get("run_kind")),
        ("created", source.attributes.get("created")),
        ("vibsim", source.attributes.get("vibsim_version")),
        ("versions", source.attributes.get("versions")),
        ("points", source.attributes.get("sweep_points")),
        ("swept keys", source.attributes.get("sweep_keys")),
        ("points done", source.attributes.get("sweep_done")),
        ("points failed", source.attributes.get("sweep_failed")),
    ]
    solver = [
        (name.replace("_", " "), source.attributes[name])
        for name in source.attributes
        if name.startswith(("solver", "settling", "relative_tol", "set_speed", "load", "steady_", "settled"))
    ]
    return [[name, str(value).replace("\n", ", ")] for name, value in [*named, *solver] if value not in (None, "")]
