"""Excess of energy over a cycle, and the flywheel that keeps the speed within bounds.

What a torque gives beyond the load speeds the crank up: ½I(ω²greatest − ω²least) = ΔE, so that with the mean speed ω
halfway between the two, ΔE = I·ω²·Cs (Khurmi & Gupta, Theory of Machines, ch. 16). ΔE is the greatest less the least
of ∫(torque − load) dθ.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Excess:
    """Greatest swing of energy J, where it is least and greatest (rad), work of the torque over the cycle J."""

    swing: float
    least_at: float
    greatest_at: float
    work: float

    @property
    def coefficient(self) -> float | None:
        """Coefficient of fluctuation of energy: the swing over the work of a cycle; None where there is no work."""
        return self.swing / self.work if self.work > 0.0 else None


def excess_of(angle: np.ndarray, torque: np.ndarray, load: np.ndarray | float | None = None) -> Excess:
    """Energy excess of a torque (n) N m over crank angles (n) rad from a cycle's start to its end, both in.

    `load` (n) or one number, N m; None is the mean torque. Torque and load are taken as straight between the angles and
    the extremes lie at the zeros of their difference, so that what is made of straight lines is met exactly; twice the
    same angle is a step.
    """
    steps = np.diff(angle)
    work = float(np.sum(0.5 * (torque[1:] + torque[:-1]) * steps))
    load = work / (angle[-1] - angle[0]) if load is None else load
    rest = np.asarray(torque - load, dtype=float)
    before, after = rest[:-1], rest[1:]
    crossing = before * after < 0.0
    share = np.where(crossing, before / np.where(crossing, before - after, 1.0), 0.0)
    ends = np.concatenate([[0.0], np.cumsum(0.5 * (before + after) * steps)])
    inner = ends[:-1][crossing] + 0.5 * (before * share * steps)[crossing]
    energy = np.concatenate([ends, inner])
    places = np.concatenate([angle, (angle[:-1] + share * steps)[crossing]])
    low, high = int(energy.argmin()), int(energy.argmax())
    return Excess(float(energy[high] - energy[low]), float(places[low]), float(places[high]), work)


def excess_over_cycle(torque: np.ndarray, cycle: float, load: np.ndarray | float | None = None) -> Excess:
    """The same of a torque (n) over equal steps of one cycle (rad), its end left out."""
    angle = np.linspace(0.0, cycle, len(torque) + 1)
    if isinstance(load, np.ndarray):
        load = np.append(load, load[0])
    return excess_of(angle, np.append(torque, torque[0]), load)


def flywheel_inertia(swing: float, speed: float, fluctuation: float) -> float:
    """Inertia (kg m²) that keeps the coefficient of speed fluctuation at a swing of energy (J) and a mean speed
    (rad/s): ΔE/(ω²·Cs)."""
    return swing / (speed**2 * fluctuation)


def fluctuation_with(swing: float, speed: float, inertia: float) -> float:
    """Coefficient of speed fluctuation of an inertia (kg m²): ΔE/(I·ω²)."""
    return swing / (inertia * speed**2)
