"""Orders of a record that does not repeat, window by window, as the points of a report's slider over time."""

from __future__ import annotations

import math

import numpy as np

from vibsim.inputs.errors import InputError
from vibsim.post.reduced import HIGHEST_ORDER
from vibsim.post.torque import torque_names, torques
from vibsim.post.tracking import Tracked, track_orders, turning_part
from vibsim.results.labelled import Group
from vibsim.studies.report_levels import NET, Levels

MOST_WINDOWS, FEWEST_WINDOWS = 120, 3
VECTORS = (("mount_force", "mount"), ("sensor_acceleration", "sensor"))


def record_levels(results: Group) -> tuple[Levels, np.ndarray] | None:
    """Levels of windows of four working cycles along a record, and the times (n) s of their middles.

    None where the crank does not turn on for long enough, or there is no engine. Peaks, swings and exposure are of the
    whole record and not here: nan.
    """
    strokes = int(results.attributes["strokes"])
    if strokes == 0:
        return None
    part = turning_part(results["crank_angle"])
    angle, time = results["crank_angle"][part], results["time"][part]
    sizes = [len(results.labels(label)) for _, label in VECTORS]
    columns = [results[name][part].reshape(len(time), -1) for name, _ in VECTORS if name in results]
    torque = torques(results)[part, torque_names(results).index(NET)]
    try:
        found = track_orders(np.column_stack([*columns, torque]), angle, time, strokes / 2, HIGHEST_ORDER)
    except InputError:
        return None
    if len(found.time) < FEWEST_WINDOWS:
        return None
    chosen = np.unique(np.linspace(0, len(found.time) - 1, MOST_WINDOWS).round().astype(int))
    return _levels(results, found, chosen, sizes), found.time[chosen]


def _levels(results: Group, found: Tracked, chosen: np.ndarray, sizes: list[int]) -> Levels:
    count, orders = len(chosen), len(found.orders)
    amplitude, overall = found.amplitude[chosen], found.overall[chosen]
    ends = np.cumsum([3 * size for size in sizes])
    vectors = [amplitude[:, :, end - 3 * size : end] for size, end in zip(sizes, ends, strict=True)]
    rms = [overall[:, end - 3 * size : end] for size, end in zip(sizes, ends, strict=True)]
    none = np.full(count, math.nan)
    return Levels(
        mounts=results.labels("mount"),
        sensors=results.labels("sensor"),
        felt=[],
        contacts=[],
        order=found.orders,
        speed=found.speed[chosen],
        mount_rms=np.linalg.norm(rms[0].reshape(count, sizes[0], 3), axis=2),
        sensor_rms=np.linalg.norm(rms[1].reshape(count, sizes[1], 3), axis=2),
        mount_orders=vectors[0].reshape(count, orders, sizes[0], 3),
        sensor_orders=vectors[1].reshape(count, orders, sizes[1], 3),
        torque_orders=np.abs(amplitude[:, :, -1]),
        swing=none,
        fluctuation=none,
        peak_pressure=none,
        brake_torque=none,
        a8=np.zeros((count, 0)),
        comfort=np.zeros((count, 0)),
    )


def bare_levels(results: Group) -> Levels:
    """One point without orders: of a record in which the crank hardly turns."""
    mounts, sensors = results.labels("mount"), results.labels("sensor")
    none = np.array([math.nan])
    return Levels(
        mounts=mounts,
        sensors=sensors,
        felt=[],
        contacts=[],
        order=np.zeros(0),
        speed=np.array([float(results["crank_speed"].mean())]),
        mount_rms=np.full((1, len(mounts)), math.nan),
        sensor_rms=np.full((1, len(sensors)), math.nan),
        mount_orders=np.zeros((1, 0, len(mounts), 3), complex),
        sensor_orders=np.zeros((1, 0, len(sensors), 3), complex),
        torque_orders=np.zeros((1, 0)),
        swing=none,
        fluctuation=none,
        peak_pressure=none,
        brake_torque=none,
        a8=np.zeros((1, 0)),
        comfort=np.zeros((1, 0)),
    )
