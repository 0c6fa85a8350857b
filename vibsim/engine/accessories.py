"""What the crank drives beside its load: pumps and alternator, as torques felt at the crank against its rotation.

Laws of each accessory's own shaft (derived from power = torque × speed), felt at the crank times |ratio|. The pull of
a belt on its two bearings is left out: an accessory's torque acts as a couple about the crank's direction.
"""

from __future__ import annotations

import math

import numpy as np

from vibsim.engine.friction import friction_law
from vibsim.inputs.friction_models import Accessory, Alternator, ConstantAccessory, OilPump, WaterPump
from vibsim.inputs.models import Engine
from vibsim.jit import inlined

RAMP = 1.2  # of the cut-in speed, where an alternator has taken up its load: a stand-in, so that no torque jumps

# `body` that takes the torque (−1 ground); at the crank: torque held at any speed, dry torque, torque per speed and per
# squared speed, power (W) taken from `cut_in` (rad/s) on and fully from `full` on, at a torque of at most `limit`
ACCESSORY = np.dtype(
    [("body", np.int64)]
    + [(name, float) for name in ("held", "dry", "viscous", "square", "power", "cut_in", "full", "limit")]
)


def pack_accessory(accessory: Accessory, body: int) -> np.ndarray:
    """One record of an accessory whose torque `body` takes."""
    ratio, record = abs(accessory.ratio), np.zeros((), dtype=ACCESSORY)
    record["body"], record["full"] = body, 1.0
    if isinstance(accessory, WaterPump):
        record["square"] = accessory.rated_power * (ratio / accessory.rated_speed) ** 3
    elif isinstance(accessory, OilPump):
        shaft = accessory.relief_pressure * accessory.displacement / (2.0 * math.pi * accessory.efficiency)
        record["dry"] = ratio * shaft
    elif isinstance(accessory, Alternator):
        record["power"] = accessory.electrical_power / accessory.efficiency
        record["cut_in"] = accessory.cut_in_speed / ratio
        record["full"] = RAMP * record["cut_in"]
        record["limit"] = math.inf if accessory.torque_limit is None else ratio * accessory.torque_limit
    elif isinstance(accessory, ConstantAccessory):
        record["dry"] = ratio * accessory.torque
    return record


def pack_accessories(engine: Engine, bodies: list[int], carrier: int) -> tuple[tuple[float, float, float], np.ndarray]:
    """Dry torque, torque per speed and per squared speed of the accessories that need no more; records of the others.

    `bodies` (n) take the torque of the engine's accessories, −1 ground; whatever another body than the carrier takes
    needs a record.
    """
    records = np.array([pack_accessory(a, body) for a, body in zip(engine.accessory, bodies, strict=True)], ACCESSORY)
    plain = (records["body"] == carrier) & (records["power"] == 0.0)
    drag = tuple(float(records[name][plain].sum()) for name in ("dry", "viscous", "square"))
    return drag, records[~plain]  # type: ignore[return-value]


@inlined
def accessory_torque(speed, accessory):
    """Torque (N m) of one record against the rotation at crank speed (rad/s)."""
    torque = accessory.held + friction_law(speed, accessory.dry, accessory.viscous, accessory.square)
    size = abs(speed)
    if accessory.power > 0.0 and size > accessory.cut_in:
        share = min((size - accessory.cut_in) / (accessory.full - accessory.cut_in), 1.0)
        torque += math.copysign(share * min(accessory.power / size, accessory.limit), speed)
    return torque


def held_at(accessories: np.ndarray, speed: float) -> np.ndarray:
    """Records that keep the torque they have at a crank speed (rad/s), for statics, where the crank stands still."""
    held = np.zeros(accessories.size, dtype=ACCESSORY)
    held["body"], held["full"] = accessories["body"], 1.0
    held["held"] = [accessory_torque(speed, record) for record in accessories]
    return held
