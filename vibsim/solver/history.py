"""How a long run goes: every quantity's mean, mean square, least and greatest value over blocks of its record."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from vibsim.jit import released_bare
from vibsim.solver.observe import Observed

BLOCK, LONG_BLOCK, LONG = 0.02, 0.1, 20.0  # s; of records longer than that
KEPT = (
    "crank_speed",
    "gas_torque",
    "inertia_torque",
    "load_torque",
    "friction_torque",
    "accessory_torque",
    "starter_torque",
    "starter_current",
    "battery_voltage",
    "cylinder_pressure",
    "mount_force",
    "mount_deflection",
    "body_displacement",
    "sensor_acceleration",
)
KEPT_PARTS = ("road_height", "tyre_force", "wheel_travel", "occupant_acceleration")
KEPT_AIR = ("intake_pressure", "throttle_opening", "boost", "charger_speed")
PARTS = ("mean", "square", "least", "greatest")


def block_points(rate: float, seconds: float) -> int:
    """Points of a block of a record of so many seconds."""
    return max(round(rate * (LONG_BLOCK if seconds > LONG else BLOCK)), 1)


@released_bare
def _fold(columns, points, found):
    """Fill `found` (parts, blocks, k) from columns (n, k), every block of so many points, the last of what is left."""
    mean, square, least, greatest = found[0], found[1], found[2], found[3]
    for block in range(mean.shape[0]):
        first, end = points * block, min(points * (block + 1), columns.shape[0])
        for k in range(columns.shape[1]):
            mean[block, k], square[block, k] = 0.0, 0.0
            least[block, k], greatest[block, k] = columns[first, k], columns[first, k]
        for n in range(first, end):
            for k in range(columns.shape[1]):
                value = columns[n, k]
                mean[block, k] += value
                square[block, k] += value * value
                least[block, k], greatest[block, k] = min(least[block, k], value), max(greatest[block, k], value)
        for k in range(columns.shape[1]):
            mean[block, k] /= end - first
            square[block, k] /= end - first


@dataclass
class History:
    """Blocks so far: `time` (their middles, s), `step` (index) and for each quantity its parts."""

    points: int
    rate: float
    time: list[float] = field(default_factory=list)
    step: list[int] = field(default_factory=list)
    parts: dict[str, dict[str, list[np.ndarray]]] = field(default_factory=dict)

    def take(self, first: int, step: int, seen: Observed) -> None:
        """Add a stretch of the record, whole blocks but for the last, that begins at point `first`."""
        count = len(seen.crank_angle)
        starts = np.arange(0, count, self.points)
        ends = np.minimum(starts + self.points, count)
        self.time += [(first + 0.5 * (a + b - 1)) / self.rate for a, b in zip(starts, ends, strict=True)]
        self.step += [step] * len(starts)
        named = {name: getattr(seen, name) for name in KEPT} | (seen.air or {}) | seen.parts
        for name, values in named.items():
            if values is None or values.size == 0 or name not in (*KEPT, *KEPT_AIR, *KEPT_PARTS):
                continue
            self._add(name, values, len(starts))

    def _add(self, name: str, values: np.ndarray, blocks: int) -> None:
        columns = np.ascontiguousarray(values).reshape(len(values), -1)
        found = np.empty((len(PARTS), blocks, columns.shape[1]))
        _fold(columns, self.points, found)
        parts = self.parts.setdefault(name, {part: [] for part in PARTS})
        for part, of_blocks in zip(PARTS, found, strict=True):
            parts[part].append(of_blocks.reshape(blocks, *values.shape[1:]))

    def arrays(self, name: str) -> dict[str, np.ndarray]:
        """Parts (blocks, ...) of a quantity."""
        return {part: np.concatenate(pieces) for part, pieces in self.parts[name].items()}
