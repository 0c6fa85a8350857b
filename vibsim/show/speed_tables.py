"""Lines of a run on how evenly it turns, what its tooth wheel sees, and what the driveline feels."""

from __future__ import annotations

from typing import Any

import numpy as np
from rich.console import Console
from rich.table import Table
from rich.text import Text

from vibsim.post.output import PATHS
from vibsim.results.labelled import Group
from vibsim.show.tables import new_table, plain_number

RPM = 30.0 / np.pi


def speed_lines(summary: dict[str, Any]) -> list[str]:
    """Evenness of firing, energy, tooth wheel: a line each, for what the run has."""
    lines = []
    if "cyclic" in summary:
        at = summary["cyclic"]
        words = [f"energy swings by {at['energy_swing_J']:.1f} J a cycle"]
        if "energy_fluctuation" in at:
            words[0] += f", {100.0 * at['energy_fluctuation']:.1f} % of its work"
            words.append(f"greatest over mean torque {at['greatest_over_mean_torque']:.2f}")
        if "firing_evenness" in at:
            words.append(f"evenness of firing {at['firing_evenness']:.3f}, of torque {at['torque_evenness']:.3f}")
        lines.append("; ".join(words))
    if "tooth_wheel" in summary:
        at = summary["tooth_wheel"]
        lines.append(
            f"tooth wheel {at['teeth']} − {at['missing']}: fluctuation seen "
            f"{100.0 * at['speed_fluctuation_seen']:.2f} %, one tick is {at['resolution_rad_per_s'] * RPM:.2f} rpm"
        )
    return lines


def output_rows(results: Group) -> list[dict[str, Any]]:
    """What every place of the driveline feels, soft and stiff."""
    if "output" not in results.groups:
        return []
    group = results.groups["output"]
    names = ("mean", "least", "greatest")
    return [
        {"place": place, "path": path}
        | {f"{name}_N_m": float(group[name][n, m]) for name in names}
        | {"negative_share": float(group["negative_share"][n, m])}
        | {"reversals_per_s": float(group["reversals"][n, m])}
        for m, place in enumerate(group.labels("place"))
        for n, path in enumerate(PATHS)
    ]


def output_table(rows: list[dict[str, Any]]) -> Table:
    """Crank, and wheels in the lowest and the highest gear: a soft driveline beside a stiff one."""
    columns = ("soft: mean N m", "least", "greatest", "stiff: least N m", "greatest", "negative %", "reversals /s")
    table = new_table("Output torque: behind a soft driveline, and at most, behind a stiff one", "at", *columns)
    shown = _at_both_ends(rows)
    for soft, stiff in zip(shown[::2], shown[1::2], strict=True):
        table.add_row(
            soft["place"],
            *(plain_number(soft[f"{name}_N_m"], 1) for name in ("mean", "least", "greatest")),
            *(plain_number(stiff[f"{name}_N_m"], 1) for name in ("least", "greatest")),
            plain_number(100.0 * stiff["negative_share"], 0),
            plain_number(stiff["reversals_per_s"], 0),
        )
    return table


def _at_both_ends(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The rows of the crank and of the wheels in the first and the last gear; between them all is scaled by a ratio."""
    wheels = [row["place"] for row in rows if row["place"].startswith("wheels")]
    places = {"crank", *wheels[:1], *wheels[-1:]}
    return [row for row in rows if row["place"] in places]


def print_speed(console: Console, summary: dict[str, Any]) -> None:
    """All of it on the terminal, of a summary that has it."""
    for line in speed_lines(summary):
        console.print(Text(line))
    if "output" in summary:
        console.print(output_table(summary["output"]))


def speed_summary(results: Group) -> dict[str, Any]:
    """What a run's summary has besides: evenness, tooth wheel, output torque."""
    found: dict[str, Any] = {}
    for name in ("cyclic", "tooth_wheel"):
        if name in results.groups:
            found[name] = dict(results.groups[name].attributes)
    rows = output_rows(results)
    return found | ({"output": rows} if rows else {})
