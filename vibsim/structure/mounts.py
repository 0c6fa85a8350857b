"""Mount laws: the force of a mount from its deflection and its rate, in the mount's own axes.

A law is one jitted function of (record, d, v) that returns three force components on the second body. To add one: write
the function, give it a number and a branch in `mount_force`, enter what it needs beyond rates in LAWS, give its keys a
model in `inputs.models`, and test it.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from vibsim.inputs.models import LinearMount, MountBase, ProgressiveMount
from vibsim.jit import inlined
from vibsim.structure.rotation import turns_about_fixed_axes

LINEAR, PROGRESSIVE = 0, 1


# one record per mount: bodies (−1 ground), law, points in the bodies' own axes (m), matrix from the first body's own
# axes to the mount's, rates along the mount's axes (N/m, N s/m) and three further numbers of the law
MOUNT = np.dtype(
    [(name, np.int64) for name in ("first", "second", "law")]
    + [(name, float) for name in ("first_x", "first_y", "first_z", "second_x", "second_y", "second_z")]
    + [(name, float) for name in ("xx", "xy", "xz", "yx", "yy", "yz", "zx", "zy", "zz")]
    + [(name, float) for name in ("stiff_x", "stiff_y", "stiff_z", "damp_x", "damp_y", "damp_z")]
    + [(name, float) for name in ("more_x", "more_y", "more_z")]
)


@inlined
def linear(m, dx, dy, dz, vx, vy, vz):
    """Spring and viscous damper along three axes."""
    return -m.stiff_x * dx - m.damp_x * vx, -m.stiff_y * dy - m.damp_y * vy, -m.stiff_z * dz - m.damp_z * vz


@inlined
def progressive(m, dx, dy, dz, vx, vy, vz):
    """Stiffness k·(1 + (d/d₂)²) along each axis, d₂ in `more`; the force is its integral, k·d·(1 + (d/d₂)²/3)."""
    hx, hy, hz = dx / m.more_x, dy / m.more_y, dz / m.more_z
    return (
        -m.stiff_x * dx * (1.0 + hx * hx / 3.0) - m.damp_x * vx,
        -m.stiff_y * dy * (1.0 + hy * hy / 3.0) - m.damp_y * vy,
        -m.stiff_z * dz * (1.0 + hz * hz / 3.0) - m.damp_z * vz,
    )


@inlined
def mount_force(m, dx, dy, dz, vx, vy, vz):
    """Force (N) on the second body in mount axes; m the mount's record, d deflection (m), v its rate (m/s)."""
    if m.law == PROGRESSIVE:
        return progressive(m, dx, dy, dz, vx, vy, vz)
    return linear(m, dx, dy, dz, vx, vy, vz)


def _nothing_more(mount: MountBase) -> tuple[float, float, float]:
    return 0.0, 0.0, 0.0


def _doubling(mount: MountBase) -> tuple[float, float, float]:
    assert isinstance(mount, ProgressiveMount)
    return mount.doubling_deflection


LAWS: dict[type[MountBase], tuple[int, Callable[[MountBase], tuple[float, float, float]]]] = {
    LinearMount: (LINEAR, _nothing_more),
    ProgressiveMount: (PROGRESSIVE, _doubling),
}


def pack_mounts(
    mounts: tuple[MountBase, ...], names: list[str], centres: list[np.ndarray], axes: list[np.ndarray]
) -> np.ndarray:
    """Records (MOUNT) for the jitted code; `names`, `centres` (3) and own `axes` (3, 3) of the bodies as drawn."""
    packed = [_record(mount, names, centres, axes) for mount in mounts]
    return np.array(packed, dtype=MOUNT)


def _record(mount: MountBase, names: list[str], centres: list[np.ndarray], axes: list[np.ndarray]) -> tuple:
    point, first_axes = np.array(mount.at), np.eye(3)
    indices, points = [], []
    for name in mount.between:
        body = names.index(name) if name in names else -1
        indices.append(body)
        points.append(axes[body].T @ (point - centres[body]) if body >= 0 else point)
    if indices[0] >= 0:
        first_axes = axes[indices[0]]
    matrix = turns_about_fixed_axes(np.array(mount.axes)).T @ first_axes if any(mount.axes) else first_axes
    law, more = LAWS[type(mount)]
    numbers = (*points[0], *points[1], *matrix.ravel(), *mount.stiffness, *mount.damping, *more(mount))
    return (*indices, law, *(float(number) for number in numbers))
