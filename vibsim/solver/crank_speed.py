"""Crank speed over a cycle on a still block, from the energy of the crank train: without a run.

½·(C(θ) + ΔI)·ω² = E + ∫(gas − losses − load) dθ, E set for the mean speed (derived; C the inertia felt at the crank).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vibsim.inputs.errors import VibsimError
from vibsim.solver.crank_torque import TorqueCourse

Law = tuple[float, float]  # N m s and N m s² of a load that grows with speed


@dataclass(frozen=True, eq=False)
class CrankSpeed:
    """Over crank angle (n) rad: net torque and load at constant speed N m, crank speed rad/s that comes of them."""

    angle: np.ndarray
    net: np.ndarray
    load: np.ndarray
    speed: np.ndarray

    @property
    def fluctuation(self) -> float:
        """Of the mean speed over time."""
        return float(np.ptp(self.speed) * np.mean(1.0 / self.speed))


def crank_speed(course: TorqueCourse, mean_speed: float, period: float, added: float, law: Law) -> CrankSpeed:
    """Crank speed over a period (rad) on a still block with inertia added (kg m²), for a mean speed (rad/s), under a
    load that holds it and grows by `law` with the speed.

    Raises VibsimError where the crank would stand still, or the load's law keeps it from settling.
    """
    angle, step, inertia = course.angle, course.angle[1], course.felt + added
    mean = float(inertia.mean())
    speeds = np.full_like(angle, mean_speed)
    for _ in range(200):
        load = law[0] * speeds + law[1] * speeds**2
        load = load + (course.gas.mean() - course.losses - load.mean())
        rest = course.gas - course.losses - load
        work = np.concatenate([[0.0], np.cumsum(0.5 * (rest + np.roll(rest, -1)))[:-1]]) * step
        new = _speeds_of(work, inertia, mean_speed, mean)
        change = float(np.abs(new - speeds).max())
        speeds = new if law == (0.0, 0.0) else 0.5 * (new + speeds)
        if change < 1e-10 * mean_speed or law == (0.0, 0.0):
            return CrankSpeed(angle, course.net, load, speeds)
    raise VibsimError("engine.load: grows too steeply with speed for its energy to be found; use --load-line constant")


def _speeds_of(work: np.ndarray, inertia: np.ndarray, mean_speed: float, mean: float) -> np.ndarray:
    """Speeds (n) rad/s from work done since the first (n) J, with the energy that gives the mean speed over time."""
    energy = 0.5 * mean * mean_speed**2 - float(work.mean())
    for _ in range(60):
        square = 2.0 * (energy + work) / inertia
        if square.min() <= 0.0:
            energy += 1.1 * abs(0.5 * float(square.min())) * float(inertia.max()) + 1e-6 * mean * mean_speed**2
            square = 2.0 * (energy + work) / inertia
        speeds = np.sqrt(np.maximum(square, 1e-12))
        found = 1.0 / float(np.mean(1.0 / speeds))
        if abs(found / mean_speed - 1.0) < 1e-13:
            break
        energy += 0.5 * mean * (mean_speed**2 - found**2)
    if abs(found / mean_speed - 1.0) > 1e-6:
        raise VibsimError(
            f"the crank would stand still within a cycle at {mean_speed * 30.0 / math.pi:.0f} rpm: its inertia holds "
            "less energy than the torque swings by; raise engine.crank.inertia or the speed"
        )
    return speeds
