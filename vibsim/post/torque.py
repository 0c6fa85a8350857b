"""Torque ripple at the flywheel and the unevenness of crank speed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vibsim.post.levels import exact_values
from vibsim.post.orders import angle_grid, orders_of
from vibsim.results.labelled import Group

ALIKE = 1e-3  # of the greatest: amplitudes as near as that count as equal, and the lower order is named
DRIVING, BRAKING = ("gas", "inertia"), ("friction", "accessory")


def torque_names(group: Group) -> list[str]:
    """What `torques` has in its columns; "accessory" only where there are any."""
    return [*DRIVING, *_braking(group), "net"]


def torques(group: Group) -> np.ndarray:
    """Torque (n, columns of `torque_names`) N m; net at the flywheel = gas + inertia − friction − accessories."""
    driving = [group[f"{name}_torque"] for name in DRIVING]
    braking = [group[f"{name}_torque"] for name in _braking(group)]
    return np.column_stack([*driving, *braking, sum(driving) - sum(braking)])


def _braking(group: Group) -> list[str]:
    return [name for name in BRAKING if f"{name}_torque" in group]


def speed_fluctuation(speed: np.ndarray) -> float:
    """Coefficient of speed fluctuation, (greatest − least)/mean (common practice, no source)."""
    mean = float(speed.mean())
    return float(np.ptp(speed) / abs(mean)) if mean else 0.0


def torque_group(results: Group) -> Group:
    """Mean, swing and amplitude per order of each torque; coefficient of speed fluctuation."""
    found = angle_grid(results)
    exact = found is not None and found[2]
    values = torques(found[0]) if found is not None and exact else torques(results)
    net = " - ".join([" + ".join(DRIVING), *_braking(results)])
    group = Group(attributes={"net": f"{net}, at the flywheel before the load"})
    group.add("torque", ("torque",), np.array(torque_names(results), dtype=object), "1", "torque on the crank")
    group.add("mean", ("torque",), values.mean(axis=0), "N m", "mean torque")
    group.add("swing", ("torque",), np.ptp(values, axis=0), "N m", "greatest less least torque")
    group.add("rms", ("torque",), values.std(axis=0), "N m", "root mean square of the varying torque")
    speed = exact_values(results, "crank_speed")
    group.attributes["speed_fluctuation"] = speed_fluctuation(speed)
    # over equal steps of angle the mean speed is the harmonic one: angle over time
    mean_speed = 1.0 / np.mean(1.0 / speed) if exact else speed.mean()
    group.attributes["mean_speed_rad_per_s"] = float(mean_speed)
    if found is not None:
        cycle = found[0].attributes["cycle_length_rad"] / (2.0 * np.pi)
        turns = len(found[1]) * found[1][1] / (2.0 * np.pi)
        orders = orders_of(torques(found[0]), turns, cycle, windowed=not exact)
        group.add("order", ("order",), orders.order, "1", "engine order, events per crank revolution")
        group.add("amplitude", ("order", "torque"), orders.amplitude, "N m", "amplitude per engine order")
        group.add("phase", ("order", "torque"), orders.phase, "rad", "phase per engine order")
    return group


@dataclass(frozen=True)
class Ripple:
    """A torque over one cycle, N m: its mean, least and greatest value, root mean square about the mean, and the
    strongest order (events per crank revolution) with its amplitude."""

    mean: float
    least: float
    greatest: float
    rms: float
    order: float
    amplitude: float

    @property
    def greatest_over_mean(self) -> float | None:
        """None where the crank is not driven on the whole."""
        return self.greatest / self.mean if self.mean > 0.0 else None


def ripple_of(torque: np.ndarray, cycle: float) -> Ripple:
    """Ripple of a torque (n) N m over equal steps of one working cycle (rad)."""
    turns = cycle / (2.0 * math.pi)
    orders = orders_of(torque, turns, turns)
    varying = orders.amplitude[1:]
    strongest = 1 + int(np.flatnonzero(varying >= (1.0 - ALIKE) * varying.max())[0])
    return Ripple(
        mean=float(torque.mean()),
        least=float(torque.min()),
        greatest=float(torque.max()),
        rms=float(torque.std()),
        order=float(orders.order[strongest]),
        amplitude=float(orders.amplitude[strongest]),
    )
