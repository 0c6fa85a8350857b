"""A dry clutch in series with a shaft: it holds until the shaft's torque would pass its capacity, then slips at that.

The disc's twist δ turns with the speed Δω between the shaft's ends less that of slipping. As long as the torque
T = k(δ) + d·Δω (with the shaft's dry friction) stays within the capacity C the clutch holds, δ̇ = Δω. Where it would
not, friction surfaces and spring carry ±C in series, k(δ) + d·δ̇ = ±C, which says δ̇; what slips is Δω − δ̇ and C times
that is lost (derived). Both agree where T = ±C, so torque and rates are continuous in the state: nothing chatters, and
a locked clutch does not creep.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from vibsim.engine.shaft_law import FRICTION_RATE, ramp_slope
from vibsim.jit import inner

CLOSED, OPEN, BITING = range(3)
CLOCK, LOST = range(2)  # states: s since it may bite, work lost in it (J)
STATES = 2
MOST_TRIES = 60


class Clutch(NamedTuple):
    """The clutch of a shaft (index), whose states begin at `at`. `mode` CLOSED for good, as outside of runs, OPEN, or
    BITING: its capacity (N m) comes on from `begins` (s of its clock) over `rise` (s). `behind` (parts) says what it
    drives, at `driven_speed` (rad/s, as crank speed) as long as it is open."""

    shaft: int
    at: int
    mode: int
    capacity: float
    begins: float
    rise: float
    driven_speed: float
    behind: np.ndarray


@inner
def capacity_at(clock, mode, capacity, begins, rise):
    """Torque (N m) that a clutch holds after so many seconds."""
    if mode != BITING or clock < begins:
        return 0.0
    if clock >= begins + rise:
        return capacity
    return capacity * (clock - begins) / rise


@inner
def slipping(spring, damping, friction, rate, limit):
    """Twist rate (rad/s) at which spring, damper and dry friction carry the torque `limit` (N m) of slipping."""
    if friction == 0.0:
        return (limit - spring) / damping
    if damping == 0.0:
        return FRICTION_RATE * math.atanh((limit - spring) / friction)
    # spring + damping·x + friction·tanh(x/ε) = limit, which rises with x: Newton within its bounds
    low = (limit - spring - friction) / damping
    high = (limit - spring + friction) / damping
    x = min(max(rate, low), high)
    for _ in range(MOST_TRIES):
        bend = math.tanh(x / FRICTION_RATE)
        missed = spring + damping * x + friction * bend - limit
        if missed > 0.0:
            high = x
        else:
            low = x
        step = missed / (damping + friction / FRICTION_RATE * (1.0 - bend * bend))
        after = x - step
        if not low < after < high:
            after = 0.5 * (low + high)
        if abs(after - x) <= 1e-12 * (1.0 + abs(x)):
            break
        x = after
    return x


@inner
def transmitted(twist, rate, spring, torque, damping, friction, half_lash, width, limit):
    """Torque (N m) that passes, and twist rate (rad/s) of the disc, where the shaft alone would carry `torque` at a
    rate of twist `rate` and the clutch holds no more than `limit`."""
    if abs(torque) <= limit:
        return torque, rate
    held = limit if torque > 0.0 else -limit
    touching = 1.0
    if half_lash > 0.0:
        touching = ramp_slope(abs(twist) - half_lash, width)
    return held, slipping(spring, damping * touching, friction, rate, held)


@inner
def through_clutch(n, twist, rate, spring, torque, shaft, clutch, y, out):
    """Torque and twist rate of shaft n with the clutch, where it sits in that; writes the rates of its states."""
    if clutch is None:
        return torque, rate
    if n != clutch.shaft:
        return torque, rate
    if clutch.mode == CLOSED:
        out[clutch.at + CLOCK], out[clutch.at + LOST] = 0.0, 0.0
        return torque, rate
    limit = capacity_at(y[clutch.at + CLOCK], clutch.mode, clutch.capacity, clutch.begins, clutch.rise)
    held, turns = transmitted(
        twist,
        rate,
        spring,
        torque,
        shaft.damping,
        shaft.friction,
        shaft.half_lash,
        shaft.lash_width,
        limit,
    )
    out[clutch.at + CLOCK] = 1.0 if clutch.mode == BITING else 0.0
    out[clutch.at + LOST] = held * (rate - turns)
    return held, turns
