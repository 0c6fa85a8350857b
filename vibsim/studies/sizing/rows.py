"""A sizing as plain data for JSON, in shown units."""

from __future__ import annotations

from typing import Any

import numpy as np

from vibsim.studies.sizing.meter import RPM, Meter
from vibsim.studies.sizing.optimise import Choice
from vibsim.studies.sizing.problem import Problem
from vibsim.studies.sizing.robust import Robust
from vibsim.studies.sizing.size import Sized


def as_dict(sized: Sized) -> dict[str, Any]:
    """Everything as plain data for JSON, in shown units."""
    problem = sized.problem
    meters = (*problem.goals, *problem.limits)

    def row(n: int, meter: Meter) -> dict[str, Any]:
        bounds = {
            name: value / meter.scale
            for name, value in (("target", meter.target), ("most", meter.most), ("least", meter.least))
            if value is not None
        }
        values = {"before": float(sized.before[n]) / meter.scale, "after": float(sized.after[n]) / meter.scale}
        return {"what": meter.name, "unit": meter.unit} | values | bounds

    goals = len(problem.goals)
    return {
        "variables": [vars(change) for change in sized.changes],
        "goals": [row(n, meter) for n, meter in enumerate(meters[:goals])],
        "limits": [row(goals + n, meter) for n, meter in enumerate(meters[goals:])],
        "limits_broken_before": sized.broken_before,
        "goals_in": [meter.unit for meter in meters[:goals]],
        "variables_in": [knob.unit for knob in problem.space.knobs],
        "choices": [_choice_row(problem, choice) for choice in sized.found.choices],
        "taken": next(n for n, choice in enumerate(sized.found.choices) if choice is sized.choice) + 1,
        "front": [
            {"goals": [float(v) / m.scale for v, m in zip(goal, problem.goals, strict=True)]}
            for goal in sized.found.front
        ],
        "candidates_asked": sized.found.asked,
        "verified": [
            {
                "what": item.meter.name,
                "unit": item.meter.unit,
                "speed_rpm": item.speed * RPM,
                "forecast_before": item.forecast[0],
                "forecast_after": item.forecast[1],
                "run_before": item.run[0],
                "run_after": item.run[1],
                "settled": item.settled,
            }
            for item in sized.verified
        ],
        "robust": None if sized.robust is None else _robust_rows(sized.robust),
    }


def _choice_row(problem: Problem, choice: Choice) -> dict[str, Any]:
    return {
        "words": list(choice.words),
        "goals": [float(v) / m.scale for v, m in zip(choice.goals, problem.goals, strict=True)],
        "variables": [float(v) / k.scale for v, k in zip(choice.x, problem.space.knobs, strict=True)],
    }


def _robust_rows(robust: Robust) -> dict[str, Any]:
    return {
        "samples": robust.samples,
        "seed": robust.seed,
        "parameters": robust.parameters,
        "probability": [
            {
                "what": sure.meter.name,
                "holds": sure.holds,
                "interval_95": [sure.low, sure.high],
                "median": float(np.nanmedian(sure.values)) / sure.meter.scale,
                "percentile_95": float(np.nanpercentile(sure.values, 95.0 if sure.meter.sign > 0 else 5.0))
                / sure.meter.scale,
                "unit": sure.meter.unit,
            }
            for sure in robust.sure
        ],
        "sensitivity": [
            {
                "what": item.meter.name,
                "first_order": item.first.tolist(),
                "total_order": item.total.tolist(),
                "at_least": (item.at_low / item.meter.scale).tolist(),
                "at_most": (item.at_high / item.meter.scale).tolist(),
            }
            for item in robust.matters
        ],
    }
