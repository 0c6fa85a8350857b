"""Levels and orders of the points that a report shows, from a run or from a sweep, in one form."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from vibsim.post.levels import exact_values
from vibsim.post.reduced import HIGHEST_ORDER
from vibsim.results.labelled import Group
from vibsim.studies.report_exposure import felt_at, felt_over
from vibsim.studies.sweep.read import Read

NET = "net"


@dataclass(frozen=True)
class Levels:
    """What points (n) hold; nan where a point was not computed or a quantity is not kept.

    `speed` (n) rad/s; rms of the varying force `mount_rms` (n, mounts) N and of the acceleration `sensor_rms`
    (n, sensors) m/s²; complex amplitudes `mount_orders` (n, orders, mounts, 3) N and `sensor_orders` (n, orders,
    sensors, 3) m/s² at `order` (orders): value = Σ Re(amplitude·e^{i·order·θ}), θ the crank angle from the start of
    the cycle; `torque_orders` (n, orders) N m amplitudes of net torque; `swing` (n) N m of net torque; `fluctuation`
    (n) of speed; `peak_pressure` (n) Pa; `brake_torque` (n) N m. `felt` at and by which `contacts`: `a8` of eight hours
    and `comfort` total (n, felt) m/s², nan where the rules judge nothing.
    """

    mounts: list[str]
    sensors: list[str]
    felt: list[str]
    contacts: list[str]
    order: np.ndarray
    speed: np.ndarray
    mount_rms: np.ndarray
    sensor_rms: np.ndarray
    mount_orders: np.ndarray
    sensor_orders: np.ndarray
    torque_orders: np.ndarray
    swing: np.ndarray
    fluctuation: np.ndarray
    peak_pressure: np.ndarray
    brake_torque: np.ndarray
    a8: np.ndarray
    comfort: np.ndarray

    def chosen(self, points: np.ndarray, orders: int | None = None) -> Levels:
        """Some of the points (indices), and no more than so many orders."""
        fewer: dict[str, Any] = {
            f.name: getattr(self, f.name)[points] for f in fields(self) if f.name not in NOT_OVER_POINTS
        }
        for name in ("mount_orders", "sensor_orders", "torque_orders"):
            fewer[name] = fewer[name][:, :orders]
        return replace(self, order=self.order[:orders], **fewer)


NOT_OVER_POINTS = ("mounts", "sensors", "felt", "contacts", "order")


def alike(first: Levels, second: Levels) -> bool:
    """Whether points can stand in one set: same mounts, sensors and orders."""
    names = first.mounts == second.mounts and first.sensors == second.sensors
    names = names and first.felt == second.felt and first.contacts == second.contacts
    return names and np.array_equal(first.order, second.order)


def together(parts: list[Levels]) -> Levels:
    """The points of several sets, which must be alike, one after the other."""
    joined: dict[str, Any] = {
        f.name: np.concatenate([getattr(part, f.name) for part in parts])
        for f in fields(Levels)
        if f.name not in NOT_OVER_POINTS
    }
    return replace(parts[0], **joined)


def run_levels(results: Group) -> Levels:
    """The one point of a post-processed run. The orders of what is not periodic are those of its whole record."""
    torque = results.groups["torque"]
    mounts, sensors = results.labels("mount"), results.labels("sensor")
    order = _orders(torque["order"]) if "order" in torque else np.zeros(0)
    net = torque.labels("torque").index(NET)
    none = np.full((len(order),), np.nan)
    felt, contacts, a8, comfort = felt_at(results)
    pressure = float(exact_values(results, "cylinder_pressure").max()) if "cylinder_pressure" in results else np.nan
    return Levels(
        mounts=mounts,
        sensors=sensors,
        felt=felt,
        contacts=contacts,
        order=order,
        speed=np.array([torque.attributes["mean_speed_rad_per_s"]]),
        mount_rms=_level(results, "mount_forces/resultant_rms", len(mounts)),
        sensor_rms=_level(results, "sensors/resultant_rms", len(sensors)),
        mount_orders=_phasors(results, "orders/mount_force", len(order), len(mounts))[None],
        sensor_orders=_phasors(results, "orders/sensor_acceleration", len(order), len(sensors))[None],
        torque_orders=(torque["amplitude"][: len(order), net] if "amplitude" in torque else none)[None],
        swing=torque["swing"][[net]],
        fluctuation=np.array([torque.attributes["speed_fluctuation"]]),
        peak_pressure=np.array([pressure]),
        brake_torque=np.array([float(exact_values(results, "load_torque").mean())]),
        a8=a8,
        comfort=comfort,
    )


def _orders(order: np.ndarray) -> np.ndarray:
    return order[order <= HIGHEST_ORDER + 1e-9]


def _level(results: Group, path: str, count: int) -> np.ndarray:
    return (results[path] if path in results else np.full(count, np.nan))[None]


def _phasors(results: Group, name: str, orders: int, count: int) -> np.ndarray:
    if f"{name}_amplitude" not in results:
        return np.full((orders, count, 3), np.nan + 0j)
    found = results[f"{name}_amplitude"][:orders] * np.exp(1j * results[f"{name}_phase"][:orders])
    return np.asarray(found)


def sweep_levels(read: Read) -> Levels:
    """All points of a sweep, in its order."""
    results, lead, points = read.results, len(read.shape), len(read.status)
    mounts, sensors = results.labels("mount"), results.labels("sensor")
    order = results["order"] if "order" in results else np.zeros(0)

    def kept(name: str, *shape: int) -> np.ndarray:
        if name not in results:
            return np.full((points, *shape), np.nan)
        data = results[name]
        return data.reshape(points, *data.shape[lead:])

    def phasors(name: str, count: int) -> np.ndarray:
        shape = (len(order), count, 3)
        return kept(f"{name}_amplitude", *shape) * np.exp(1j * kept(f"{name}_phase", *shape))

    felt, contacts, a8, comfort = felt_over(results, points, lead)
    torques = results.labels("torque")
    net = torques.index(NET) if NET in torques else 0
    return Levels(
        mounts=mounts,
        sensors=sensors,
        felt=felt,
        contacts=contacts,
        order=order,
        speed=kept("mean_speed"),
        mount_rms=kept("mount_force_resultant_rms", len(mounts)),
        sensor_rms=kept("sensor_resultant_rms", len(sensors)),
        mount_orders=phasors("mount_force_order", len(mounts)),
        sensor_orders=phasors("sensor_acceleration_order", len(sensors)),
        torque_orders=kept("torque_amplitude", len(order), max(len(torques), 1))[:, :, net],
        swing=kept("torque_swing", max(len(torques), 1))[:, net],
        fluctuation=kept("speed_fluctuation"),
        peak_pressure=kept("peak_pressure"),
        brake_torque=kept("brake_torque"),
        a8=a8,
        comfort=comfort,
    )
