"""What a sweep keeps of a steady point: levels, orders, torque, exposure, without histories.

What it keeps of other runs is in `reduced_record`.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from vibsim.post.levels import exact_values
from vibsim.results.labelled import Group

HIGHEST_ORDER = 12.0
# of which group, variable there, name here
SENSOR_LEVELS = (
    ("sensors", "rms", "sensor_rms"),
    ("sensors", "peak", "sensor_peak"),
    ("sensors", "resultant_rms", "sensor_resultant_rms"),
)
LEVELS = (
    ("mount_forces", "mean", "mount_force_mean"),
    ("mount_forces", "rms", "mount_force_rms"),
    ("mount_forces", "resultant_rms", "mount_force_resultant_rms"),
    ("mount_forces", "varying_peak", "mount_force_varying_peak"),
    *SENSOR_LEVELS,
    ("torque", "mean", "torque_mean"),
    ("torque", "swing", "torque_swing"),
    ("torque", "rms", "torque_rms"),
    ("torque", "amplitude", "torque_amplitude"),
)
GROUPS = ("mount_forces", "sensors", "orders", "exposure", "torque")  # that it is read from
ORDERS = ("mount_force", "sensor_acceleration", "crank_speed")


def reduce_results(results: Group, histories: bool = False) -> Group:
    """Quantities of a post-processed steady run that a sweep keeps; with `histories` also those over one cycle, or
    over time where cycles differ."""
    kept = Group()
    keep_levels(results, kept, LEVELS)
    _keep_orders(results, kept)
    keep_exposure(results, kept)
    for name, (units, words, value) in SCALARS.items():
        number = value(results)
        if number is not None:
            kept.add(name, (), float(number), units, words)
    if histories and "cycle" in results.groups:
        for name, variable in results.groups["cycle"].variables.items():
            if variable.dims != (name,):
                kept.variables[f"{name}_over_cycle"] = variable
            else:
                kept.variables[name] = variable
    elif histories:  # cycles that differ
        keep_record(results, kept)
    return _within(complete(results, kept))


def keep_levels(results: Group, kept: Group, levels: tuple[tuple[str, str, str], ...]) -> None:
    """Variables of post-processed groups under the names of sweeps, of those that there are."""
    for source, name, new in levels:
        if f"{source}/{name}" in results:
            kept.variables[new] = results.groups[source].variables[name]


def keep_record(results: Group, kept: Group) -> None:
    """Every variable over time."""
    for name, variable in results.variables.items():
        if variable.dims[:1] == ("time",):
            kept.variables[name if name == "time" else f"{name}_over_time"] = variable


def complete(results: Group, kept: Group) -> Group:
    """Add the coordinates of what is kept."""
    for name in [dimension for variable in kept.variables.values() for dimension in variable.dims]:
        if name not in kept.variables:
            kept.variables[name] = _coordinate(results, name)
    return kept


def _keep_orders(results: Group, kept: Group) -> None:
    if "orders" not in results.groups:
        return
    orders = results.groups["orders"]
    for name in ORDERS:
        for part in ("amplitude", "phase"):
            if f"{name}_{part}" in orders:
                kept.variables[f"{name}_order_{part}"] = orders.variables[f"{name}_{part}"]


def keep_exposure(results: Group, kept: Group) -> None:
    """Whatever stands in the exposure group per sensor and axis, under its own names."""
    for name, variable in results.groups["exposure"].variables.items() if "exposure" in results.groups else ():
        if variable.data.dtype.kind == "f" and variable.dims != (name,):
            kept.variables[f"exposure_{name}"] = variable


def _coordinate(results: Group, name: str):
    for group in (results, *results.groups.values()):
        if name in group.variables and group.variables[name].dims == (name,):
            return group.variables[name]
    raise KeyError(name)


def _within(kept: Group) -> Group:
    """Orders up to the highest that a sweep keeps."""
    if "order" not in kept.variables:
        return kept
    chosen = kept["order"] <= HIGHEST_ORDER + 1e-9
    for name, variable in list(kept.variables.items()):
        if "order" in variable.dims:
            data = np.compress(chosen, variable.data, axis=variable.dims.index("order"))
            kept.add(name, variable.dims, data, variable.units, variable.long_name)
    return kept


def _power(results: Group) -> float:
    """Mean torque times mean speed, over equal steps of crank angle (derived)."""
    return _brake_torque(results) * results.groups["torque"].attributes["mean_speed_rad_per_s"]


def _brake_torque(results: Group) -> float:
    return float(exact_values(results, "load_torque").mean())


def _peak_pressure(results: Group) -> float:
    return float(exact_values(results, "cylinder_pressure").max())


def _bmep(results: Group) -> float | None:
    """4π·T/V of a four-stroke, 2π·T/V of a two-stroke (textbook definition)."""
    volume = results.groups["engine"].attributes.get("displacement_m3") if "engine" in results.groups else None
    if not volume:
        return None
    return _brake_torque(results) * math.pi * results.attributes["strokes"] / volume


def _periodic(results: Group) -> float:
    return float(results.attributes.get("solve") == "periodic")


def _attribute(name: str) -> Callable[[Group], float | None]:
    return lambda results: results.attributes.get(name)


SCALARS: dict[str, tuple[str, str, Callable[[Group], float | None]]] = {
    "mean_speed": ("rad s-1", "mean crank speed", lambda r: r.groups["torque"].attributes["mean_speed_rad_per_s"]),
    "speed_fluctuation": (
        "1",
        "(greatest - least)/mean crank speed",
        lambda r: r.groups["torque"].attributes["speed_fluctuation"],
    ),
    "brake_torque": ("N m", "mean output torque", _brake_torque),
    "brake_power": ("W", "mean output power", _power),
    "brake_mean_effective_pressure": ("Pa", "brake mean effective pressure", _bmep),
    "peak_pressure": ("Pa", "greatest cylinder pressure", _peak_pressure),
    "load_found": ("1", "share of full load, as found where torque or power was asked for", _attribute("load")),
    "residual": ("1", "change from cycle to cycle", _attribute("settling_residual")),
    "cycles": ("1", "working cycles integrated until it repeated", _attribute("settling_cycles")),
    "periodic": ("1", "1 found as a periodic state, 0 settled cycle by cycle", _periodic),
    "largest_multiplier": ("1", "by which a departure changes in a cycle at most", _attribute("floquet_largest")),
}
