"""Torsional vibration of a drivetrain made linear: natural frequencies and shapes, answer to torques at one frequency.

Angles about steady turning: M·x'' + C·x' + K·(1 + iη)·x = torque, with M the felt inertias (those of sliders and rods
their mean over a turn), and of every shaft C and K = c·rᵀ·r with r its row of `Drivetrain.incidence` (derived).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from vibsim.engine.drivetrain import Drivetrain

FREE_SHARE = 1e-9  # of the greatest squared frequency, below which a mode is turning as a whole


@dataclass(frozen=True, eq=False)
class TorsionModes:
    """Modes in order of frequency (n) Hz, 0 where all turns freely; `damping` (n) share of critical, by the undamped
    shape; `shape` (n, parts) angles, the largest 1; `kinetic` (n, parts) and `strain` (n, links) shares of energy;
    `torque` (n, links) N m in each shaft per radian of the largest angle; `stiffness` (links) N m/rad."""

    frequency: np.ndarray
    damping: np.ndarray
    shape: np.ndarray
    kinetic: np.ndarray
    strain: np.ndarray
    torque: np.ndarray
    stiffness: np.ndarray


def torsion_modes(found: Drivetrain, torque: float = 0.0) -> TorsionModes:
    """Modes about the twist under a mean load (N m, felt at the crank), where stages of a shaft make a difference."""
    from scipy.linalg import eigh

    stiffness, rows, inertia = found.stiffnesses(torque), found.incidence, found.inertias
    squares, shapes = eigh(rows.T @ (stiffness[:, None] * rows), np.diag(inertia))
    free = squares < FREE_SHARE * max(float(squares[-1]), 1e-300)
    squares = np.where(free, 0.0, squares)
    shapes = (shapes / shapes[np.abs(shapes).argmax(axis=0), range(len(squares))]).T
    twist, rate = shapes @ rows.T, np.sqrt(squares)
    kinetic = inertia * shapes**2
    strain = stiffness * twist**2
    whole = np.where(free, 1.0, strain.sum(axis=1))
    lost = (twist**2) @ np.array([link.damping for link in found.links]) * rate
    lost += strain @ np.array([link.loss_factor for link in found.links])
    return TorsionModes(
        frequency=rate / (2.0 * math.pi),
        damping=np.where(free, 0.0, 0.5 * lost / whole),
        shape=shapes,
        kinetic=kinetic / kinetic.sum(axis=1, keepdims=True),
        strain=np.where(free[:, None], 0.0, strain / whole[:, None]),
        torque=stiffness * twist,
        stiffness=stiffness,
    )


def dynamic_stiffness(found: Drivetrain, rates: np.ndarray, torque: float = 0.0) -> np.ndarray:
    """K(1 + iη) + iωC − ω²M (n, parts, parts) at circular frequencies (n) rad/s, about a mean load (N m)."""
    stiffness, rows, inertia = found.stiffnesses(torque), found.incidence, np.diag(found.inertias)
    lossy = stiffness * (1.0 + 1j * np.array([link.loss_factor for link in found.links]))
    damping = np.array([link.damping for link in found.links])
    per_link = lossy[None, :] + 1j * rates[:, None] * damping[None, :]
    return np.einsum("nl,la,lb->nab", per_link, rows, rows) - rates[:, None, None] ** 2 * inertia


def holzer_table(found: Drivetrain, modes: TorsionModes, index: int) -> list[dict[str, float | str]]:
    """Rows of one mode as Holzer's table has them (Thomson, ch. 12): per part inertia, angle and inertia torque J·ω²·θ
    (N m per radian of the largest angle), and the torque of the shaft that leaves it, with its stiffness."""
    square = (2.0 * math.pi * modes.frequency[index]) ** 2
    inertias, rows = found.inertias, []
    for n in found.chain:
        part, inertia = found.parts[n], inertias[n]
        angle = float(modes.shape[index, n])
        row: dict[str, float | str] = {
            "rotor": part.name,
            "inertia_kg_m2": float(inertia),
            "angle": angle,
            "inertia_torque_N_m": float(inertia) * square * angle,
        }
        leaving = [m for m, link in enumerate(found.links) if link.first == n]
        if leaving:
            row["shaft"] = found.links[leaving[0]].name
            row["stiffness_N_m_per_rad"] = float(modes.stiffness[leaving[0]])
            row["shaft_torque_N_m"] = float(modes.torque[index, leaving[0]])
        rows.append(row)
    return rows


def mode_rows(found: Drivetrain, modes: TorsionModes) -> list[dict[str, Any]]:
    """One row per mode."""
    return [
        {
            "mode": n + 1,
            "frequency_Hz": float(modes.frequency[n]),
            "damping_ratio": float(modes.damping[n]),
            "shape": dict(zip(found.names, modes.shape[n].tolist(), strict=True)),
            "kinetic_energy_share": dict(zip(found.names, modes.kinetic[n].tolist(), strict=True)),
            "strain_energy_share": dict(zip(found.shaft_names, modes.strain[n].tolist(), strict=True)),
        }
        for n in range(len(modes.frequency))
    ]
