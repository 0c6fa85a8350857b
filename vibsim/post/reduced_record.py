"""What a sweep keeps of a run that is no steady point: peaks and levels over its record, exposure, and what came of it.

What a point has not (the time to a boost that is not reached) is nan, so that all points hold the same quantities.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from vibsim.post.reduced import SENSOR_LEVELS, complete, keep_exposure, keep_levels, keep_record
from vibsim.results.labelled import Group

LEVELS = (
    ("mount_forces", "mean", "mount_force_mean"),
    ("mount_forces", "rms", "mount_force_rms"),
    ("mount_forces", "resultant_rms", "mount_force_resultant_rms"),
    ("mount_forces", "varying_peak", "mount_force_varying_peak"),
    ("mount_forces", "resultant_peak", "mount_force_resultant_peak"),
    *SENSOR_LEVELS,
    ("sensors", "resultant_peak", "sensor_resultant_peak"),
    ("torque", "mean", "torque_mean"),
    ("torque", "swing", "torque_swing"),
    ("torque", "rms", "torque_rms"),
    ("road", "force_mean", "tyre_force_mean"),
    ("road", "force_rms", "tyre_force_rms"),
    ("road", "force_least", "tyre_force_least"),
    ("road", "force_greatest", "tyre_force_greatest"),
    ("road", "share_off_road", "tyre_share_off_road"),
)
RECORD_GROUPS = ("mount_forces", "sensors", "exposure", "torque", "load_step", "road")  # that it is read from
UNITS = {"_rad_per_s": "rad s-1", "_N_m": "N m", "_rad": "rad", "_Pa": "Pa", "_s": "s", "_J": "J", "_A": "A"}
UNITS |= {"_V": "V", "_K": "K"}
OF_EVERY_STEP = ("begin_s", "end_s", "first_speed_rad_per_s", "last_speed_rad_per_s", "turns")
OF_KIND = {
    "start": (
        "cranking_speed_rad_per_s",
        "first_firing_after_s",
        "greatest_starter_current_A",
        "least_battery_voltage_V",
        "idle_speed_after_s",
        "greatest_speed_rad_per_s",
    ),
    "idle": ("mean_speed_rad_per_s", "speed_error_rad_per_s", "speed_fluctuation"),
    "stop": ("crank_at_rest_after_s", "reversals", "turned_back_rad", "rest_angle_rad"),
}
OF_LOAD_STEP = (
    "brake_torque_before_N_m",
    "brake_torque_after_N_m",
    "intake_pressure_before_Pa",
    "intake_pressure_after_Pa",
    "time_to_50_percent_of_rise_s",
    "time_to_90_percent_of_rise_s",
)
OF_CHARGING = (
    "target_boost_Pa",
    "boost_after_Pa",
    "time_to_50_percent_of_target_s",
    "time_to_90_percent_of_target_s",
)
OF_BATTERY = ("battery_energy_J", "greatest_battery_current_A", "hottest_winding_K", "hottest_inverter_K")


def reduce_record(results: Group, histories: bool = False) -> Group:
    """Quantities of a post-processed run over time that a sweep keeps; with `histories` also its record."""
    kept = Group()
    keep_levels(results, kept, LEVELS)
    keep_exposure(results, kept)
    for name, (source, units, words, value) in SCALARS.items():
        if source in results:
            kept.add(name, (), float(value(results[source])), units, words)
    if "mount_deflection" in results:
        most = np.linalg.norm(results["mount_deflection"], axis=2).max(axis=0)
        kept.add("mount_deflection_peak", ("mount",), most, "m", "greatest size of the mount's deflection, from drawn")
    _keep_load_step(results, kept)
    _keep_steps(results, kept)
    if histories:
        keep_record(results, kept)
    return complete(results, kept)


def _keep_load_step(results: Group, kept: Group) -> None:
    if "load_step" not in results.groups:
        return
    names = OF_LOAD_STEP + (OF_CHARGING if "charger" in results.groups else ())
    names += OF_BATTERY if "battery_energy" in results else ()
    found = results.groups["load_step"].attributes
    for name in names:
        plain, units = _unit_of(name)
        kept.add(plain, (), float(found.get(name, math.nan)), units, f"load step: {plain.replace('_', ' ')}")


def _keep_steps(results: Group, kept: Group) -> None:
    """What came of every step: a number, of several steps one for each; nan where a kind of step has none."""
    if "steps" not in results.groups:
        return
    steps = [group.attributes for group in results.groups["steps"].groups.values()]
    works = tuple(dict.fromkeys(name for step in steps for name in step if name.endswith("_work_J")))
    kinds = tuple(dict.fromkeys(str(step["kind"]) for step in steps))
    names = OF_EVERY_STEP + tuple(name for kind in kinds for name in OF_KIND.get(kind, ())) + works
    several = len(steps) > 1
    dims = ("run_step",) if several else ()
    if several:
        labels = np.array([f"{n} {step['kind']}" for n, step in enumerate(steps, start=1)], dtype=object)
        kept.add("run_step", dims, labels, "1", "step of the run, its number and kind")
        _keep_levels_of_steps(results, kept, len(steps))
    for name in names:
        plain, units = _unit_of(name)
        values = np.array([float(step.get(name, math.nan)) for step in steps])
        kept.add(f"step_{plain}", dims, values if several else values[0], units, f"step: {plain.replace('_', ' ')}")


def _keep_levels_of_steps(results: Group, kept: Group, count: int) -> None:
    """Rms and peak of the varying force and of the acceleration in every step, of the whole vector."""
    for source, of, name, units, words in (
        ("mount_force", "mount", "step_mount_force", "N", "varying force of a step"),
        ("sensor_acceleration", "sensor", "step_sensor", "m s-2", "acceleration in a step"),
    ):
        if source not in results:
            continue
        pieces = [results[source][results["step"] == n] for n in range(count)]
        if of == "mount":
            pieces = [piece - piece.mean(axis=0) for piece in pieces]
        size = [np.linalg.norm(piece, axis=2) for piece in pieces]
        rms, peak = [np.sqrt((one**2).mean(axis=0)) for one in size], [one.max(axis=0) for one in size]
        kept.add(f"{name}_resultant_rms", ("run_step", of), np.array(rms), units, f"rms of the {words}")
        kept.add(f"{name}_resultant_peak", ("run_step", of), np.array(peak), units, f"greatest size of the {words}")


def _unit_of(name: str) -> tuple[str, str]:
    """A name without its unit, and that."""
    for ending, units in UNITS.items():
        if name.endswith(ending):
            return name.removesuffix(ending), units
    return name, "1"


SCALARS: dict[str, tuple[str, str, str, Callable[[np.ndarray], float]]] = {
    "duration": ("time", "s", "length of the record", lambda time: time[-1] - time[0]),
    "mean_speed": ("crank_speed", "rad s-1", "mean crank speed over time", np.mean),
    "least_speed": ("crank_speed", "rad s-1", "least crank speed", np.min),
    "greatest_speed": ("crank_speed", "rad s-1", "greatest crank speed", np.max),
    "brake_torque": ("load_torque", "N m", "mean output torque over time", np.mean),
    "peak_pressure": ("cylinder_pressure", "Pa", "greatest cylinder pressure", np.max),
    "greatest_shaft_torque": ("shaft_torque", "N m", "greatest size of any shaft's torque", lambda t: np.abs(t).max()),
}
