"""What each mount, cylinder, source and order contributes to what a sensor feels: complex parts that add up to it.

A part counts by its share in phase with the whole, Re(part·conj(whole))/|whole|² summed over axes and orders: shares
add up to one, a negative one cancels (derived; the projection of the part on the whole). Orders share by their part of
the mean square, which adds up by Parseval.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from vibsim.inputs.errors import InputError, nearest
from vibsim.inputs.loader import CaseFile
from vibsim.post.orders import angle_grid, orders_over
from vibsim.results.labelled import Group
from vibsim.solver.crank_torque import mean_torque
from vibsim.solver.order_response import HIGHEST_SUMMED, OrderResponse, order_response
from vibsim.solver.packed import pack
from vibsim.solver.paths import paths_of
from vibsim.solver.push_parts import PushParts, Source, push_parts
from vibsim.solver.varied import with_misfire

By = Literal["mount", "cylinder", "source", "order"]
EVERY: tuple[By, ...] = ("mount", "cylinder", "source", "order")
AXES = ("X", "Y", "Z")
PAST = "not through these mounts"
SAME_SPEED = 1e-3
KINDS = {
    "gas": "gas",
    "reciprocating": "reciprocating mass",
    "rotating": "rotating mass",
    "counterweights": "rotating mass",
    "balance shaft": "balance shafts",
}


@dataclass(frozen=True)
class Share:
    """One contribution: `amplitude` (orders, axes) complex m/s², `rms` alone, `share` in phase with the whole."""

    name: str
    amplitude: np.ndarray
    rms: float
    share: float


@dataclass(frozen=True)
class Contributions:
    """What a sensor feels at a crank speed (rad/s), counted over the crank angle: value = Re(amplitude·e^{i·order·θ}).

    `orders` (n); `part` (n, sources, paths, axes) complex m/s²; `total` (n, axes) solved in one piece; `gap` greatest
    size of the parts' sum less the total, over the greatest total; `run` (n, axes) of a run in time, None without.
    """

    title: str
    sensor: str
    speed: float
    orders: np.ndarray
    axes: tuple[str, ...]
    sources: tuple[Source, ...]
    paths: tuple[str, ...]
    part: np.ndarray
    total: np.ndarray
    gap: float
    misfire: str
    run: np.ndarray | None = None

    @property
    def rms(self) -> float:
        """Of the whole, all orders and axes together, m/s²."""
        return float(np.sqrt(0.5 * np.sum(np.abs(self.total) ** 2)))

    @property
    def run_gap(self) -> float | None:
        """Rms of the run less the linear total, over that of the run."""
        if self.run is None:
            return None
        return float(np.linalg.norm(self.run - self.total) / np.linalg.norm(self.run))

    def at(self, orders: tuple[float, ...]) -> Contributions:
        """The same of some orders alone. Raises InputError for one that is not there."""
        picked = []
        for order in orders:
            place = int(np.argmin(np.abs(self.orders - order)))
            if abs(self.orders[place] - order) > 1e-9:
                step = float(self.orders[1] - self.orders[0])
                raise InputError(
                    f"--orders: got {order:g}; must be {self.orders[0]:g} to {self.orders[-1]:g} in steps of {step:g}"
                )
            picked.append(place)
        picked = sorted(set(picked))
        run = None if self.run is None else self.run[picked]
        some = {"orders": self.orders[picked], "part": self.part[picked], "total": self.total[picked], "run": run}
        return Contributions(**vars(self) | some)

    def by(self, what: By) -> list[Share]:
        """Contributions, the greatest share first."""
        found = [self._share(name, amplitude) for name, amplitude in self._grouped(what).items()]
        return sorted(found, key=lambda item: -item.share)

    def rows(self) -> list[dict[str, Any]]:
        """One row per way of looking and contribution: level, share, size and phase per order and axis."""
        return [
            {
                "by": what,
                "name": item.name,
                "rms_m_per_s2": item.rms,
                "share": item.share,
                "orders": [
                    {
                        "order": float(order),
                        "amplitude_m_per_s2": dict(zip(self.axes, np.abs(felt).tolist(), strict=True)),
                        "phase_deg": dict(zip(self.axes, np.degrees(np.angle(felt)).tolist(), strict=True)),
                    }
                    for order, felt in zip(self.orders, item.amplitude, strict=True)
                    if np.any(felt)
                ],
            }
            for what in EVERY
            for item in self.by(what)
        ]

    def _share(self, name: str, amplitude: np.ndarray) -> Share:
        size = float(np.sum(np.abs(self.total) ** 2))
        along = float(np.sum(np.real(amplitude * self.total.conj())))
        rms = float(np.sqrt(0.5 * np.sum(np.abs(amplitude) ** 2)))
        return Share(name, amplitude, rms, along / size if size else 0.0)

    def _grouped(self, what: By) -> dict[str, np.ndarray]:
        """Complex amplitudes (orders, axes) by name."""
        if what == "mount":
            return dict(zip(self.paths, np.moveaxis(self.part.sum(axis=1), 1, 0), strict=True))
        if what == "order":
            found = {}
            for n, order in enumerate(self.orders):
                found[f"order {order:g}"] = np.where(np.arange(len(self.orders))[:, None] == n, self.total, 0.0)
            return found
        groups: dict[str, np.ndarray] = {}
        for n, source in enumerate(self.sources):
            name = KINDS[source.kind] if what == "source" else _owner(source)
            groups[name] = groups.get(name, 0.0) + self.part[:, n].sum(axis=1)
        return groups


def _owner(source: Source) -> str:
    if source.kind == "counterweights":
        return "crank counterweights"
    return f"{'balance shaft' if source.kind == 'balance shaft' else 'cylinder'} {source.owner}"


def contributions(
    case_file: CaseFile,
    sensor: str,
    speed: float,
    along: str | None = None,
    mounts_of: str | None = None,
    results: Group | None = None,
) -> Contributions:
    """What contributes to a sensor at a crank speed (rad/s) at the run's load, its misfire in force, along one vehicle
    axis or all three; through the mounts of a body, that of the engine unless named; beside the results of a run.

    Raises InputError for a case without engine, run, mounts or that sensor, or results of another speed; RunFailure
    when there is no equilibrium.
    """
    case = case_file.case
    if case.engine is None:
        raise InputError("engine: is missing; contributions need an [engine] table")
    if not case.mount:
        raise InputError("mount: is missing; contributions go through mounts")
    names = [item.name for item in case.sensor]
    if sensor not in names:
        raise InputError(f"--sensor: got '{sensor}'; {nearest(sensor, names)}")
    axes = AXES if along is None else (along,)
    picked, which = [AXES.index(axis) for axis in axes], names.index(sensor)
    response = _response(case_file, speed)
    paths = paths_of(response, mounts_of)
    parts = push_parts(response.packed, case.engine, speed, response.torque)
    count = round(HIGHEST_SUMMED * response.turns) + 1
    over_time = []
    for step in range(count):
        felt = paths.felt(step / response.turns * response.speed, _push_of(response, parts, step)) if step else None
        shape = (len(paths.cut) + 1, 3, len(parts.sources))
        over_time.append(np.zeros(shape, dtype=complex) if felt is None else felt[:, which])
    part = np.moveaxis(response.push.over_angle(np.array(over_time)), 3, 1)[1:, :, :, picked]
    total = response.over_angle()[0][1:, which, picked]
    gap = np.abs(part.sum(axis=(1, 2)) - total).max() / np.abs(total).max()
    misfire = "" if case.run is None or case.run.misfire is None else ", ".join(case.run.misfire.cylinders)
    return Contributions(
        title=case.case.title or case_file.name,
        sensor=sensor,
        speed=speed,
        orders=np.arange(1, count) / response.turns,
        axes=axes,
        sources=parts.sources,
        paths=(*(case.mount[n].name for n in paths.cut), PAST),
        part=part,
        total=total,
        gap=float(gap),
        misfire=misfire,
        run=None if results is None else _of_run(results, which, picked, count, speed),
    )


def _push_of(response: OrderResponse, parts: PushParts, step: int) -> np.ndarray:
    """Push (unknowns, sources) of a harmonic, what the rotors hand on to the bodies with it."""
    push = parts.amplitude[:, step].T
    if parts.torque is None or response.model.rotors is None:
        return push
    return push + response.model.rotors.handed(step / response.turns * response.speed, parts.torque[:, step].T)


def _response(case_file: CaseFile, speed: float) -> OrderResponse:
    """The linear model with the run's misfire."""
    case = case_file.case
    if case.run is None:
        raise InputError("run: is missing; what sensors feel is asked at its load")
    run = case.run.model_copy(update={"kind": "steady", "speed": speed, "variation": None})
    packed = with_misfire(pack(case.model_copy(update={"run": run}), case_file.folder), run)
    return order_response(packed, case.sensor, speed, mean_torque(packed, speed), case.mount)


def _of_run(results: Group, sensor: int, axes: list[int], count: int, speed: float) -> np.ndarray:
    """Complex amplitudes (orders, axes) of a sensor in a steady run."""
    grid, orders = angle_grid(results), orders_over(results, "sensor_acceleration")
    if grid is None or orders is None or not grid[2]:
        raise InputError("--result: got no steady run; must be the results of one, at the speed asked for")
    ran = float(results.attributes["set_speed_rad_per_s"])
    if abs(ran - speed) > SAME_SPEED * speed:
        rpm = 30.0 / math.pi
        raise InputError(f"--result: got a run at {ran * rpm:g} rpm; must be at --speed-rpm {speed * rpm:g}")
    if orders.amplitude.shape[1] <= sensor or len(orders.order) < count:
        raise InputError("--result: got a run of another case, or with too few points_per_cycle")
    found = orders.amplitude * np.exp(1j * orders.phase)
    return np.asarray(found[1:count, sensor][:, axes])
