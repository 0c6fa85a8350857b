"""Comparisons of sweeps as a small HTML table, for notebooks."""

from __future__ import annotations

from vibsim.show.compare_runs_tables import unit_scale, unit_words
from vibsim.show.compare_sweeps_tables import change_and_place
from vibsim.show.html_parts import page, table
from vibsim.show.tables import CAUTION
from vibsim.studies.compare_sweeps import SweepComparison, difference_rows


def sweep_comparison_html(compared: SweepComparison) -> str:
    """How many points got better and worse, and the greatest changes with where they are."""
    rows = []
    for row in difference_rows(compared):
        if "mean_before" not in row:
            continue
        scale, judged = unit_scale(row["units"]), row["judged"]
        alike = row["points"] - row["fell"] - row["rose"]
        counts = [f"{row['fell']}" if judged else "", f"{row['rose']}" if judged else "", f"{alike}"]
        means = [f"{scale * row[name]:.4g}" for name in ("mean_before", "mean_after")]
        name = [row["quantity"], row["sweep"]]
        rows.append([*name, *counts, *means, *change_and_place(row, scale), unit_words(row["units"])])
    means = ["mean before", "mean after"]
    head = ["quantity", "sweep", "better", "worse", "alike", *means, "greatest fall", "greatest rise", "unit"]
    lines = [f"{len(compared.points)} points in common over {', '.join(compared.labels)}", *compared.notes, CAUTION]
    return page(" against ".join(compared.names), lines, [table("Differences", head, rows)])
