"""Wheels and occupants in the linear model: their heights as unknowns after those of the bodies."""

from __future__ import annotations

import numpy as np

from vibsim.solver.near_rest import LENGTH_STEP, SPEED_STEP
from vibsim.solver.start import AtRest
from vibsim.structure.vertical_parts import Parts, part_heights, part_masses


def with_parts(
    rest: AtRest, start: np.ndarray, parts: Parts, mass: np.ndarray, slope: np.ndarray, drag: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Mass, slope and drag (unknowns, square) with the heights of `parts`, from those of the bodies (6 per body) with
    the heights held, about state `start`.

    What a height does to the bodies is a difference of forces; what bodies do to it is the transpose, for a part and
    its body push on each other along one line (derived); what heights do to each other are differences of their rates.
    """
    size, heights, weights = len(mass), part_heights(parts), part_masses(parts)
    whole = [np.zeros((size + len(heights),) * 2) for _ in range(3)]
    for wide, narrow in zip(whole, (mass, slope, drag), strict=True):
        wide[:size, :size] = narrow
    whole[0][range(size, len(whole[0])), range(size, len(whole[0]))] = weights
    for wide, later, step in ((whole[1], 0, LENGTH_STEP), (whole[2], 1, SPEED_STEP)):
        for n, state in enumerate(heights):
            ends = [_pushed(rest, start, state + later, sign * step, heights, weights) for sign in (1.0, -1.0)]
            change = (ends[0] - ends[1]) / (2.0 * step)
            wide[:, size + n] = change
            wide[size + n, :size] = change[:size]
    return whole[0], whole[1], whole[2]


def _pushed(
    rest: AtRest, start: np.ndarray, state: int, step: float, heights: list[int], weights: np.ndarray
) -> np.ndarray:
    """Forces on bodies (6 per body) and on the heights' masses, with one state changed by a step."""
    moved = start.copy()
    moved[state] += step
    force, rates = rest.frozen_forces(moved)
    return np.concatenate([force, weights * rates[[height + 1 for height in heights]]])


def widened(
    slope: np.ndarray, drag: np.ndarray, stiffness: np.ndarray, damping: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Slopes and drags (n, unknowns, square) with the heights of wheels and occupants, from those of the bodies alone
    (n, 6 per body) whose slopes have the heights at rest everywhere.

    What the heights add is that of `stiffness` and `damping` (unknowns, square), about the same load with other
    mounts: at rest they took K_bp·K_pp⁻¹·K_pb of the bodies' stiffness away (derived: static condensation).
    """
    size = slope.shape[-1]
    across, own = stiffness[:size, size:], stiffness[size:, size:]
    wide = [np.repeat(-matrix[None], len(slope), axis=0) for matrix in (stiffness, damping)]
    wide[0][:, :size, :size] = slope - across @ np.linalg.solve(own, across.T)
    wide[1][:, :size, :size] = drag
    return wide[0], wide[1]
