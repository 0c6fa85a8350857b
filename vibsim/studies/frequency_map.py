"""Which engine order crosses which mode at which speed, and how hard it drives that mode there."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from vibsim.inputs.case_checks import FASTEST_RPM
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import CaseFile
from vibsim.solver.order_response import OrderResponse
from vibsim.structure.modes import Modes, modes_of
from vibsim.studies.cures.cure import response_of

HIGHEST_ORDER = 6.0
NODES = 7  # speeds at which gas and inertia are computed; between them they follow a + b·speed²
WEAK = 0.05  # of the strongest crossing

RPM = 30.0 / math.pi


@dataclass(frozen=True)
class Crossing:
    """An order that meets a mode (index) at a speed (rad/s).

    `force` N and `moment` N m: the order's greatest push on the engine's body there. `mount_force` N: amplitude of the
    force on the most loaded `mount` by this mode alone, in resonance; `share` of the strongest crossing.
    """

    order: float
    mode: int
    speed: float
    force: float
    moment: float
    mount_force: float
    mount: str
    share: float

    @property
    def weak(self) -> bool:
        return self.share < WEAK


@dataclass(frozen=True)
class FrequencyMap:
    """Modes with the crank turning freely, as in a running engine, against orders from `low` to `high` (rad/s)."""

    low: float
    high: float
    orders: list[float]
    bodies: list[str]
    modes: Modes
    crossings: list[Crossing]
    elastic: tuple[str, ...] = ()

    def rows(self) -> list[dict[str, Any]]:
        """One row per crossing, by speed."""
        return [
            {
                "speed_rpm": float(crossing.speed * RPM),
                "order": crossing.order,
                "mode": crossing.mode + 1,
                "frequency_Hz": float(self.modes.frequency[crossing.mode]),
                "order_force_N": crossing.force,
                "order_moment_N_m": crossing.moment,
                "mount": crossing.mount,
                "mount_force_N": crossing.mount_force,
                "share_of_strongest": crossing.share,
                "weak": crossing.weak,
            }
            for crossing in self.crossings
        ]


def frequency_map(case_file: CaseFile, low: float, high: float) -> FrequencyMap:
    """Crossings of orders up to the sixth with the modes between two crank speeds (rad/s), at the run's load.

    A mode with shape φ, damping ζ and modal mass m under a push p at its frequency ω moves by |φᴴp|/(2ζω²m) (derived
    for light damping). Raises InputError for a range that is none, or a case without engine, run or mounts.
    """
    if case_file.case.engine is None:
        raise InputError("engine: is missing; orders need an [engine] table")
    if not case_file.case.mount:
        raise InputError("mount: is missing; the orders' crossings are told by what mounts feel")
    if not 0.0 < low < high < FASTEST_RPM / RPM:
        shown = f"{low * RPM:g} {high * RPM:g}"
        raise InputError(f"--speed-rpm: got {shown}; must rise, more than 0 and below {FASTEST_RPM}")
    speeds = np.linspace(low, high, NODES)
    responses = [response_of(case_file, float(speed)) for speed in speeds]
    middle = responses[NODES // 2]
    linear, parts = middle.linear, middle.packed.part_names
    modes = modes_of(linear.mass, linear.damping, linear.stiffness, len(linear.elastic), len(parts))
    orders = [n / middle.turns for n in range(1, round(HIGHEST_ORDER * middle.turns) + 1)]
    names = [mount.name for mount in case_file.case.mount]
    found: list[Crossing] = []
    for order in orders:
        pushes = np.array([response.excitation(order) for response in responses])
        for mode, frequency in enumerate(modes.frequency):
            speed = 2.0 * math.pi * frequency / order
            if low <= speed <= high:
                found.append(_crossing(middle, modes, mode, order, speed, _between(speeds, pushes, speed), names))
    strongest = max((crossing.mount_force for crossing in found), default=0.0) or 1.0
    ranked = [Crossing(**vars(crossing) | {"share": crossing.mount_force / strongest}) for crossing in found]
    ranked.sort(key=lambda crossing: (crossing.speed, crossing.order))
    return FrequencyMap(low, high, orders, [*linear.names, *parts], modes, ranked, linear.elastic)


def _between(speeds: np.ndarray, pushes: np.ndarray, speed: float) -> np.ndarray:
    """Push (unknowns) between the speeds it is known at, linear in speed²: exact for inertia and for a constant."""
    return np.array([np.interp(speed**2, speeds**2, column) for column in pushes.T])


def _crossing(
    response: OrderResponse, modes: Modes, mode: int, order: float, speed: float, push: np.ndarray, names: list[str]
) -> Crossing:
    omega, shape = 2.0 * math.pi * modes.frequency[mode], modes.vector[mode]
    modal_mass = float(np.real(shape.conj() @ response.linear.mass @ shape))
    size = abs(shape.conj() @ push) / (2.0 * max(modes.damping[mode], 1e-6) * omega**2 * modal_mass)
    felt = size * np.linalg.norm(response.model.mounts(omega, shape), axis=1)
    on_engine = push[6 * response.packed.model.carrier :][:6]
    return Crossing(
        order=order,
        mode=mode,
        speed=speed,
        force=_greatest(on_engine[:3]),
        moment=_greatest(on_engine[3:]),
        mount_force=float(felt.max()),
        mount=names[int(felt.argmax())],
        share=0.0,
    )


def _greatest(amplitude: np.ndarray) -> float:
    """The largest size a vector of complex amplitudes (3) reaches: the major half axis of its ellipse (derived)."""
    total, turning = float(np.sum(np.abs(amplitude) ** 2)), abs(complex(amplitude @ amplitude))
    return math.sqrt(0.5 * (total + turning))
