"""The dynamic stiffness of a mount: complex force per deflection at a frequency, about a preload."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from vibsim.inputs.models import LinearMount, MountBase, ProgressiveMount

# (mount, frequencies (...) Hz, deflection of its preload (3) m in its own axes) -> complex (..., 3, 3) N/m, the same
DynamicStiffness = Callable[[MountBase, np.ndarray | float, np.ndarray], np.ndarray]
PLAIN = (LinearMount, ProgressiveMount)  # spring and viscous damper: the linear model's own matrices say it all


def dynamic_stiffness(mount: MountBase, frequency: np.ndarray | float, preload: np.ndarray) -> np.ndarray:
    """Complex stiffness (..., 3, 3) N/m in the mount's axes at frequencies (...) Hz, about a deflection (3) m in the
    same axes.

    Spring and viscous damper: k + i·2πf·c; of a progressive one k is the tangent k·(1 + (d/d₂)²).
    """
    stiffness = np.array(mount.stiffness)
    if isinstance(mount, ProgressiveMount):
        stiffness = stiffness * (1.0 + (preload / np.array(mount.doubling_deflection)) ** 2)
    turning = 2j * math.pi * np.asarray(frequency, dtype=float)[..., None, None]
    return np.asarray(np.diag(stiffness) + turning * np.diag(mount.damping))
