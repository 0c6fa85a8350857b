"""What each way of charging does to torque ripple, mounts and sensors: steady runs at one speed and full load."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from vibsim.solver.simulate import Progress, no_progress
from vibsim.studies.alike import run_at
from vibsim.studies.boost import Comparison
from vibsim.studies.compare import compare, speed_rows

SHAKEN = {
    "torque_swing_N_m": "torque swing",
    "speed_fluctuation": "speed fluctuation",
    "mount_rms_N": "worst mount",
    "sensor_rms_m_per_s2": "worst sensor",
}


def shaking_rows(comparison: Comparison, progress: Progress = no_progress) -> list[dict[str, Any]]:
    """A row per source from its run at the comparison's main speed: load torque, swing of the net torque, coefficient
    of speed fluctuation, worst mount and sensor, and `change_percent` of each over the uncharged engine.

    Raises InputError for a case without what a run needs, RunFailure when a run cannot be carried through.
    """
    speed = float(comparison.speeds[comparison.main])
    cases = [replace(run_at(one.case_file, speed, 1.0), name=one.source) for one in comparison.sources]
    rows = speed_rows(compare(cases, np.array([speed]), progress=progress))
    for row in rows:
        row["source"] = row.pop("case")
        row["change_percent"] = {
            name: 100.0 * (row[name] / rows[0][name] - 1.0) for name in SHAKEN if row[name] and rows[0][name]
        }
    return rows
