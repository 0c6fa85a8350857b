"""How an engine answers a load step: how soon the boost is there, what torque there is before and after, what it
costs."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np

from vibsim.results.labelled import Group

SHARES = (50, 90)  # per cent


def load_step_group(results: Group) -> Group | None:
    """Attributes: brake torque before and after; times after the step, in s, to shares of the rise of the intake's
    pressure, and of the target boost where there is one that is reached; of an electric charger the energy taken from
    the battery (J), greatest current (A) and hottest winding and inverter (K)."""
    if results.attributes["run_kind"] != "load_step":
        return None
    time, step = results["time"], float(results.attributes["step_at_s"])
    torque = work_mean(results, "load_torque")
    pressure = cycle_mean(results, "intake_pressure")
    before = max(int(np.searchsorted(time, step, side="right")) - 1, 0)
    found: dict[str, Any] = {
        "brake_torque_before_N_m": float(torque[before]),
        "brake_torque_after_N_m": float(torque[-1]),
        "intake_pressure_before_Pa": float(pressure[before]),
        "intake_pressure_after_Pa": float(pressure[-1]),
    }
    if results.attributes["load_after"] != results.attributes["load"]:
        rise = (results["intake_pressure"] - pressure[before]) / (pressure[-1] - pressure[before])
        found |= _times("time_to_{}_percent_of_rise_s", rise, time, step)
    if "charger" in results.groups:
        target = results.groups["charger"].attributes["target_boost_Pa"]
        found["target_boost_Pa"] = target
        found["boost_after_Pa"] = float(cycle_mean(results, "boost")[-1])
        if results.attributes["load_after"] > results.attributes["load"]:
            found |= _times("time_to_{}_percent_of_target_s", results["boost"] / target, time, step)
    if "battery_energy" in results:
        found["battery_energy_J"] = float(results["battery_energy"][-1])
        found["greatest_battery_current_A"] = float(results["battery_current"].max())
        found["hottest_winding_K"] = float(results["winding_temperature"].max())
        found["hottest_inverter_K"] = float(results["inverter_temperature"].max())
    return Group(attributes=found)


def _times(name: str, share: np.ndarray, time: np.ndarray, step: float) -> dict[str, float]:
    """Seconds after the step to shares (per cent) of 1; those not reached are left out."""
    found = {}
    for percent in SHARES:
        there = np.flatnonzero((time >= step) & (share >= 0.01 * percent))
        if there.size:
            found[name.format(percent)] = float(time[there[0]] - step)
    return found


def cycle_mean(results: Group, name: str) -> np.ndarray:
    """A quantity (n) over time, each point its mean over the time of the working cycle up to there; over what there is
    of it at the start."""
    angle, time = results["crank_angle"], results["time"]
    return _mean_over(results[name], time, np.interp(angle - _cycle(results), angle, time))


def whole_cycles(results: Group) -> list[slice]:
    """Places in time of every whole working cycle of the record, each about a multiple of its length in crank angle."""
    count = np.floor(results["crank_angle"] / _cycle(results) + 0.5)
    edges = np.flatnonzero(np.diff(count)) + 1
    return [slice(int(begin), int(end)) for begin, end in itertools.pairwise(edges)]


def work_mean(results: Group, name: str) -> np.ndarray:
    """The same of a torque, as work over crank angle: where the speed swings, more counts of what comes while it is
    fast."""
    angle = results["crank_angle"]
    return _mean_over(results[name], angle, np.maximum(angle - _cycle(results), angle[0]))


def _cycle(results: Group) -> float:
    return float((4.0 if results.attributes["strokes"] == 4 else 2.0) * np.pi)


def _mean_over(values: np.ndarray, along: np.ndarray, start: np.ndarray) -> np.ndarray:
    """Mean of values (n) along a rising quantity (n) from a start (n) to each point."""
    total = np.concatenate([[0.0], np.cumsum(0.5 * (values[1:] + values[:-1]) * np.diff(along))])
    span = along - start
    return np.where(span > 0.0, (total - np.interp(start, along, total)) / np.where(span > 0.0, span, 1.0), values)
