"""Level over frequency and crank speed with order lines, mode lines and order cuts: of a run-up, of steady runs, or of
a case by the linear model."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from vibsim.inputs.errors import InputError, nearest
from vibsim.inputs.loader import CaseFile, parse_case
from vibsim.post.channels import channel_of
from vibsim.post.colour_map import LevelMap, order_levels_as_map, short_time_levels, sweep_resolution
from vibsim.post.tracking import turning_part
from vibsim.results.labelled import Group
from vibsim.solver.order_response import HIGHEST_SUMMED
from vibsim.solver.simulate import Progress, no_progress
from vibsim.studies.cures.cure import response_of
from vibsim.studies.modes import modes_result
from vibsim.studies.order_tracking import OrdersFound, find_orders
from vibsim.studies.response import AXES, order_levels

RPM = 30.0 / math.pi
STRONG, SPARE = 0.2, 1.1  # of the strongest order's greatest level: an order that the map must show; room above it
ABOVE_MODES = 1.25  # times the highest mode that an order meets
LINES = 200  # over the frequency axis, of a map from steady points
EVEN_STEPS = 0.25  # of the mean step between steady speeds


@dataclass(frozen=True)
class Mode:
    """A mode line: Hz, and the body and direction that move most."""

    frequency: float
    name: str


@dataclass(frozen=True)
class ColourMap:
    """A level map (`unit` amplitude) of what `of` names, `how` it was had; `rms` (speeds, orders) of `orders` and
    `overall` (speeds) rms at `cut_speed` (rad/s); `modes` with the crank turning freely, none where `no_modes` says
    why."""

    title: str
    of: str
    unit: str
    how: str
    map: LevelMap
    cut_speed: np.ndarray
    orders: np.ndarray
    rms: np.ndarray
    overall: np.ndarray
    modes: tuple[Mode, ...]
    no_modes: str = ""

    def rows(self) -> list[dict[str, Any]]:
        """One row per speed of the cuts: overall rms, and that of every order."""
        return [
            {"speed_rpm": float(speed) * RPM, "unit": f"{self.unit} rms", "overall": float(overall)}
            | {f"order_{order:g}": float(value) for order, value in zip(self.orders, rms, strict=True)}
            for speed, overall, rms in zip(self.cut_speed, self.overall, self.rms, strict=True)
        ]

    def strongest(self, most: int) -> list[int]:
        """Indices of the orders with the highest cuts, by number."""
        return sorted(np.argsort(self.rms.max(axis=0))[::-1][:most].tolist())

    def peaks(self, most: int) -> list[dict[str, Any]]:
        """The strongest orders: where each cut is highest."""
        found = []
        for o in self.strongest(most):
            at = int(self.rms[:, o].argmax())
            speed = float(self.cut_speed[at])
            found.append(
                {
                    "order": float(self.orders[o]),
                    "rms": float(self.rms[at, o]),
                    "unit": f"{self.unit} rms",
                    "speed_rpm": speed * RPM,
                    "frequency_Hz": float(self.orders[o]) * speed / (2.0 * math.pi),
                }
            )
        return found


def map_of_case(
    case_file: CaseFile,
    speeds: np.ndarray,
    of: str | None = None,
    along: str | None = None,
    highest: float | None = None,
    resolution: float | None = None,
    progress: Progress = no_progress,
) -> ColourMap:
    """The map of a sensor or mount over crank speeds (n, rad/s) in equal steps, by the linear model at steady points.

    Raises InputError for a name the case has not, or what `order_levels` needs.
    """
    found = order_levels(case_file, speeds, _all_orders(case_file), progress)
    named = {**dict.fromkeys(found.mounts, "mount"), **dict.fromkeys(found.sensors, "sensor")}
    name = of if of is not None else (found.sensors or found.mounts)[0]
    if name not in named:
        raise InputError(f"--of: got '{name}'; no such sensor or mount; {nearest(name, list(named))}")
    felt = found.sensor[:, :, found.sensors.index(name)] if named[name] == "sensor" else None
    felt = found.mount[:, :, found.mounts.index(name)] if felt is None else felt
    size = np.linalg.norm(felt if along is None else felt[..., [AXES.index(along)]], axis=-1)
    unit = "m/s²" if named[name] == "sensor" else "N"
    how = f"{len(speeds)} steady speeds by the linear model, orders up to {HIGHEST_SUMMED:g}, no run"
    return _of_lines(
        (found.title, _words(name, along), unit, how),
        found.speeds,
        np.array(found.orders),
        size,
        (highest, resolution),
        _modes_or_why(case_file, float(np.mean(speeds))),
    )


def _all_orders(case_file: CaseFile) -> tuple[float, ...] | None:
    engine = case_file.case.engine
    if engine is None:
        return None
    turns = engine.strokes // 2
    return tuple(step / turns for step in range(1, round(HIGHEST_SUMMED * turns) + 1))


def map_of_runs(
    runs: list[Group],
    of: str | None = None,
    along: str | None = None,
    highest: float | None = None,
    resolution: float | None = None,
) -> ColourMap:
    """The map of a channel over several steady runs, whose speeds must rise in about equal steps.

    Raises InputError for a run that is not steady, or speeds twice or unevenly apart.
    """
    found = sorted((find_orders(run, of, along) for run in runs), key=lambda item: float(item.tracked.speed[0]))
    if not all(item.exact for item in found):
        raise InputError("results: several make a map of steady runs; one of them is not steady")
    channels = {(item.channel.variable, item.channel.labels) for item in found}
    if len(channels) != 1:
        raise InputError("results: the runs do not have the same sensors, mounts or bodies")
    speed = np.array([float(item.tracked.speed[0]) for item in found])
    steps = np.diff(speed)
    if len(speed) < 3 or steps.max() - steps.min() > EVEN_STEPS * steps.mean():
        raise InputError("results: a map of steady runs needs three at least, their speeds in equal steps")
    lines = min(len(item.tracked.orders) for item in found)
    worst = _worst(found[-1])
    size = np.array([item.size()[0, 1:lines, worst] for item in found])
    channel = found[0].channel
    of_words = _words(channel.labels[worst], along)
    how = f"{len(found)} steady runs, orders of exact cycles"
    modes = modes_of_results(runs[0], float(speed.mean()))
    orders = found[0].tracked.orders[1:lines]
    return _of_lines((found[0].title, of_words, channel.unit, how), speed, orders, size, (highest, resolution), modes)


def map_of_record(
    results: Group,
    of: str | None = None,
    along: str | None = None,
    highest: float | None = None,
    resolution: float | None = None,
) -> ColourMap:
    """The map of a channel along a record of changing speed, by short-time spectra; cuts from tracked orders.

    Of a programme that step counts whose speed changes most. Raises InputError for a record whose speed hardly changes,
    or a steady run, whose speed does not.
    """
    results, stretch = step_of_most_change(results)
    found = find_orders(results, of, along)
    if found.exact:
        raise InputError("results: of a steady run; a colour map needs a run-up, several steady runs, or a case")
    channel = channel_of(results, of, along)
    part = turning_part(results["crank_angle"])
    worst, data = _worst(found), found.tracked
    values, angle, time = channel.of(results)[part][:, worst], results["crank_angle"][part], results["time"][part]
    size = found.size()[:, 1:, worst]
    modes, why = modes_of_results(results, float(data.speed.mean()))
    top = _highest(highest, data.speed, data.orders[1:], size, modes)
    lines = resolution or sweep_resolution(time, angle)
    level = short_time_levels(values, angle, time, top, lines)
    order = np.argsort(data.speed)
    windows = f"short-time spectra, Hann windows of {1.0 / level.resolution:.3g} s"
    how = f"{windows}; cuts: orders tracked over crank angle{stretch}"
    return ColourMap(
        title=found.title,
        of=_words(channel.labels[worst], along),
        unit=channel.unit,
        how=how,
        map=level,
        cut_speed=data.speed[order],
        orders=data.orders[1:],
        rms=size[order] / math.sqrt(2.0),
        overall=np.linalg.norm(data.overall[order][:, worst], axis=-1),
        modes=modes,
        no_modes=why,
    )


def step_of_most_change(results: Group) -> tuple[Group, str]:
    """The record of a programme's step whose speed changes most, and in words which; any other record as it is."""
    if "step" not in results:
        return results, ""
    step, speed = results["step"], results["crank_speed"]
    numbers = np.unique(step)
    if len(numbers) < 2:
        return results, ""
    change = [abs(speed[step == n][-1] - speed[step == n][0]) for n in numbers]
    chosen = step == numbers[int(np.argmax(change))]
    kept = Group({}, results.attributes, results.groups)
    for name, item in results.variables.items():
        over_time = item.dims[:1] == ("time",)
        kept.variables[name] = replace(item, data=item.data[chosen]) if over_time else item
    first, last = results["time"][chosen][[0, -1]]
    return kept, f"; {first:.1f} to {last:.1f} s of the record"


