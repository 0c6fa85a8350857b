"""The mounts of a case where they carry its weight: law, rates, dynamic stiffness and loss angle."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import CaseFile
from vibsim.inputs.mount_models import FrictionMount, HydraulicMount, MountBase
from vibsim.solver.packed import pack
from vibsim.solver.start import equilibrium, mount_deflections
from vibsim.structure.mount_dynamics import AMPLITUDE, Alone, alone, drive, driven_stiffness, dynamic_stiffness

FREQUENCIES = (10.0, 30.0, 100.0)  # Hz, shown unless others are asked for
SWEEP = np.geomspace(1.0, 300.0, 121)  # Hz, of the figures
AMPLITUDES = (1e-4, 1e-3)  # m, of figures of laws that depend on it
STATIC = 1e-3  # Hz: slow enough for every chain and fluid to follow
LOOP, SLOW = 400, 2.0 * math.pi * STATIC  # steps, rad/s of a slow loop
REACH = np.linspace(-1.0, 1.0, 161)


@dataclass(frozen=True)
class MountSeen:
    """One mount at its preload, SI units, its own axes.

    `deflection` (3) under weight; `static` (3, 3) tangent there; `stiffness` (frequencies, 3, 3) complex.
    """

    mount: MountBase
    deflection: np.ndarray
    static: np.ndarray
    stiffness: np.ndarray
    alone: Alone

    def as_dict(self, frequencies: np.ndarray) -> dict[str, Any]:
        along = np.diagonal(self.stiffness, axis1=1, axis2=2)
        return {
            "name": self.mount.name,
            "between": list(self.mount.between),
            "law": self.mount.law,  # type: ignore[attr-defined]
            "static_deflection_mm": (1e3 * self.deflection).tolist(),
            "static_stiffness_N_per_mm": (1e-3 * self.static).tolist(),
            "dynamic": [
                {
                    "frequency_Hz": float(frequency),
                    "stiffness_N_per_mm": (1e-3 * np.abs(row)).tolist(),
                    "loss_angle_deg": [math.degrees(loss_angle(value)) for value in row],
                }
                for frequency, row in zip(frequencies, along, strict=True)
            ],
        }


@dataclass(frozen=True)
class Mounts:
    """All mounts of a case at rest under its weight; `speed` (rad/s) for laws that follow it, `amplitude` (m) at which
    friction is made linear."""

    title: str
    frequencies: np.ndarray
    amplitude: float
    speed: float
    mounts: list[MountSeen]
    notes: tuple[str, ...]
    folder: Path


def loss_angle(value: complex) -> float:
    """Of a complex stiffness, rad; 0 where there is no stiffness."""
    return math.atan2(value.imag, value.real) if abs(value) > 1e-9 else 0.0


def find_mounts(
    case_file: CaseFile, frequencies: tuple[float, ...] = FREQUENCIES, amplitude: float = AMPLITUDE
) -> Mounts:
    """The mounts of a case about its static equilibrium, at the run's speed.

    Raises InputError for a case without mounts, RunFailure when there is no equilibrium.
    """
    case = case_file.case
    if not case.mount:
        raise InputError("mount: the case has none; give it a [[mount]]")
    speed = abs(case.run.speed) if case.run else 0.0
    packed = pack(case, case_file.folder)
    rest = equilibrium(packed, speed=speed)
    seen = []
    for mount, deflection in zip(case.mount, mount_deflections(packed, rest.displacement), strict=True):
        single = alone(mount, case_file.folder)
        held = deflection - single.drawn
        at = np.concatenate([[STATIC], frequencies])
        stiffness = dynamic_stiffness(mount, at, held, case_file.folder, amplitude, speed)
        seen.append(MountSeen(mount, held, stiffness[0].real, stiffness[1:], single))
    title = case.case.title or case_file.name
    return Mounts(title, np.array(frequencies), amplitude, speed, seen, packed.mount_notes, case_file.folder)


def load_curve(mounts: Mounts, seen: MountSeen, axis: int) -> tuple[np.ndarray, np.ndarray]:
    """Deflection (n) m and the force (n) N that holds it along one axis, others at rest; of friction a slow loop."""
    if isinstance(seen.mount, FrictionMount):
        phase = np.linspace(0.0, 2.5 * math.pi, 2 * LOOP + 1)
        size = 5.0 * seen.mount.yield_deflection[axis]
        motion, rate = np.tile(seen.deflection, (phase.size, 1)), np.zeros((phase.size, 3))
        motion[:, axis] += size * np.sin(phase)
        rate[:, axis] = size * SLOW * np.cos(phase)
        force = -drive(seen.alone, motion, rate, 2.5 * math.pi / (SLOW * LOOP), mounts.speed)[:, axis]
        return motion[::2, axis], force
    reach = max(8e-3, 2.0 * abs(float(seen.deflection[axis])))
    places = reach * REACH
    force = np.empty(places.size)
    for n, place in enumerate(places):
        held = np.tile(seen.deflection, (3, 1))
        held[:, axis] = place
        force[n] = -drive(seen.alone, held, np.zeros((3, 3)), 1e-4, mounts.speed)[0, axis]
    return places, force


def sweep(mounts: Mounts, seen: MountSeen, axis: int) -> list[tuple[str, np.ndarray, np.ndarray]]:
    """Complex stiffness along one axis over frequency: label, frequencies, values; two amplitudes where that counts."""
    if isinstance(seen.mount, HydraulicMount) and axis == 2:
        coarse = SWEEP[::3]
        return [
            (
                f"±{1e3 * size:g} mm",
                coarse,
                np.array([driven_stiffness(seen.alone, f, size, axis, seen.deflection) for f in coarse]),
            )
            for size in AMPLITUDES
        ]
    sizes = AMPLITUDES if isinstance(seen.mount, FrictionMount) else (mounts.amplitude,)
    return [
        (
            f"±{1e3 * size:g} mm" if len(sizes) > 1 else "small motion",
            SWEEP,
            dynamic_stiffness(seen.mount, SWEEP, seen.deflection, mounts.folder, size, mounts.speed)[:, axis, axis],
        )
        for size in sizes
    ]
