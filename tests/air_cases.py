"""Air paths for the tests: an engine that draws by volume, at invented nodes, with each kind of charging."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np

from vibsim.engine.air_junction import Command
from vibsim.engine.air_path import AirPath
from vibsim.engine.charging.air import GAS_CONSTANT
from vibsim.engine.charging.pack import SOURCES, pack_charging
from vibsim.engine.node_grid import Nodes
from vibsim.engine.throttle import Butterfly
from vibsim.inputs import charging_models as models

AMBIENT, COLD, OUTLET, VOLUME = 101325.0, 298.15, 1.06e5, 2.5e-3
BOOST = 33e3
WARMING, WALL = 0.2, 360.0  # of the intake's walls
DISPLACED = 0.7e-3 * 0.9 / (4.0 * math.pi)  # m³ per rad of crank: 0.7 litre, four strokes, 90 % filled
RICHER, HOT, BACK = 1.068, 950.0, 2e-7  # exhaust over air; K; share less air per Pa of back pressure
WORTH = 1.2e6  # J of gas work per kg of air
KINDS: dict[str, Any] = {
    "none": models.NoCharging,
    "electric": models.ElectricCharging,
    "exhaust_turbine": models.TurbineCharging,
    "engine_driven": models.DrivenCharging,
}


def air_path(source: str, command: Command, **changes: Any) -> AirPath:
    """The air path of a charging source with further keys of its table."""
    charging = KINDS[source](source=source, **({} if source == "none" else {"boost_pressure": BOOST} | changes))
    exhausts = np.array([1.0e5, 1.4e5, 2.0e5]) if source == "exhaust_turbine" else np.array([OUTLET])
    nodes = Nodes(np.array([100.0, 262.0, 600.0]), np.array([3e4, 6e4, 9e4, AMBIENT, 1.2e5, 1.5e5, 2e5]), exhausts)
    temperatures = warmed(COLD * np.maximum(nodes.intakes / AMBIENT, 1.0) ** 0.38)
    table = np.array([_row(p, t, b) for _ in nodes.speeds for p, t in zip(nodes.intakes, temperatures, strict=True)
                      for b in exhausts])  # fmt: skip
    charger = pack_charging(charging, AMBIENT, Path())
    assert SOURCES[source] == charger.kind
    butterfly = Butterfly(1, 0.04, math.radians(8.0), 0.8, 4e-6)
    densities = nodes.intakes / temperatures
    return AirPath(
        charger, butterfly, 0.06, command, VOLUME, WARMING, WALL, AMBIENT, COLD, OUTLET, nodes, densities, table
    )


def warmed(temperature: Any) -> Any:
    return temperature + WARMING * (WALL - temperature)


def _row(pressure: float, temperature: float, back: float) -> tuple[float, float, float, float]:
    air = DISPLACED * pressure / (GAS_CONSTANT * temperature) * (1.0 - BACK * (back - OUTLET))
    return air, RICHER * air, HOT, WORTH * air
