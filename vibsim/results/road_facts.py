"""What results say of the road that a run drove over."""

from __future__ import annotations

from typing import Any

from vibsim.inputs.models import Run
from vibsim.inputs.road_models import Bump, Road, RoadFile, RoughRoad


def road_attributes(run: Run) -> dict[str, Any]:
    """What a run drove over, and how fast; nothing of any other run."""
    if run.road is None or run.vehicle_speed is None:
        return {}
    found = {"vehicle_speed_m_per_s": run.vehicle_speed, "road": road_words(run.road)}
    if isinstance(run.road, RoughRoad):
        found |= {"road_class": run.road.road_class, "road_seed": run.road.seed, "road_tracks": run.road.tracks}
    return found


def road_words(road: Road) -> str:
    """A road in words."""
    if isinstance(road, RoughRoad):
        return f"ISO 8608 class {road.road_class}"
    if isinstance(road, RoadFile):
        return f"road of {road.file}"
    length = f", {road.length:g} m long" if isinstance(road, Bump) else ""
    return f"{road.profile} of {1e3 * road.height:g} mm{length}"
