"""What each mount law makes of its keys: rates, numbers of its own, states, remarks."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from vibsim.inputs.mount_data import read_force_curves
from vibsim.inputs.mount_models import (
    BumpStopMount,
    FrictionMount,
    HydraulicMount,
    LinearMount,
    LossFactorMount,
    MountBase,
    ProgressiveMount,
    RelaxationMount,
    ScheduledMount,
    TableMount,
    ThreeAxisMount,
    TorqueRodMount,
)
from vibsim.structure.loss_chain import loss_chain
from vibsim.structure.mount_laws import STOPS
from vibsim.structure.mounts import (
    BUMP_STOP,
    FRICTION,
    HYDRAULIC,
    LINEAR,
    PROGRESSIVE,
    RELAXATION,
    SCHEDULED,
    TABLE,
    TORQUE_ROD,
)

Triple = tuple[float, float, float]
NOTHING = (0.0, 0.0, 0.0)

FASTEST = 5e3  # 1/s: what relaxes faster is taken as a damper, for steps that accuracy asks for do not resolve it
# m, m/s: the scales that tolerance is a share of. They are wider than those of bodies: a mount forgets its errors as it
# relaxes or yields, and an error of such a share is a force far below what the tolerance of momenta lets pass in a step
PLACE, SPEED = 0.1, 10.0
SEAT_TIMES = 5.0  # stiffness of a decoupler's seats, times the upper chamber's
SEAT_ONSET = 1.0  # of its free volume to one side, over which a seat closes, half of it before that volume
NEVER = 1e3  # m, where a stop that is not there begins


class MountState(NamedTuple):
    """A state of a mount: what it is, and the size that its error is a share of."""

    name: str
    floor: float


@dataclass(frozen=True)
class LawData:
    """What a law makes of a mount: its number, rates along three axes, and, where it has them, three more numbers of
    the record, a run of numbers of its own, states, and remarks for the user."""

    law: int
    stiffness: Triple
    damping: Triple
    more: Triple = (0.0, 0.0, 0.0)
    numbers: tuple[float, ...] = ()
    states: tuple[MountState, ...] = ()
    notes: tuple[str, ...] = ()


def law_data(mount: MountBase, folder: Path, key: str) -> LawData:
    """A mount's law packed; `key` begins messages about its file. Raises InputError."""
    return LAWS[type(mount)](mount, folder, key)


def _linear(mount: LinearMount, folder: Path, key: str) -> LawData:
    return LawData(LINEAR, mount.stiffness, mount.damping)


def _progressive(mount: ProgressiveMount, folder: Path, key: str) -> LawData:
    return LawData(PROGRESSIVE, mount.stiffness, mount.damping, mount.doubling_deflection)


def _stop_numbers(gap: tuple[float, float] | None, rates: tuple[float, float] | None, onset: float) -> list[float]:
    if gap is None or rates is None:
        return [-NEVER, 0.0, NEVER, 0.0, onset]
    return [gap[0], rates[0], gap[1], rates[1], onset]


def _bump_stop(mount: BumpStopMount, folder: Path, key: str) -> LawData:
    numbers: list[float] = []
    for axis in "xyz":
        gap, rates = getattr(mount, f"gap_{axis}"), getattr(mount, f"stop_stiffness_{axis}")
        numbers += _stop_numbers(gap, rates, mount.onset)
    assert len(numbers) == 3 * STOPS
    return LawData(BUMP_STOP, mount.stiffness, mount.damping, numbers=tuple(numbers))


def _chained(
    mount: ThreeAxisMount, long_term: Triple, ratios: np.ndarray, times: np.ndarray, notes: tuple[str, ...]
) -> LawData:
    """A chain beside springs and dampers; elements too fast to step through become dampers of r·k·τ, which is what
    they are at all frequencies far below theirs."""
    slow = times * FASTEST >= 1.0
    drag = float((ratios * times)[~slow].sum())
    damping = [c + drag * k for c, k in zip(mount.damping, long_term, strict=True)]
    if not slow.all():
        fast = ", ".join(f"{1e3 * time:.3g} ms" for time in times[~slow])
        notes += (f"relaxation in {fast} is taken as a damper; it is faster than {1e3 / FASTEST:.2g} ms",)
    if not slow.any():
        return LawData(LINEAR, long_term, _triple(damping), notes=notes)
    ratios, times = ratios[slow], times[slow]
    springs = [float(ratio * k) for k in long_term for ratio in ratios]
    numbers = (float(len(ratios)), *(float(1.0 / time) for time in times), *springs)
    states = tuple(
        MountState(f"relaxation {n + 1} along {axis} of mount '{mount.name}'", PLACE)
        for axis in "xyz"
        for n in range(len(ratios))
    )
    return LawData(RELAXATION, long_term, _triple(damping), numbers=numbers, states=states, notes=notes)


def _relaxation(mount: RelaxationMount, folder: Path, key: str) -> LawData:
    return _chained(mount, mount.stiffness, np.array(mount.relaxation_ratio), np.array(mount.relaxation_time), ())


