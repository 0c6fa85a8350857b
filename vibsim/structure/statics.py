"""Static equilibrium of bodies on nonlinear mounts: damped Newton with the load brought on in steps."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from vibsim.inputs.errors import RunFailure

UNSTABLE = 1e-6  # of the greatest stiffness, beyond what differences leave of a neutral direction
SLACK = 1e-8  # of the greatest stiffness: a direction softer than this is free
FORCE_TOLERANCE = 1e-8  # of the largest load
LARGEST_MOVE = np.array([0.05, 0.05, 0.05, 0.2, 0.2, 0.2])  # m, rad in one Newton step
DIRECTIONS = ("X", "Y", "Z", "roll about X", "pitch about Y", "yaw about Z")

Function = Callable[[np.ndarray, float], np.ndarray]


@dataclass(frozen=True)
class Equilibrium:
    """Displacements (bodies, 6): translation (m) and rotation vector (rad); largest force left over (N)."""

    displacement: np.ndarray
    residual: float


def find_equilibrium(residual: Function, names: list[str], scale: float, slope: Function) -> Equilibrium:
    """Solve residual(x, share) = 0 at the whole load.

    `residual` gives forces and moments (6 per body, N and N m) at displacements x (6 per body) under a share of the
    load, `slope` how they change with x, square; `scale` is the largest load (N). Tries the whole load at once, then
    ever smaller shares, each from where the last one came to rest.
    Raises RunFailure naming the body and direction that nothing holds, or that Newton's method did not close.
    """
    x, share, step = np.zeros(6 * len(names)), 0.0, 1.0
    while share < 1.0:
        trial = _newton(residual, slope, x, min(1.0, share + step), scale)
        if trial is not None:
            x, share, step = trial, min(1.0, share + step), 2.0 * step
            continue
        step *= 0.25
        if step < 1e-3:
            raise RunFailure(_explain(residual, slope, x, names))
    _require_stability(slope, x, names)
    left = float(np.abs(residual(x, 1.0)).max())
    return Equilibrium(x.reshape(-1, 6), left)


def _newton(residual: Function, slope: Function, x: np.ndarray, share: float, scale: float) -> np.ndarray | None:
    x = x.copy()
    limit = np.tile(LARGEST_MOVE, x.size // 6)
    force = residual(x, share)
    for _ in range(60):
        if np.abs(force).max() <= FORCE_TOLERANCE * scale:
            return x
        move = np.linalg.lstsq(slope(x, share), -force, rcond=1e-10)[0]
        move /= max(1.0, float(np.max(np.abs(move) / limit)))
        factor, size = 1.0, np.linalg.norm(force)
        while factor > 1e-4:
            trial_force = residual(x + factor * move, share)
            if np.linalg.norm(trial_force) < size * (1.0 - 1e-4 * factor):
                break
            factor *= 0.5
        else:
            return None
        x, force = x + factor * move, trial_force
    return None


def _require_stability(slope: Function, x: np.ndarray, names: list[str]) -> None:
    """An equilibrium that a push makes worse is none to start from."""
    found = slope(x, 1.0)
    push, shapes = np.linalg.eigh(0.5 * (found + found.T))
    if push[-1] > UNSTABLE * max(-push[0], 1.0):
        body, direction = divmod(int(np.abs(shapes[:, -1]).argmax()), 6)
        raise RunFailure(
            f"static equilibrium is unstable: body '{names[body]}' tips over in {DIRECTIONS[direction]}; check mount "
            "at_mm and stiffness_N_per_mm against its centre of mass"
        )


def _explain(residual: Function, slope: Function, x: np.ndarray, names: list[str]) -> str:
    """Say which body is free to move and where: the loaded one of the directions in which the stiffness vanishes."""
    _, sizes, rows = np.linalg.svd(slope(x, 0.0))
    free = rows[sizes <= SLACK * sizes[0]]
    if len(free):
        pushed = free.T @ (free @ residual(x, 1.0))
        body, direction = divmod(int(np.abs(pushed).argmax()), 6)
        return (
            f"no static equilibrium: body '{names[body]}' is not held in {DIRECTIONS[direction]}; add a mount, or set "
            'run.gravity = false or run.start = "drawn"'
        )
    body, direction = divmod(int(np.abs(rows[-1]).argmax()), 6)
    return (
        f"no static equilibrium found: body '{names[body]}' moves too far in {DIRECTIONS[direction]}; check mount "
        "stiffness_N_per_mm"
    )
