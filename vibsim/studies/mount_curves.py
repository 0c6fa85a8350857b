"""Load–deflection curves of mounts as they are at rest, taken from the model itself, whatever their law."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vibsim.inputs.loader import CaseFile
from vibsim.solver.observe import observe
from vibsim.solver.packed import Packed
from vibsim.solver.start import AtRest
from vibsim.studies.load_cases import pack_for_statics
from vibsim.studies.statics import Statics, mount_axes

POINTS = 81
SMALL = 1e-5  # m
BEYOND = 1.25  # of the greatest deflection of any case


@dataclass(frozen=True)
class MountCurve:
    """One mount along each of its own axes: `deflection` (3, points) m and `force` (3, points) N on the first body, the
    restoring force, so that it rises with the deflection."""

    name: str
    deflection: np.ndarray
    force: np.ndarray


def mount_curves(case_file: CaseFile, statics: Statics) -> list[MountCurve]:
    """Curves of the mounts in `statics`, as far as any of its cases goes and a quarter more.

    One body is shifted along one axis of the mount at a time, everything else as drawn.
    """
    packed = pack_for_statics(case_file)
    rest = AtRest(packed)
    names = [mount.name for mount in case_file.case.mount]
    travel = np.abs([standing.own_deflection for standing in statics.gears + statics.loads]).max(axis=0)
    return [
        _curve(packed, rest, name, names.index(name), BEYOND * np.maximum(travel[n], 1e-4), POINTS)
        for n, name in enumerate(statics.mounts)
    ]


def mount_rates(case_file: CaseFile) -> np.ndarray:
    """Tangent rates (mounts, 3) N/m of all mounts along their own axes as drawn, whatever their law."""
    packed = pack_for_statics(case_file)
    rest = AtRest(packed)
    step = np.full(3, SMALL)
    found = []
    for n, mount in enumerate(case_file.case.mount):
        curve = _curve(packed, rest, mount.name, n, step, 3)
        found.append((curve.force[:, 2] - curve.force[:, 0]) / (2.0 * SMALL))
    return np.array(found).reshape(-1, 3)


def _curve(packed: Packed, rest: AtRest, name: str, index: int, travel: np.ndarray, points: int) -> MountCurve:
    mount = packed.model.mounts[index]
    second = mount["second"] >= 0
    body, sign = (int(mount["second"]), 1.0) if second else (int(mount["first"]), -1.0)
    still = np.zeros((len(packed.names), 6))
    axes = mount_axes(packed, rest.state(still))[index]
    shares = np.linspace(-1.0, 1.0, points)
    deflection, force = np.outer(travel, shares), np.zeros((3, points))
    for axis in range(3):
        states = []
        for value in deflection[axis]:
            moved = still.copy()
            moved[body, :3] = sign * value * axes[axis]
            states.append(rest.state(moved))
        seen = observe(np.array(states), packed, ())
        force[axis] = -(seen.mount_force[:, index] @ axes[axis])
    return MountCurve(name, deflection, force)
