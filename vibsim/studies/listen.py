"""A run made audible: the acceleration of a sensor, or the firing pulses through a simple exhaust."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from vibsim.engine.layout import resolve_layout
from vibsim.engine.valve_timing import VALVE_ANGLES, valve_angles
from vibsim.engine.volume import cylinder_volume
from vibsim.inputs.errors import InputError, nearest
from vibsim.inputs.loader import parse_case
from vibsim.inputs.models import CycleGas, Engine, MotoredGas
from vibsim.post.exhaust_sound import LEFT_OUT, Exhaust, exhaust_flow, open_share, radiated
from vibsim.results.labelled import Group
from vibsim.results.wav import Sound

RATE, SECONDS = 44100, 4.0
FINER = 4  # points of a cycle in time for each over crank angle
BLEND = math.radians(6.0)  # over which a valve lets the flow pass
LEAST_RATE = 2000.0  # Hz, of a record worth listening to


def looped(values: np.ndarray, period: float, seconds: float, rate: int = RATE) -> np.ndarray:
    """Samples of what repeats, from its values (n) at equal steps of a period (s), for about so many seconds.

    Whole periods in whole samples, so that the end joins the beginning when a player loops the file; the pitch is off
    by at most half a sample in all of them. Every harmonic below half the rate is kept, none is folded back.
    """
    periods = max(1, round(seconds / period))
    count = round(periods * period * rate)
    lines = np.fft.rfft(values) / len(values)
    highest = min((count - 1) // 2 // periods, (len(values) - 1) // 2)
    spectrum = np.zeros(count // 2 + 1, dtype=complex)
    spectrum[: highest * periods + 1 : periods] = lines[: highest + 1]
    return np.fft.irfft(spectrum * count, count)


def over_time(cycle: Group, name: str, points: int) -> np.ndarray:
    """A variable of an exact cycle at equal steps of time (points, ...), from its course over crank angle."""
    from scipy.interpolate import CubicSpline

    times, period = passing(cycle)
    values = cycle[name]
    spline = CubicSpline(np.append(times, period), np.concatenate([values, values[:1]]), bc_type="periodic")
    return spline(np.arange(points) * (period / points))


def passing(cycle: Group) -> tuple[np.ndarray, float]:
    """Times (n) s at which the crank passes the angles of an exact cycle, and its period s."""
    from scipy.interpolate import CubicSpline

    angle, length = cycle["cycle_angle"], float(cycle.attributes["cycle_length_rad"])
    slow = 1.0 / cycle["crank_speed"]
    whole = CubicSpline(np.append(angle, length), np.append(slow, slow[0]), bc_type="periodic").antiderivative()
    return whole(angle), float(whole(length))


def sensor_sound(results: Group, sensor: str, axis: str | None = None, seconds: float = SECONDS) -> Sound:
    """Acceleration (m/s²) of a sensor along an axis (default the one that moves most): an exact cycle of a steady run
    over and over, or the record as it is. Raises InputError for a sensor or record there is none of."""
    names = results.labels("sensor")
    if sensor not in names:
        known = nearest(sensor, names) if names else "the run has no sensors"
        raise InputError(f"--sensor: got {sensor!r}; {known}")
    index, steady = names.index(sensor), "cycle" in results.groups
    group = results.groups["cycle"] if steady else results
    felt = group["sensor_acceleration"][:, index]
    letters = results.labels("axis")
    along = int(felt.std(axis=0).argmax()) if axis is None else letters.index(axis)
    about = _about(results) | {"sensor": sensor, "axis": letters[along], "what": "acceleration"}
    name = f"{results.attributes['case_name']}-{sensor}"
    if not steady:
        return Sound(felt[:, along] - felt[:, along].mean(), _record_rate(results), "m/s2", name, about)
    _, period = passing(group)
    values = over_time(group, "sensor_acceleration", FINER * len(felt))[:, index, along]
    return Sound(looped(values - values.mean(), period, seconds), RATE, "m/s2", name, about)


def exhaust_sound(
    results: Group, exhaust: Exhaust | None = None, seconds: float = SECONDS, engine: Engine | None = None
) -> Sound:
    """Sound pressure (Pa) of the firing pulses at the mouth of a simple exhaust (`post.exhaust_sound`).

    `engine` is that of the results' case text unless given. Raises InputError where nothing pushes gas out.
    """
    exhaust, engine = exhaust or Exhaust(), engine or engine_of(results)
    if engine.gas.source == "none" or not np.ptp(results["cylinder_pressure"]) > 0.0:
        raise InputError("--exhaust: the run has no cylinder pressure to let out; allowed with engine.gas.source other")
    about = _about(results) | {
        "what": "sound pressure of the firing pulses",
        "distance_m": exhaust.distance,
        "primary_mm": [1e3 * exhaust.primary_length, 1e3 * exhaust.primary_diameter],
        "tail_mm": [1e3 * exhaust.tail_length, 1e3 * exhaust.tail_diameter],
        "gas_K": exhaust.temperature,
        "left_out": LEFT_OUT,
    }
    name, count = f"{results.attributes['case_name']}-exhaust", len(engine.cylinder)
    if "cycle" not in results.groups:
        heard = _record_rate(results)
        flow = _flow(results["cylinder_pressure"], results["crank_angle"], heard, engine, periodic=False)
        return Sound(radiated(exhaust, count, flow, heard, periodic=False), heard, "Pa", name, about)
    cycle = results.groups["cycle"]
    times, period = passing(cycle)
    points = FINER * len(times)
    rate = points / period
    length = cycle.attributes["cycle_length_rad"]
    angle = np.interp(np.arange(points) / rate, np.append(times, period), np.append(cycle["cycle_angle"], length))
    pressure = over_time(cycle, "cylinder_pressure", points)
    flow = _flow(pressure, angle, rate, engine, periodic=True)
    sound = radiated(exhaust, count, flow, rate, periodic=True)
    return Sound(looped(sound, period, seconds), RATE, "Pa", name, about)


def _flow(pressure: np.ndarray, angle: np.ndarray, rate: float, engine: Engine, periodic: bool) -> np.ndarray:
    """Flow (n) m³/s of all cylinders together into the pipes, from their pressures (n, cylinders) over time."""
    layout, (opens, closes) = resolve_layout(engine), _exhaust_valve(engine)
    speed = np.gradient(np.unwrap(angle, period=layout.cycle), 1.0 / rate)
    flow = np.zeros(len(angle))
    for index, cylinder in enumerate(layout.cylinders):
        local, p = angle - cylinder.firing, pressure[:, index]
        volume, slope = cylinder_volume(cylinder, local)
        change = 0.5 * rate * (np.roll(p, -1) - np.roll(p, 1)) if periodic else np.gradient(p, 1.0 / rate)
        share = open_share(local, opens, closes, layout.cycle, BLEND)
        flow += exhaust_flow(p, change, volume, slope * speed, share)
    return flow


def _exhaust_valve(engine: Engine) -> tuple[float, float]:
    """Opening and closing, rad from firing top dead centre; usual ones where the gas does not say."""
    opens, closes = (math.radians(angle) for angle in VALVE_ANGLES[engine.strokes][2:])
    if isinstance(engine.gas, CycleGas):
        return valve_angles(engine.gas, engine.strokes)[2:]
    if isinstance(engine.gas, MotoredGas):
        opens = engine.gas.opens
    return opens, closes


def engine_of(results: Group) -> Engine:
    """The engine of the case text in the results."""
    engine = parse_case(str(results.attributes["case_text"])).case.engine
    if engine is None:
        raise InputError("--exhaust: the run has no engine; allowed with an [engine] table")
    return engine


def _about(results: Group) -> dict[str, Any]:
    torque = results.groups["torque"].attributes
    steady = "cycle" in results.groups
    return {
        "case": results.attributes["case_name"],
        "run_kind": results.attributes["run_kind"],
        "mean_speed_rpm": torque["mean_speed_rad_per_s"] * 30.0 / math.pi,
        "load": results.attributes["load"],
        "made_of": "one exact cycle over and over" if steady else "the time record as it is",
    }


def _record_rate(results: Group) -> int:
    time = results["time"]
    rate = (len(time) - 1) / float(time[-1] - time[0]) if len(time) > 1 else 0.0
    if rate < LEAST_RATE:
        raise InputError(f"run.sample_rate: got {rate:g} Hz; a record needs at least {LEAST_RATE:g} Hz to be heard")
    return round(rate)
