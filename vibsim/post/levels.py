"""Forces through mounts and accelerations at sensors in numbers: mean, peak, root mean square."""

from __future__ import annotations

import numpy as np

from vibsim.post.orders import angle_grid
from vibsim.results.labelled import Group


def exact_values(results: Group, name: str) -> np.ndarray:
    """A variable over one exact cycle in a steady run, over the whole time record otherwise."""
    found = angle_grid(results)
    return found[0][name] if found is not None and found[2] else results[name]


def mount_force_group(results: Group) -> Group | None:
    """Mean, peak and root mean square of the force of every mount, per axis and of the whole vector."""
    if "mount_force" not in results:
        return None
    force = exact_values(results, "mount_force")
    varying = force - force.mean(axis=0)
    group = Group(attributes={"over": _span(results), "rms": "of the force less its mean"})
    dims = ("mount", "axis")
    group.add("mean", dims, force.mean(axis=0), "N", "mean force")
    group.add("peak", dims, np.abs(force).max(axis=0), "N", "greatest size of the force")
    group.add("rms", dims, np.sqrt((varying**2).mean(axis=0)), "N", "root mean square of the varying force")
    whole, turning = np.linalg.norm(force, axis=2), np.linalg.norm(varying, axis=2)
    mean = np.linalg.norm(force.mean(axis=0), axis=1)
    group.add("resultant_mean", ("mount",), mean, "N", "size of the mean force vector")
    group.add("resultant_peak", ("mount",), whole.max(axis=0), "N", "greatest size of the force vector, mean in it")
    group.add("varying_peak", ("mount",), turning.max(axis=0), "N", "greatest size of the varying force vector")
    group.add("resultant_rms", ("mount",), np.sqrt((turning**2).mean(axis=0)), "N", "rms of the varying force vector")
    return group


def sensor_group(results: Group) -> Group | None:
    """Peak and root mean square of the acceleration of every sensor, per axis and of the whole vector."""
    if "sensor_acceleration" not in results:
        return None
    felt = exact_values(results, "sensor_acceleration")
    group = Group(attributes={"over": _span(results), "weighting": "none"})
    dims = ("sensor", "axis")
    whole = np.linalg.norm(felt, axis=2)
    group.add("peak", dims, np.abs(felt).max(axis=0), "m s-2", "greatest size of the acceleration")
    group.add("rms", dims, np.sqrt((felt**2).mean(axis=0)), "m s-2", "root mean square of the acceleration")
    crest = np.divide(group["peak"], group["rms"], out=np.zeros_like(group["rms"]), where=group["rms"] > 0.0)
    group.add("crest_factor", dims, crest, "1", "peak over root mean square; 0 where nothing moves")
    group.add("resultant_peak", ("sensor",), whole.max(axis=0), "m s-2", "greatest size of the acceleration vector")
    group.add("resultant_rms", ("sensor",), np.sqrt((whole**2).mean(axis=0)), "m s-2", "rms of the acceleration vector")
    return group


def _span(results: Group) -> str:
    found = angle_grid(results)
    if found is not None and found[2]:
        return "one working cycle, equal steps of crank angle"
    return "the whole record, equal steps of time"