def _worst(found: OrdersFound) -> int:
    return int(np.linalg.norm(found.tracked.overall, axis=-1).max(axis=0).argmax())


def _highest(
    asked: float | None, speed: np.ndarray, orders: np.ndarray, size: np.ndarray, modes: tuple[Mode, ...]
) -> float:
    """Frequency (Hz) the map reaches unless asked otherwise: every order that comes to STRONG of the strongest one's
    amplitude (speeds, orders) at the highest speed, and every mode that such an order meets."""
    strong = orders[size.max(axis=0) >= STRONG * size.max()]
    low, high = float(strong.min()) * float(speed.min()), float(strong.max()) * float(speed.max())
    met = [mode.frequency for mode in modes if low < 2.0 * math.pi * mode.frequency < high]
    return asked or max(SPARE * high / (2.0 * math.pi), ABOVE_MODES * max(met, default=0.0))


def _words(name: str, along: str | None) -> str:
    return name if along is None else f"{name} along {along}"


def _of_lines(words, speed: np.ndarray, orders: np.ndarray, size: np.ndarray, asked, modes) -> ColourMap:
    """A map from amplitudes (speeds, orders) at steady speeds."""
    title, of, unit, how = words
    top = _highest(asked[0], speed, orders, size, modes[0])
    level = order_levels_as_map(speed, orders, size, top, asked[1] or top / LINES)
    rms = size / math.sqrt(2.0)
    overall = np.linalg.norm(rms, axis=1)
    return ColourMap(title, of, unit, how, level, speed, orders, rms, overall, *modes)


def mode_lines(case_file: CaseFile, speed: float) -> tuple[Mode, ...]:
    """Modes with the crank turning freely at a speed (rad/s), under the run's mean torque there, those of wheels,
    occupants and elastic bodies among them. Raises InputError where nothing holds a body."""
    response = response_of(case_file, speed)
    found = modes_result(case_file.case, response.packed, response.linear, (), "")
    return tuple(
        Mode(float(frequency), " ".join(found.dominant(n)[:2])) for n, frequency in enumerate(found.modes.frequency)
    )


def _modes_or_why(case_file: CaseFile, speed: float) -> tuple[tuple[Mode, ...], str]:
    try:
        return mode_lines(case_file, speed), ""
    except InputError as error:
        return (), f"no mode lines: {error.problems[0]}"


def modes_of_results(results: Group, speed: float) -> tuple[tuple[Mode, ...], str]:
    """Mode lines of the case text that the results hold, or why there are none."""
    text, name = str(results.attributes["case_text"]), str(results.attributes["case_name"])
    if not text:
        return (), "no mode lines: the results hold no case text"
    try:
        return _modes_or_why(parse_case(text, Path(), name), speed)
    except InputError as error:
        return (), f"no mode lines: {error.problems[0]}"
