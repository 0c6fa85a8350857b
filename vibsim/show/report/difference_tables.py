"""Tables of what got better and worse between the results of a report."""

from __future__ import annotations

from typing import Any

from vibsim.show.report.words import Table, table, three_digits
from vibsim.studies.compare_runs import BETTER, WORSE, Row, RunComparison, judged
from vibsim.studies.compare_sweeps import SweepComparison, difference_rows
from vibsim.studies.report_differences import Differences

MOST_ROWS = 12
UNITS = {"m s-2": "m/s²", "m": "mm", "1": "%"}
SCALES = {"m": 1e3, "1": 100.0}


def difference_tables(found: Differences) -> list[Table]:
    """Per run after the first what got better and what got worse; per sweep how many points did."""
    tables = _of_runs(found.runs) if found.runs is not None else []
    return tables + (_of_sweeps(found.sweeps) if found.sweeps is not None else [])


def _of_runs(compared: RunComparison) -> list[Table]:
    tables = []
    first = compared.names[0]
    note = (
        f"changes of more than {compared.percent:g} % of the larger value and {compared.residuals:g} times what the "
        "runs still change by from cycle to cycle; the greatest shares of the place's strongest first"
    )
    for number, name in enumerate(compared.names[1:], start=1):
        for verdict in (BETTER, WORSE):
            rows = [
                _cells(row, number)
                for kind in (compared.levels, compared.orders)
                for row in judged(kind, number, verdict)[:MOST_ROWS]
            ]
            caption = f"{verdict.capitalize()} in {name} than in {first}"
            columns = ["what", "at", "order", "unit", first, name, "change"]
            empty = [["nothing beyond the threshold", "", "", "", "", "", ""]]
            tables.append(table(caption, columns, rows or empty, note, text=2))
    return tables


def _cells(row: Row, number: int) -> list[str]:
    before, after = row.values[0] or 0.0, row.values[number] or 0.0
    scale, unit = SCALES.get(row.units, 1.0), UNITS.get(row.units, row.units)
    share = f"{100.0 * (after / before - 1.0):+.0f} %".replace("-", "−") if before else ""
    order = "" if row.order is None else f"{row.order:g}"
    return [row.quantity, row.place, order, unit, three_digits(scale * before), three_digits(scale * after), share]


def _of_sweeps(compared: SweepComparison) -> list[Table]:
    tables = []
    note = (
        f"fell, rose: points where the change is more than {compared.percent:g} % of the larger value and more than "
        "settling leaves uncertain; where less is better, a fall is one to the better"
    )
    rows = difference_rows(compared)
    for name in compared.names[1:]:
        cells = [_sweep_cells(row) for row in rows if row["sweep"] == name and row["points"]]
        columns = ["quantity", "unit", "points", "fell", "rose", "mean before", "mean after"]
        caption = f"{name} against {compared.names[0]}, at the points that both have"
        tables.append(table(caption, columns, cells, "; ".join([note, *compared.notes])))
    return tables


def _sweep_cells(row: dict[str, Any]) -> list[str]:
    scale = 1e-5 if row["units"] == "Pa" else SCALES.get(row["units"], 1.0)
    unit = "bar" if row["units"] == "Pa" else UNITS.get(row["units"], row["units"])
    means = [three_digits(scale * row[name]) for name in ("mean_before", "mean_after")]
    return [row["label"], unit, str(row["points"]), str(row["fell"]), str(row["rose"]), *means]
