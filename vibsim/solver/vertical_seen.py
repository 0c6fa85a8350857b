"""What wheels and occupants do, from states of a run."""

from __future__ import annotations

import numpy as np

from vibsim.jit import kernel
from vibsim.solver.motion import ENGINE, derivatives
from vibsim.solver.mount_motion import WORK, point_motion
from vibsim.solver.packed import Packed
from vibsim.solver.vertical_motion import wheel_forces
from vibsim.structure.vertical_parts import Parts, contact, road_under

# name: dimensions after the first, units, description
SEEN: dict[str, tuple[tuple[str, ...], str, str]] = {
    "wheel_travel": (("wheel",), "m", "rise of the wheel against its body from as drawn, along vehicle Z"),
    "tyre_force": (("wheel", "axis"), "N", "force of the road on the tyre, vehicle axes"),
    "suspension_force": (("wheel",), "N", "force of spring, stops and damper at the wheel, positive pushes apart"),
    "wheel_acceleration": (("wheel",), "m s-2", "acceleration of the wheel along vehicle Z, without gravity"),
    "occupant_acceleration": (
        ("occupant",),
        "m s-2",
        "acceleration between person and seat along vehicle Z, without gravity",
    ),
    "occupant_force": (("occupant",), "N", "force of the seat on the person along vehicle Z"),
    "cushion_compression": (("occupant",), "m", "of the seat under the person from as drawn"),
    "road_height": (("wheel",), "m", "height of the road under the wheel, as the tyre's contact filters it"),
}


@kernel
def _see(states, model, parts, travel, tyre, spring, wheel_rate, seat_rate, seat, cushion, road):
    w, e, out = np.zeros((model.bodies.size, WORK)), np.zeros(ENGINE), np.zeros(states.shape[1])
    for k in range(states.shape[0]):
        y = states[k]
        derivatives(y, model, w, e, out)
        for n in range(parts.wheels.size):
            _, _, height, fx, fy, push, up, _, _, _ = wheel_forces(n, y, parts, w)
            at = parts.wheels[n].state
            road[k, n], _ = road_under(parts.road, parts.wheels[n].ahead, parts.wheels[n].track, y[parts.distance])
            tyre[k, n, 0], tyre[k, n, 1], tyre[k, n, 2] = fx, fy, push
            travel[k, n], spring[k, n], wheel_rate[k, n] = y[at] - height, up, out[at + 1]
        for n in range(parts.occupants.size):
            person = parts.occupants[n]
            at = person.state
            _, _, height, _, _, speed = point_motion(person.body, person.x, person.y, person.z, y, w)
            cushion[k, n], seat_rate[k, n] = height - y[at], out[at + 1]
            seat[k, n] = contact(person.stiffness, person.damping, height - y[at], speed - y[at + 1])


def see_parts(states: np.ndarray, packed: Packed) -> dict[str, np.ndarray]:
    """Quantities of SEEN at states (n, state); none without wheels and occupants."""
    parts: Parts | None = packed.model.parts
    if parts is None:
        return {}
    size = {"wheel": parts.wheels.size, "occupant": parts.occupants.size, "axis": 3}
    found = {
        name: np.zeros((len(states), *(size[dimension] for dimension in dimensions)))
        for name, (dimensions, _, _) in SEEN.items()
    }
    _see(states, packed.model, parts, *found.values())
    if not parts.road.height.size:
        del found["road_height"]
    return {name: values for name, values in found.items() if values.size}
