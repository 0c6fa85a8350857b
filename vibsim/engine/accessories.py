"""What the crank drives beside its load: pumps and alternator, as torques felt at the crank against its rotation.

Laws of each accessory's own shaft (derived from power = torque × speed), felt at the crank times |ratio|. The pull of
a belt on its two bearings is left out: an accessory's torque acts as a couple about the crank's direction.
"""

from __future__ import annotations

import math

import numpy as np

from vibsim.engine.friction import LOSS, friction_law, pack_friction
from vibsim.engine.layout import Layout
from vibsim.engine.packed_gas import Gas
from vibsim.inputs.friction_models import Accessory, Alternator, ConstantAccessory, OilPump, WaterPump
from vibsim.inputs.models import Engine
from vibsim.jit import bare

RAMP = 1.2  # of the cut-in speed, where an alternator has taken up its load: a stand-in, so that no torque jumps


def pack_accessory(accessory: Accessory, body: int) -> np.ndarray:
    """One record of an accessory whose torque `body` takes."""
    ratio, record = abs(accessory.ratio), np.zeros((), dtype=LOSS)
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


def pack_losses(engine: Engine, layout: Layout, gas: Gas, bodies: list[int], carrier: int) -> np.ndarray:
    """Records of friction at each node of the gas, of all plain accessories that the block reacts as one, of the rest.

    `bodies` (n) take the torque of the engine's accessories, −1 ground. Plain is what has no power law. They belong to
    this gas: another in the model wants them packed anew.
    """
    friction = pack_friction(engine, layout, gas)
    if not engine.accessory:
        losses = np.zeros(friction.size + 1, dtype=LOSS)
        losses[:-1], losses["body"][-1] = friction, carrier
        return losses
    records = np.array([pack_accessory(a, body) for a, body in zip(engine.accessory, bodies, strict=True)], dtype=LOSS)
    plain = (records["body"] == carrier) & (records["power"] == 0.0)
    drag = np.zeros(1, dtype=LOSS)
    drag["body"] = carrier
    for name in ("dry", "viscous", "square"):
        drag[name] = records[name][plain].sum()
    return np.concatenate([friction, drag, records[~plain]])


def no_losses() -> np.ndarray:
    """Records of no friction and no accessories, for the one node of no gas."""
    return np.zeros(2, dtype=LOSS)


@bare
def accessory_torque(speed, accessory):
    """Torque (N m) of one record against the rotation at crank speed (rad/s)."""
    torque = accessory.held + friction_law(speed, accessory.dry, accessory.viscous, accessory.square)
    size = abs(speed)
    if accessory.power > 0.0 and size > accessory.cut_in:
        share = min((size - accessory.cut_in) / (accessory.full - accessory.cut_in), 1.0)
        torque += math.copysign(share * min(accessory.power / size, accessory.limit), speed)
    return torque


def held_at(losses: np.ndarray, nodes: int, speed: float) -> np.ndarray:
    """Records with the accessories' torque held as it is at a crank speed (rad/s), for statics, where the crank stands
    still; `nodes` of the gas, how many."""
    held, first = np.zeros_like(losses), nodes + 1
    held["body"], held["full"] = losses["body"], 1.0
    held["held"][first:] = [accessory_torque(speed, record) for record in losses[first:]]
    return held
