"""What gearbox, chain and final drive feel of the engine's torque.

Two bounds, between which a driveline of some stiffness lies: soft, so that the crank's inertia smooths the torque and
the load's own law is all that is left (`load_torque` of the run); and stiff with a heavy vehicle behind, so that the
crank cannot give way and passes all of the net torque on (derived: with constant speed no inertia takes any of it up).
Losses take from the driving side: torque that drives is multiplied by an efficiency, torque that brakes divided.
"""

from __future__ import annotations

import numpy as np

from vibsim.post.cyclic import cycles_of
from vibsim.post.torque import torques
from vibsim.results.labelled import Group

PATHS = ("soft", "stiff")


def output_group(results: Group) -> Group | None:
    """Per path and place (crank, gearbox and wheels in each gear): mean, least, greatest torque, swing, share of
    negative torque; reversals per second. None without an engine or a whole cycle."""
    found = cycles_of(results)
    if found is None or "engine" not in results.groups:
        return None
    grid, facts = found[0], results.groups["engine"]
    courses = [grid["load_torque"], torques(grid)[:, -1]]
    places = _places(facts)
    group = Group(
        attributes={
            "soft": "the load's own torque: the crank's inertia takes up the ripple",
            "stiff": "all of the net torque: the driven side holds the speed",
            "reversals": "changes of sign per second, over whole cycles",
        }
    )
    group.add("path", ("path",), np.array(PATHS, dtype=object), "1", "how stiff the driveline is")
    group.add("place", ("place",), np.array([name for name, *_ in places], dtype=object), "1", "where")
    values = np.array([[_through(torque, *stage) for _, *stage in places] for torque in courses])
    both = ("path", "place")
    group.add("mean", both, values.mean(axis=2), "N m", "mean torque")
    group.add("least", both, values.min(axis=2), "N m", "least torque")
    group.add("greatest", both, values.max(axis=2), "N m", "greatest torque")
    group.add("swing", both, np.ptp(values, axis=2), "N m", "greatest less least torque")
    group.add("negative_share", both, (values < 0.0).mean(axis=2), "1", "share of crank angle with negative torque")
    seconds = len(grid["crank_speed"]) * _step(grid) * float(np.mean(1.0 / np.abs(grid["crank_speed"])))
    turned = [[reversals(torque) / seconds for torque in path] for path in values]
    group.add("reversals", both, np.array(turned), "s-1", "changes of sign of the torque per second")
    return group


def reversals(torque: np.ndarray) -> int:
    """Changes of sign of a torque (n) that repeats."""
    signs = np.sign(torque[torque != 0.0])
    return int(np.count_nonzero(signs != np.roll(signs, 1))) if len(signs) else 0


def _step(grid: Group) -> float:
    return float(next(grid[name] for name in ("cycle_angle", "angle") if name in grid)[1])


def _places(facts: Group) -> list[tuple[str, float, float]]:
    """Name, ratio and efficiency of every place."""
    places = [("crank", 1.0, 1.0)]
    if "gear_ratio" not in facts:
        return places
    at = facts.attributes
    for number, ratio in enumerate(map(float, facts["gear_ratio"]), start=1):
        box, final = at["gearbox_efficiency"], at["final_drive_efficiency"]
        places.append((f"gearbox, gear {number}", ratio, box))
        places.append((f"wheels, gear {number}", ratio * at["final_drive_ratio"], box * final))
    return places


def _through(torque: np.ndarray, ratio: float, efficiency: float) -> np.ndarray:
    return torque * ratio * np.where(torque >= 0.0, efficiency, 1.0 / efficiency)
