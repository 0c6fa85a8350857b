"""What a sweep will take: points, bytes, time, from a few points computed."""

from __future__ import annotations

import time
from dataclasses import replace
from typing import Any

import numpy as np

from vibsim.results.sweep_file import shape_from
from vibsim.studies.sweep.plan import Plan
from vibsim.studies.sweep.point import work_chain

TIMED = 3  # points, after a first one that loads what is compiled


def estimate(plan: Plan, workers: int) -> dict[str, Any]:
    """Points, chains, bytes of the file and seconds on so many workers, by points spread over the first case."""
    chosen = np.unique(np.linspace(0, plan.per_case - 1, TIMED + 1).round().astype(int))
    outcomes, seconds = [], []
    for point in chosen:
        whole = next(chain for chain in plan.chains(np.ones(plan.total, bool)) if point in chain.points)
        at = whole.points.index(int(point))
        begin = time.perf_counter()
        outcomes += work_chain(plan, replace(whole, points=(int(point),), values=whole.values[at : at + 1]))
        seconds.append(time.perf_counter() - begin)
    each = float(np.mean(seconds[1:] or seconds))
    shapes = [shape_from(outcome.shape) for outcome in outcomes if outcome.values is not None]
    size = shapes[0].size * 8 if shapes else 0
    return {
        "points": plan.total,
        "chains": len(plan.chains(np.ones(plan.total, bool))),
        "bytes_per_point": size,
        "file_bytes": size * plan.total,
        "seconds_per_point": each,
        "workers": workers,
        "seconds": each * plan.total / min(workers, plan.total),
        "timed_points": len(seconds),
        "failed": [outcome.reason for outcome in outcomes if outcome.values is None],
    }
