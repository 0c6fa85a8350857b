"""What results say of the road that a run drove over."""

from __future__ import annotations

from typing import Any

from vibsim.inputs.models import Run
from vibsim.inputs.road_models import RoughRoad
from vibsim.solver.road_course import road_words


def road_attributes(run: Run) -> dict[str, Any]:
    """What a run drove over, and how fast; nothing of any other run."""
    if run.road is None or run.vehicle_speed is None:
        return {}
    found = {"vehicle_speed_m_per_s": run.vehicle_speed, "road": road_words(run.road)}
    if isinstance(run.road, RoughRoad):
        found |= {"road_class": run.road.road_class, "road_seed": run.road.seed, "road_tracks": run.road.tracks}
    return found
