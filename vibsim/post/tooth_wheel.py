"""Crank speed as a tooth wheel and a timer see it: edges stamped in whole ticks, a speed for every gap."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vibsim.results.labelled import Group

TURN = 2.0 * math.pi


@dataclass(frozen=True)
class Wheel:
    """Places for teeth around, how many are missing before the first, ticks per second, angle of the first edge."""

    teeth: int
    missing: int
    clock: float
    first_edge: float = 0.0

    @property
    def pitch(self) -> float:
        """rad."""
        return TURN / self.teeth

    def edges_between(self, start: float, end: float) -> tuple[np.ndarray, np.ndarray]:
        """Crank angles (n) rad of the edges that pass, and their teeth (n), 0 the first after the gap."""
        first = math.ceil((start - self.first_edge) / self.pitch - 1e-9)
        last = math.floor((end - self.first_edge) / self.pitch + 1e-9)
        number = np.arange(first, last + 1)
        there = number % self.teeth < self.teeth - self.missing
        return self.first_edge + number[there] * self.pitch, number[there] % self.teeth


def passing_times(time: np.ndarray, angle: np.ndarray, speed: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    """Times (n) s at which a crank that turns forwards passes angles (n), from its angle and speed over time (m).

    Cubic between the points from angle and speed, whose error is h⁴/384 of the angle's fourth derivative in time;
    solved by Newton, three steps from the straight line (of 1e-3 of a step each is squared).
    """
    index = np.clip(np.searchsorted(angle, wanted, side="right") - 1, 0, len(angle) - 2)
    h = time[index + 1] - time[index]
    a0, rise = angle[index], angle[index + 1] - angle[index]
    v0, v1 = h * speed[index], h * speed[index + 1]
    c2, c3 = 3.0 * rise - 2.0 * v0 - v1, v0 + v1 - 2.0 * rise
    share = np.clip((wanted - a0) / rise, 0.0, 1.0)
    for _ in range(3):
        error = a0 + share * (v0 + share * (c2 + share * c3)) - wanted
        share = share - error / (v0 + share * (2.0 * c2 + 3.0 * share * c3))
    return time[index] + share * h


def turning_span(angle: np.ndarray, speed: np.ndarray) -> int:
    """Points before the crank first stands still or turns back."""
    still = (speed <= 0.0) | (np.diff(angle, append=math.inf) <= 0.0)
    return int(np.argmax(still)) if still.any() else len(angle)


def stamped(times: np.ndarray, clock: float) -> np.ndarray:
    """Times (n) s in whole ticks, the last full one; errors do not add up from tooth to tooth."""
    return np.floor(times * clock + 1e-9) / clock


def wheel_of(results: Group) -> Wheel | None:
    """The case's tooth wheel."""
    at = results.groups["engine"].attributes if "engine" in results.groups else {}
    if "wheel_teeth" not in at:
        return None
    return Wheel(
        int(at["wheel_teeth"]), int(at["wheel_missing"]), float(at["wheel_clock_Hz"]), float(at["wheel_first_edge_rad"])
    )


def tooth_wheel_group(results: Group, wheel: Wheel | None = None) -> Group | None:
    """Per gap between edges: tooth, time, period in whole ticks, speed from it, the speed that was, and what one tick
    changes. None without a tooth wheel, or with fewer than two edges."""
    wheel = wheel or wheel_of(results)
    if wheel is None:
        return None
    count = turning_span(results["crank_angle"], results["crank_speed"])
    if count < 2:
        return None
    time, angle, speed = (results[name][:count] for name in ("time", "crank_angle", "crank_speed"))
    edges, teeth = wheel.edges_between(float(angle[0]), float(angle[-1]))
    if len(edges) < 3:
        return None
    exact = passing_times(time, angle, speed, edges)
    gaps, period = np.diff(edges), np.diff(stamped(exact, wheel.clock))
    period = np.maximum(period, 1.0 / wheel.clock)
    seen, true = gaps / period, gaps / np.diff(exact)
    group = Group(
        attributes={
            "teeth": wheel.teeth,
            "missing": wheel.missing,
            "clock_Hz": wheel.clock,
            "first_edge_rad": wheel.first_edge,
            "period": "edge to edge, both stamped in whole ticks; over the gap as many pitches as it spans",
            "speed_fluctuation_seen": float(np.ptp(seen) / seen.mean()),
            "speed_fluctuation_over_teeth": float(np.ptp(true) / true.mean()),
            "resolution_rad_per_s": float(np.mean(seen**2 / (gaps * wheel.clock))),
            "error_rms_rad_per_s": float(np.sqrt(np.mean((seen - true) ** 2))),
        }
    )
    group.add("edge", ("edge",), np.arange(len(period)), "1", "gap between two edges, in order")
    group.add("tooth", ("edge",), teeth[:-1], "1", "tooth whose edge opens the gap, 0 the first after missing ones")
    group.add("passed_at", ("edge",), exact[:-1], "s", "time at which that edge passes")
    group.add("turned", ("edge",), gaps, "rad", "angle from that edge to the next")
    group.add("period", ("edge",), period, "s", "time to the next edge in whole ticks")
    group.add("speed", ("edge",), seen, "rad s-1", "speed from the stamped period")
    group.add("speed_exact", ("edge",), true, "rad s-1", "mean speed from edge to edge without the timer")
    group.add("resolution", ("edge",), seen**2 / (gaps * wheel.clock), "rad s-1", "what one tick changes")
    return group
