"""The dynamic stiffness of a mount: complex force per deflection at a frequency, about a preload."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np

from vibsim.inputs.mount_models import LinearMount, MountBase, ProgressiveMount
from vibsim.structure import mount_dynamics

# (mount, frequencies (...) Hz, deflection of its preload (3) m in its own axes) -> complex (..., 3, 3) N/m, the same
DynamicStiffness = Callable[[MountBase, np.ndarray | float, np.ndarray], np.ndarray]
SLOWEST = 1e-3  # Hz, taken for 0, where the fluid of a hydraulic mount could lie anywhere


def dynamic_stiffness(
    mount: MountBase, frequency: np.ndarray | float, preload: np.ndarray, folder: Path = Path()
) -> np.ndarray:
    """Complex stiffness (..., 3, 3) N/m in the mount's axes at frequencies (...) Hz, about a deflection (3) m in the
    same axes; `folder` that of the case's CSV files.

    Spring and viscous damper: k + i·2πf·c; of a progressive one k is the tangent k·(1 + (d/d₂)²). Other laws are made
    linear there, friction at a small amplitude.
    """
    if not isinstance(mount, LinearMount | ProgressiveMount) or any(mount.cross_stiffness):
        return mount_dynamics.dynamic_stiffness(mount, np.maximum(frequency, SLOWEST), preload, folder)
    stiffness = np.array(mount.stiffness)
    if isinstance(mount, ProgressiveMount):
        stiffness = stiffness * (1.0 + (preload / np.array(mount.doubling_deflection)) ** 2)
    turning = 2j * math.pi * np.asarray(frequency, dtype=float)[..., None, None]
    return np.asarray(np.diag(stiffness) + turning * np.diag(mount.damping))


def stiffness_in(folder: Path, stiffness_of: DynamicStiffness) -> DynamicStiffness:
    """The same function, `dynamic_stiffness` reading its files in a folder."""
    return partial(dynamic_stiffness, folder=folder) if stiffness_of is dynamic_stiffness else stiffness_of