def _loss_factor(mount: LossFactorMount, folder: Path, key: str) -> LawData:
    if mount.loss_factor == 0.0:
        return LawData(LINEAR, mount.stiffness, mount.damping)
    chain = loss_chain(mount.loss_factor, mount.band, mount.elements)
    low, high = mount.band
    note = (
        f"loss factor {mount.loss_factor:g} by {mount.elements} relaxation elements, {low:g} to {high:g} Hz: off by at "
        f"most {100.0 * chain.error:.1f} % of it; stiffness {chain.rise[0]:.2f} to {chain.rise[1]:.2f} times that "
        f"given, which holds at {math.sqrt(low * high):.3g} Hz"
    )
    long_term = _triple(k * chain.long_term for k in mount.stiffness)
    return _chained(mount, long_term, chain.ratios / chain.long_term, chain.times, (note,))


def _friction(mount: FrictionMount, folder: Path, key: str) -> LawData:
    numbers: list[float] = []
    for stiffness, deflection in zip(mount.friction_stiffness, mount.yield_deflection, strict=True):
        numbers += [stiffness, deflection, mount.exponent]
    states = tuple(MountState(f"friction along {axis} of mount '{mount.name}'", PLACE) for axis in "xyz")
    return LawData(FRICTION, mount.stiffness, mount.damping, numbers=tuple(numbers), states=states)


def _hydraulic(mount: HydraulicMount, folder: Path, key: str) -> LawData:
    area, stiff = mount.piston_area, 1.0 / mount.upper_compliance
    resistance = (mount.track_resistance, mount.track_quadratic_resistance)
    numbers = [area, stiff, 1.0 / mount.lower_compliance, 1.0 / mount.inertance(), *resistance]
    plate = [0.0, -1.0, 0.0, 1.0, 0.0, 1.0, 0.0]
    notes: tuple[str, ...] = ()
    if mount.decoupler_area and mount.decoupler_travel and mount.decoupler_resistance:
        free, seat = 0.5 * mount.decoupler_travel * mount.decoupler_area, SEAT_TIMES * stiff
        least = (stiff + 1.0 / mount.lower_compliance) / FASTEST
        past = max(mount.decoupler_resistance, least)
        if past > mount.decoupler_resistance:
            notes = (
                f"decoupler resistance raised from {1e-6 * mount.decoupler_resistance:.4g} to {1e-6 * past:.4g} "
                "kPa s/L, or its flow would be faster than any step resolves",
            )
        onset = SEAT_ONSET * free
        begin = free - 0.5 * onset
        plate = [1.0 / past, -begin, seat, begin, seat, onset, 2.0 * SEAT_TIMES / (seat * onset)]
    states = (
        MountState(f"volume through the track of mount '{mount.name}'", area * PLACE),
        MountState(f"flow through the track of mount '{mount.name}'", area * SPEED),
        MountState(f"volume past the decoupler of mount '{mount.name}'", area * PLACE),
    )
    return LawData(HYDRAULIC, mount.stiffness, mount.damping, numbers=(*numbers, *plate), states=states, notes=notes)


def _table(mount: TableMount, folder: Path, key: str) -> LawData:
    from scipy.interpolate import PchipInterpolator

    curves = read_force_curves(folder / mount.file, f"{key}.file")
    counts, numbers, stiffness = [], [], list(mount.stiffness)
    for index, axis in enumerate("xyz"):
        if axis not in curves:
            counts.append(0.0)
            continue
        places, forces = curves[axis]
        slopes = PchipInterpolator(places, forces).derivative()(places)  # Fritsch and Carlson's: monotone
        counts.append(float(len(places)))
        numbers += [*places.tolist(), *forces.tolist(), *slopes.tolist()]
        stiffness[index] = 0.0
    return LawData(TABLE, _triple(stiffness), mount.damping, numbers=(*counts, *numbers))


def _scheduled(mount: ScheduledMount, folder: Path, key: str) -> LawData:
    from scipy.interpolate import PchipInterpolator

    speeds = np.array(mount.speed)
    damping = mount.damping_at_speed or tuple((0.0, 0.0, 0.0) for _ in speeds)
    numbers = [float(len(speeds)), *speeds.tolist()]
    for column in np.hstack([np.array(mount.stiffness_at_speed), np.array(damping)]).T:
        slopes = PchipInterpolator(speeds, column).derivative()(speeds)
        numbers += [*column.tolist(), *slopes.tolist()]
    return LawData(SCHEDULED, NOTHING, NOTHING, numbers=tuple(numbers))


def _torque_rod(mount: TorqueRodMount, folder: Path, key: str) -> LawData:
    length = math.dist(mount.at, mount.to)
    rates = (mount.rod_stiffness(), mount.rod_damping)
    numbers = (length, *rates, *_stop_numbers(mount.gap, mount.stop_stiffness, mount.onset))
    return LawData(TORQUE_ROD, NOTHING, NOTHING, numbers=numbers)


def _triple(values: Any) -> Triple:
    x, y, z = values
    return float(x), float(y), float(z)


LAWS: dict[type[MountBase], Callable[[Any, Path, str], LawData]] = {
    LinearMount: _linear,
    ProgressiveMount: _progressive,
    LossFactorMount: _loss_factor,
    BumpStopMount: _bump_stop,
    RelaxationMount: _relaxation,
    FrictionMount: _friction,
    HydraulicMount: _hydraulic,
    TableMount: _table,
    ScheduledMount: _scheduled,
    TorqueRodMount: _torque_rod,
}
