"""What differs between the results of a report, and by more than the threshold and what settling leaves."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from vibsim.inputs.errors import InputError
from vibsim.results.labelled import Group
from vibsim.studies.compare_runs import RunComparison, compare_runs
from vibsim.studies.compare_sweeps import SweepComparison, compare_sweeps
from vibsim.studies.report_views import Run

SAME_SPEED = 0.02


@dataclass(frozen=True)
class Differences:
    """Periodic runs at one speed held against the first of them, sweeps over the same axes likewise; why not."""

    runs: RunComparison | None = None
    sweeps: SweepComparison | None = None
    notes: list[str] = field(default_factory=list)

    def floors(self) -> dict[str, dict[str, float]]:
        """By run and then by place (`mount/front left`): below which an order's change is not told from settling."""
        found: dict[str, dict[str, float]] = {}
        if self.runs is None:
            return found
        kinds = {"mount force": "mount", "acceleration": "sensor"}
        for row in self.runs.orders:
            for name, floor in zip(self.runs.names[1:], row.floors, strict=True):
                found.setdefault(name, {})[f"{kinds[row.quantity]}/{row.place}"] = floor
        return found


def differences(runs: list[Run], sweeps: dict[str, Group]) -> Differences:
    """Hold runs and sweeps of a report against the first of each."""
    notes: list[str] = []
    periodic = [run for run in runs if run.levels is not None]
    alike = [run for run in periodic if math.isclose(_speed(run), _speed(periodic[0]), rel_tol=SAME_SPEED)]
    compared = compare_runs({run.name: run.results for run in alike}) if len(alike) > 1 else None
    cases = sum(1 if "status" in sweep.variables else len(sweep.groups) for sweep in sweeps.values())
    try:
        swept = compare_sweeps(sweeps) if cases > 1 else None
    except InputError as error:
        swept = None
        notes.append(f"sweeps are not held against each other: {str(error).removeprefix('compare: ')}")
    return Differences(compared, swept, notes)


def _speed(run: Run) -> float:
    assert run.levels is not None
    return float(run.levels.speed[0])
