"""How evenly the engine runs: speed and energy within each working cycle, and the pulses of its firings."""

from __future__ import annotations

import math

import numpy as np

from vibsim.post.energy_excess import excess_over_cycle
from vibsim.post.orders import orders_of
from vibsim.post.torque import torques
from vibsim.results.labelled import Group

TOGETHER = math.radians(0.5)  # firings nearer than this are one pulse


def cycles_of(results: Group) -> tuple[Group, int, float] | None:
    """The group over crank angle, points of one cycle (or period of misfire) in it, and that cycle (rad)."""
    if "cycle" in results.groups:
        group = results.groups["cycle"]
        return group, len(group["cycle_angle"]), group.attributes["cycle_length_rad"]
    if "crank_grid" not in results.groups:
        return None
    group = results.groups["crank_grid"]
    points = round(group.attributes["cycle_length_rad"] / group["angle"][1]) if len(group["angle"]) > 1 else 0
    return (group, points, group.attributes["cycle_length_rad"]) if points else None


def cyclic_group(results: Group) -> Group | None:
    """Per cycle: mean speed, coefficients of fluctuation of speed and energy, torque; per firing: interval and pulse.

    In a run whose speed changes the speed of a cycle is taken less the straight line over angle between its ends.
    """
    found = cycles_of(results)
    if found is None:
        return None
    grid, points, length = found
    count = len(grid["crank_speed"]) // points
    speed = grid["crank_speed"][: count * points].reshape(count, points)
    net = torques(grid)[: count * points, -1].reshape(count, points)
    load = grid["load_torque"][: count * points].reshape(count, points)
    if not count or np.any(speed <= 0.0):
        return None
    group = Group(
        attributes={
            "coefficient_of_speed_fluctuation": "(greatest - least) / mean of a cycle",
            "coefficient_of_energy_fluctuation": "(greatest - least excess of energy) / work of a cycle",
            "torque": "net at the flywheel: gas + inertia - losses, before the load",
        }
    )
    _add_cycles(group, speed, net, load, length)
    _add_pulses(group, results, net.mean(axis=0), length)
    return group


def _add_cycles(group: Group, speed: np.ndarray, net: np.ndarray, load: np.ndarray, length: float) -> None:
    mean = 1.0 / np.mean(1.0 / speed, axis=1)  # over equal steps of angle: angle over time
    pairs = zip(net, load, strict=True)
    swing = np.array([excess_over_cycle(t, length, t.mean() + (w - w.mean())).swing for t, w in pairs])
    work = net.mean(axis=1) * length
    group.add("cycle_number", ("cycle_number",), np.arange(len(mean)), "1", "cycle of the record")
    one = ("cycle_number",)
    group.add("mean_speed", one, mean, "rad s-1", "mean crank speed of the cycle")
    group.add("speed_fluctuation", one, np.ptp(_level(speed), axis=1) / mean, "1", "coefficient of speed fluctuation")
    group.add("energy_swing", one, swing, "J", "greatest less least excess of energy over the load")
    group.add("work", one, work, "J", "work of the net torque in the cycle")
    group.add("least_torque", one, net.min(axis=1), "N m", "least net torque")
    group.add("greatest_torque", one, net.max(axis=1), "N m", "greatest net torque")
    group.add("negative_share", one, (net < 0.0).mean(axis=1), "1", "share of the cycle with negative net torque")
    group.attributes["speed_fluctuation"] = float(group["speed_fluctuation"].mean())
    group.attributes["energy_swing_J"] = float(swing.mean())
    if work.mean() > 0.0:
        group.attributes["energy_fluctuation"] = float(swing.mean() / work.mean())
        group.attributes["greatest_over_mean_torque"] = float(net.max(axis=1).mean() / net.mean())


def _level(speed: np.ndarray) -> np.ndarray:
    """Speeds (cycles, points) less the line between the starts of one cycle and the next."""
    if len(speed) < 2:
        return speed
    rise = np.append(np.diff(speed[:, 0]), speed[-1, 0] - speed[-2, 0])
    return speed - rise[:, None] * np.arange(speed.shape[1]) / speed.shape[1]


def firing_evenness(angles: np.ndarray, cycle: float) -> float:
    """1 less the standard deviation of the firing intervals over the greatest it can be, that of all firing at once.

    1 is even, 0 all at once (derived: n − 1 intervals of nothing and one of the cycle have the standard deviation
    cycle·√(n − 1)/n). `angles` (n) rad within a cycle (rad); one cylinder is even.
    """
    count = len(angles)
    if count < 2:
        return 1.0
    ordered = np.sort(angles)
    intervals = np.diff(ordered, append=ordered[0] + cycle)
    return 1.0 - float(intervals.std()) / (cycle * math.sqrt(count - 1) / count)


def torque_evenness(torque: np.ndarray, cycle_turns: float, firings: int) -> float:
    """Share of the mean square of a torque's variation (n, over one cycle) that lies in whole multiples of the firing
    order, firings over turns of a cycle: 1 where all pulses are alike and even. 1 too where nothing varies."""
    power = orders_of(torque, cycle_turns, cycle_turns).amplitude[1:] ** 2
    whole = np.arange(1, len(power) + 1) % firings == 0
    return float(power[whole].sum() / power.sum()) if power.sum() > 0.0 else 1.0


def pulses_of(firing: np.ndarray, cycle: float) -> tuple[np.ndarray, np.ndarray]:
    """Angles (n) rad at which cylinders fire, those together as one, and the intervals (n) to the next."""
    ordered = np.sort(np.asarray(firing, dtype=float) % cycle)
    angles = ordered[np.diff(ordered, prepend=ordered[-1] - cycle) > TOGETHER] if len(ordered) > 1 else ordered
    angles = angles if len(angles) else ordered[:1]
    return angles, np.diff(angles, append=angles[0] + cycle)


def _add_pulses(group: Group, results: Group, net: np.ndarray, length: float) -> None:
    """Per pulse of the cycle: its interval, greatest torque and work until the next; evenness of firing and torque."""
    if "engine" not in results.groups:
        return
    facts = results.groups["engine"]
    cycle = facts.attributes["working_cycle_rad"]
    angles, intervals = pulses_of(facts["firing"], cycle)
    repeats = round(length / cycle)
    place = np.arange(len(net)) * (length / len(net))
    starts = np.concatenate([angles + n * cycle for n in range(repeats)])
    owner = np.searchsorted(starts, place, side="right") - 1
    step = length / len(net)
    work = np.array([step * net[owner % len(starts) == n].sum() for n in range(len(starts))])
    greatest = np.array([net[owner % len(starts) == n].max() for n in range(len(starts))])
    group.add("pulse", ("pulse",), np.arange(1, len(starts) + 1), "1", "pulse of the cycle, cylinders together as one")
    group.add("pulse_angle", ("pulse",), starts, "rad", "crank angle of firing")
    group.add("pulse_interval", ("pulse",), np.tile(intervals, repeats), "rad", "from this firing to the next")
    group.add("pulse_torque", ("pulse",), greatest, "N m", "greatest net torque until the next firing")
    group.add("pulse_work", ("pulse",), work, "J", "work of the net torque until the next firing")
    firings = len(facts["firing"])
    group.attributes["firing_evenness"] = firing_evenness(facts["firing"], cycle)
    group.attributes["firing_evenness_is"] = "1 - std of the firing intervals / std with all firing at once"
    group.attributes["torque_evenness"] = torque_evenness(net, length / (2.0 * math.pi), firings * repeats)
    group.attributes["torque_evenness_is"] = "share of the torque's mean square variation in multiples of firing order"
