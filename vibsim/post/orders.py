"""Amplitude and phase per engine order, from whole cycles on the crank-angle grid.

Order n is n events per crank revolution; a four-stroke has half orders.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vibsim.results.labelled import Group, Variable

HIGHEST_ORDER = 24.0
FEWEST_FREE_CYCLES = 4


@dataclass(frozen=True)
class Orders:
    """`order` (n); `amplitude` and `phase` (n, ...): value = Σ amplitude·cos(order·θ + phase), θ in rad.

    The first entry is order 0, the mean.
    """

    order: np.ndarray
    amplitude: np.ndarray
    phase: np.ndarray


def orders_of(values: np.ndarray, turns: float, cycle_turns: float, windowed: bool = False) -> Orders:
    """Orders of values (n, ...) over a whole number of working cycles, in steps of one over `cycle_turns`.

    `turns` crank turns spanned by the values; `cycle_turns` turns in a working cycle. Without a window the transform
    is exact for what repeats every cycle (derived: no leakage over whole periods); with one, a Hann window scaled to
    its mean keeps slow changes of speed from leaking between orders.
    """
    count = len(values)
    window = np.hanning(count + 1)[:-1] if windowed else np.ones(count)
    shaped = window.reshape((-1,) + (1,) * (values.ndim - 1))
    transform = np.fft.rfft(values * shaped, axis=0) / window.sum()
    per_order = round(turns / cycle_turns)
    highest = min(HIGHEST_ORDER * cycle_turns, (count - 1) // 2 // per_order)
    lines = transform[: int(highest) * per_order + 1 : per_order]
    amplitude = np.abs(lines) * np.where(np.arange(len(lines)) == 0, 1.0, 2.0).reshape(shaped[: len(lines)].shape)
    return Orders(np.arange(len(lines)) / cycle_turns, amplitude, np.angle(lines))


def angle_grid(results: Group) -> tuple[Group, np.ndarray, bool] | None:
    """The group over crank angle, its angles (rad), and whether it is one exact cycle; None if there is too little."""
    if "cycle" in results.groups:
        return results.groups["cycle"], results["cycle/cycle_angle"], True
    if "crank_grid" not in results.groups:
        return None
    group = results.groups["crank_grid"]
    angles = group["angle"]
    cycles = (angles[-1] + angles[1]) / group.attributes["cycle_length_rad"]
    return (group, angles, False) if cycles >= FEWEST_FREE_CYCLES - 1e-6 else None


def orders_over(results: Group, name: str) -> Orders | None:
    """Orders of a variable of the results, None when the run passed too few whole cycles."""
    found = angle_grid(results)
    if found is None or name not in found[0]:
        return None
    group, angles, exact = found
    cycle_turns = group.attributes["cycle_length_rad"] / (2.0 * math.pi)
    turns = len(angles) * angles[1] / (2.0 * math.pi)
    return orders_of(group[name], turns, cycle_turns, windowed=not exact)


def order_group(results: Group) -> Group | None:
    """Amplitude and phase per order of mount forces, sensor accelerations and crank speed."""
    described = {
        "mount_force": (("mount", "axis"), "N"),
        "sensor_acceleration": (("sensor", "axis"), "m s-2"),
        "body_acceleration": (("body", "axis"), "m s-2"),
        "crank_speed": ((), "rad s-1"),
    }
    found = angle_grid(results)
    if found is None:
        return None
    window = "none: one exact working cycle" if found[2] else "Hann over whole working cycles"
    group = Group(
        attributes={
            "window": window,
            "phase_convention": "amplitude*cos(order*angle + phase)",
            "over": "crank angle, not time",
        }
    )
    for name, (dims, units) in described.items():
        orders = orders_over(results, name)
        if orders is None:
            continue
        group.variables.setdefault("order", _order_axis(orders))
        group.add(f"{name}_amplitude", ("order", *dims), orders.amplitude, units, f"{name} amplitude per engine order")
        group.add(f"{name}_phase", ("order", *dims), orders.phase, "rad", f"{name} phase per engine order")
    return group


def _order_axis(orders: Orders) -> Variable:
    return Variable(("order",), orders.order, "1", "engine order, events per crank revolution")
