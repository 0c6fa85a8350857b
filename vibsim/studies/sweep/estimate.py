"""What a sweep will take: points, bytes, time, from a few chains of points computed."""

from __future__ import annotations

import time
from typing import Any

import numpy as np

from vibsim.results.sweep_file import shape_from
from vibsim.studies.sweep.plan import Plan
from vibsim.studies.sweep.point import work_chain

TIMED = 3  # chains, after a first one that loads what is compiled


def estimate(plan: Plan, workers: int) -> dict[str, Any]:
    """Points, chains, bytes of the file and seconds on so many workers, by whole chains spread over all: within one,
    points begin from their neighbour's state, so that a point by itself would tell too long a time. `start_seconds` is
    what every worker does once: load libraries, as long as that has taken here, and what is compiled, by which the
    first chain takes longer."""
    loading = time.process_time() if workers > 1 else 0.0
    chains = plan.chains(np.ones(plan.total, bool))
    chosen = np.unique(np.linspace(0, len(chains) - 1, TIMED + 1).round().astype(int))
    outcomes, each = [], []
    for chain in (chains[int(n)] for n in chosen):
        begin = time.perf_counter()
        outcomes += work_chain(plan, chain)
        each.append((time.perf_counter() - begin) / len(chain.points))
    point = float(np.mean(each[1:] or each))
    start = loading + max(each[0] - point, 0.0) * len(chains[0].points)
    shapes = [shape_from(outcome.shape) for outcome in outcomes if outcome.values is not None]
    size = shapes[0].size * 8 if shapes else 0
    return {
        "points": plan.total,
        "chains": len(chains),
        "bytes_per_point": size,
        "file_bytes": size * plan.total,
        "seconds_per_point": point,
        "workers": workers,
        "start_seconds": start,
        "seconds": start + point * plan.total / min(workers, len(chains)),
        "timed_points": len(outcomes),
        "failed": [outcome.reason for outcome in outcomes if outcome.values is None],
    }
