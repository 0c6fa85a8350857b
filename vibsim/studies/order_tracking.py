"""Engine orders of any variable of a results file: exact over a working cycle, or tracked along a record."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from vibsim.inputs.errors import InputError
from vibsim.post.channels import Channel, channel_of
from vibsim.post.gabor import gabor_orders
from vibsim.post.orders import HIGHEST_ORDER, angle_grid, orders_of
from vibsim.post.tracking import Tracked, track_orders, turning_part
from vibsim.results.labelled import Group

PHASE = "amplitude*cos(order*crank angle + phase); crank angle zero as in the case: throws at their pin_deg"
RPM = 30.0 / math.pi
Method = Literal["transform", "gabor"]
STRONGEST = 5  # orders that the Gabor transform, which is slow, is asked for
STEADY = 0.02  # of the speed: what changes less is drawn over time


@dataclass(frozen=True)
class OrdersFound:
    """Orders of a channel: `tracked` as `Tracked` says, values (labels, axes); of one exact cycle a single window.
    `steps` of a programme: begin and end (s), kind."""

    title: str
    channel: Channel
    tracked: Tracked
    exact: bool
    left_out: float
    method: Method = "transform"
    steps: tuple[tuple[float, float, str], ...] = ()

    @property
    def over_speed(self) -> bool:
        """Whether the record is told over speed: it rises or falls all along, and by enough."""
        speed = self.tracked.speed
        if len(speed) < 2 or np.ptp(speed) < STEADY * speed.mean():
            return False
        way = np.diff(speed)
        return bool(np.mean(np.sign(way) == np.sign(speed[-1] - speed[0])) > 0.95)

    def step_at(self, time: float) -> str:
        """Number and kind of the step at a time (s), nothing where the run has none."""
        for number, (_, end, kind) in enumerate(self.steps, start=1):
            if time <= end:
                return f"{number} {kind.replace('_', '-')}"
        return ""

    def size(self) -> np.ndarray:
        """Amplitude of all axes together (windows, orders, labels)."""
        return np.asarray(np.linalg.norm(self.tracked.amplitude, axis=-1))

    def rows(self, orders: tuple[float, ...] | None = None) -> list[dict[str, Any]]:
        """One row per window, order and label."""
        found, rows = self.tracked, []
        for w in range(len(found.speed)):
            for o in self.picked(orders):
                for n, label in enumerate(self.channel.labels):
                    felt, missed = found.amplitude[w, o, n], found.error[w, o, n]
                    rows.append(
                        {
                            "time_s": float(found.time[w]),
                            **({"step": self.step_at(float(found.time[w]))} if self.steps else {}),
                            "speed_rpm": float(found.speed[w]) * RPM,
                            "order": float(found.orders[o]),
                            "frequency_Hz": float(found.orders[o] * found.speed[w]) / (2.0 * math.pi),
                            "name": label,
                            "unit": self.channel.unit,
                            "amplitude": float(np.linalg.norm(felt)),
                            "along": dict(zip(self.channel.axes, np.abs(felt).tolist(), strict=True)),
                            "phase_deg": dict(zip(self.channel.axes, np.degrees(np.angle(felt)).tolist(), strict=True)),
                            "error": None if self.exact else _finite(float(np.linalg.norm(missed))),
                            "overall_rms": float(np.linalg.norm(found.overall[w, n])),
                        }
                    )
        return rows

    def picked(self, orders: tuple[float, ...] | None = None) -> list[int]:
        """Indices of orders, of all but the mean unless asked for. Raises InputError."""
        found = self.tracked.orders
        if orders is None:
            return [n for n, order in enumerate(found) if order > 0.0]
        picked, step = [], float(np.diff(found).min(initial=math.inf))
        for order in orders:
            place = int(np.argmin(np.abs(found - order)))
            if abs(found[place] - order) > 1e-9:
                raise InputError(f"--orders: got {order:g}; must be 0 to {found[-1]:g} in steps of {step:g}")
            picked.append(place)
        return sorted(set(picked))


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def find_orders(
    results: Group,
    of: str | None = None,
    along: str | None = None,
    window_turns: float | None = None,
    method: Method = "transform",
    orders: tuple[float, ...] | None = None,
) -> OrdersFound:
    """Orders of what a word means (`channels`), by default all sensors: from the exact cycle of a steady run, tracked
    along any other record from where the crank turns forward on, by the transform of windows or the Gabor transform
    (then the orders given, or the strongest).

    Raises InputError for an unknown word, a run without an engine, a record shorter than a window.
    """
    channel, title = channel_of(results, of, along), str(results.attributes["title"])
    grid = angle_grid(results)
    if grid is not None and grid[2] and channel.variable in grid[0]:
        if window_turns is not None or method != "transform":
            option = "--window-turns" if window_turns is not None else "--method"
            raise InputError(f"{option}: goes with a run of changing speed; of a steady run orders are exact")
        return OrdersFound(title, channel, _exact(results, grid[0], channel), True, 0.0)
    strokes = int(results.attributes["strokes"])
    if strokes == 0:
        raise InputError("results: of a case without an engine, which has no orders")
    angle, time = results["crank_angle"], results["time"]
    part = turning_part(angle)
    values = channel.of(results)[part]
    found = track_orders(values, angle[part], time[part], strokes / 2, HIGHEST_ORDER, window_turns)
    kept = float(time[part][-1] - time[part][0]) if part.stop > part.start else 0.0
    tracked = OrdersFound(title, channel, found, False, float(time[-1] - time[0]) - kept, method, _steps(results))
    if method == "transform":
        return tracked
    picked = tracked.picked(orders)
    if orders is None:
        size = tracked.size()[:, picked].max(axis=(0, 2))
        picked = sorted(picked[n] for n in np.argsort(size)[::-1][:STRONGEST])
    return replace(tracked, tracked=gabor_orders(values, angle[part], found, picked))


def _steps(results: Group) -> tuple[tuple[float, float, str], ...]:
    """Begin and end (s) and kind of each step, where there are several."""
    if "steps" not in results.groups:
        return ()
    steps = results.groups["steps"]
    found = [steps.groups[str(n + 1)].attributes for n in range(int(steps.attributes["count"]))]
    if len(found) < 2:
        return ()
    return tuple((float(at["begin_s"]), float(at["end_s"]), str(at["kind"])) for at in found)


def _exact(results: Group, cycle: Group, channel: Channel) -> Tracked:
    values = channel.of(cycle)
    turns = cycle.attributes["cycle_length_rad"] / (2.0 * math.pi)
    orders = orders_of(values, turns, turns)
    amplitude = (orders.amplitude * np.exp(1j * orders.phase))[None]
    varying = values - values.mean(axis=0)
    mean = results.groups["torque"].attributes["mean_speed_rad_per_s"]
    return Tracked(
        time=np.array([0.5 * float(results["time"][-1])]),
        angle=np.array([math.pi * turns]),
        speed=np.array([float(mean)]),
        orders=orders.order,
        amplitude=amplitude,
        error=np.zeros(amplitude.shape),
        overall=np.sqrt(np.mean(varying**2, axis=0))[None],
        resampling=np.zeros(values.shape[1:]),
        window_turns=turns,
    )
