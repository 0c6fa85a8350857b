"""What wheels felt of a road in a step of a run, gathered as the record grows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vibsim.inputs.road_models import Bump, Road, RoadFile, RoughRoad


@dataclass
class RoadCourse:
    """Points so far, sums over them of height (wheels) m and of its square, least and greatest vertical force (wheels)
    N, how many points each tyre was off the road."""

    points: int = 0
    height: np.ndarray | float = 0.0
    square: np.ndarray | float = 0.0
    least: np.ndarray | float = np.inf
    greatest: np.ndarray | float = -np.inf
    off: np.ndarray | float = 0.0

    def take(self, parts: dict[str, np.ndarray]) -> None:
        """Add a stretch of the record, of quantities of wheels and occupants by name."""
        if "road_height" not in parts:
            return
        height, force = parts["road_height"], parts["tyre_force"][:, :, 2]
        self.points += len(height)
        self.height, self.square = self.height + height.sum(axis=0), self.square + (height**2).sum(axis=0)
        self.least, self.greatest = (
            np.minimum(self.least, force.min(axis=0)),
            np.maximum(self.greatest, force.max(axis=0)),
        )
        self.off = self.off + np.count_nonzero(force <= 0.0, axis=0)

    def figures(self) -> dict[str, float]:
        """Figures of the wheel that has most of each; none where no point was over a road."""
        if not self.points:
            return {}
        mean = np.asarray(self.height) / self.points
        return {
            "road_rms_m": float(np.sqrt(np.maximum(np.asarray(self.square) / self.points - mean**2, 0.0)).max()),
            "least_tyre_force_N": float(np.min(self.least)),
            "greatest_tyre_force_N": float(np.max(self.greatest)),
            "share_off_road": float(np.max(self.off)) / self.points,
        }


def road_words(road: Road) -> str:
    """A road in words."""
    if isinstance(road, RoughRoad):
        return f"ISO 8608 class {road.road_class}"
    if isinstance(road, RoadFile):
        return f"road of {road.file}"
    length = f", {road.length:g} m long" if isinstance(road, Bump) else ""
    return f"{road.profile} of {1e3 * road.height:g} mm{length}"
