"""Exhaust turbine: a nozzle of effective area, efficiency against blade speed ratio, wastegate, rotor.

Spouting speed C = √(2·Δh_s), blade speed ratio u = U/C at the wheel's tip; efficiency is a curve of u through nothing
at rest (Watson & Janota 1982; Dixon, from memory). Generic: a parabola, η = η_p·(2·x − x²) with x = u/u_p, peaking
where a radial turbine does, 0.65 to 0.7. Beyond the curve its last slope goes on and the point is flagged; a wheel
driven faster than twice the peak's ratio brakes.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import NamedTuple

import numpy as np

from vibsim.engine.charging.air import EXHAUST_GAMMA, EXHAUST_GAS_CONSTANT
from vibsim.engine.charging.nozzle import nozzle_flow
from vibsim.inputs.columns import read_columns
from vibsim.inputs.errors import InputError
from vibsim.jit import inlined, inner, kernel

USUAL_PEAK, USUAL_RATIO = 0.68, 0.68
FEWEST_POINTS = 3
GREATEST_RATIO = 2.0
OFF_CURVE = 1
FLAG_WORDS = {OFF_CURVE: "blade speed ratio beyond the efficiency curve"}
STEEPEST = 30.0  # pressure ratio up to which a match is sought
BISECTIONS = 60


class Turbine(NamedTuple):
    """Effective nozzle `area` m², wheel `radius` m, `mechanical_efficiency`, `bearing` loss torque per speed N m s,
    rotor `inertia` kg m², `wastegate_area` m² fully open, boost (Pa above ambient) where it begins to open and is
    open."""

    area: float
    radius: float
    mechanical_efficiency: float
    bearing: float
    inertia: float
    wastegate_area: float
    wastegate_opens: float
    wastegate_fully_open: float
    gamma: float = EXHAUST_GAMMA
    gas_constant: float = EXHAUST_GAS_CONSTANT


class EfficiencyCurve(NamedTuple):
    """Efficiency against blade speed ratio: cubics (n, 4) of powers of the ratio past `breaks` (n + 1), the first 0
    with no efficiency; `least` ratio that was given."""

    breaks: np.ndarray
    coefficients: np.ndarray
    least: float


class TurbinePoint(NamedTuple):
    """Mass flow kg/s, outlet temperature K, power W and torque N m on the wheel, total-to-static efficiency, blade
    speed ratio; `flags` OFF_CURVE or zero."""

    mass_flow: float
    temperature: float
    power: float
    torque: float
    efficiency: float
    speed_ratio: float
    flags: int


class TurbineMatch(NamedTuple):
    """Pressure ahead of the turbine (Pa), flows through turbine and wastegate (kg/s), the wastegate's effective area
    (m²), and whether the power asked for is there."""

    pressure: float
    turbine_flow: float
    wastegate_flow: float
    wastegate_area: float
    enough: bool


def parabola(peak: float = USUAL_PEAK, ratio: float = USUAL_RATIO) -> EfficiencyCurve:
    """Generic efficiency with its peak at a blade speed ratio."""
    pieces = np.array([[0.0, 2.0 * peak / ratio, -peak / ratio**2, 0.0]])
    return EfficiencyCurve(np.array([0.0, 2.0 * ratio]), pieces, 0.0)


def read_efficiency(path: Path, key: str = "engine.charging.turbine.efficiency_file") -> EfficiencyCurve:
    """Efficiency from a CSV file with columns blade_speed_ratio and efficiency: a monotone cubic through the points and
    through nothing at rest. Raises InputError naming `key`, the file and what is wrong."""
    from scipy.interpolate import PchipInterpolator

    columns, rows = read_columns(path, key, {"blade_speed_ratio": None, "efficiency": None})
    ratio, efficiency, where = columns["blade_speed_ratio"], columns["efficiency"], f"{key}: '{path}'"
    if ratio.size < FEWEST_POINTS:
        raise InputError(f"{where}: has {ratio.size} points; needs at least {FEWEST_POINTS}")
    for row, value in zip(rows, ratio, strict=True):
        if not 0.0 < value <= GREATEST_RATIO:
            raise InputError(f"{where}: line {row}: blade_speed_ratio: got {value:g}; must lie between 0 and 2")
    for row, value in zip(rows, efficiency, strict=True):
        if not value < 1.0:
            raise InputError(f"{where}: line {row}: efficiency: got {value:g}; must be below 1, a share not per cent")
    falls = np.flatnonzero(np.diff(ratio) <= 0.0)
    if falls.size:
        raise InputError(f"{where}: line {rows[falls[0] + 1]}: blade_speed_ratio must rise from row to row")
    curve = PchipInterpolator(np.append(0.0, ratio), np.append(0.0, efficiency))
    return EfficiencyCurve(curve.x.copy(), np.ascontiguousarray(curve.c.T[:, ::-1]), float(ratio[0]))


@inner
def _efficiency_per_ratio(ratio, curve):
    """Efficiency over blade speed ratio, finite at rest, and flags."""
    last = curve.breaks.size - 2
    end = curve.breaks[last + 1]
    flags = OFF_CURVE if ratio > end or ratio < curve.least else 0
    held, k = min(ratio, end), 0
    while k < last and held >= curve.breaks[k + 1]:
        k += 1
    c, x = curve.coefficients, held - curve.breaks[k]
    if k == 0:
        per_ratio = c[0, 1] + x * (c[0, 2] + x * c[0, 3])
    else:
        per_ratio = (c[k, 0] + x * (c[k, 1] + x * (c[k, 2] + x * c[k, 3]))) / held
    if ratio > end:
        slope = c[k, 1] + x * (2.0 * c[k, 2] + 3.0 * x * c[k, 3])
        per_ratio = (per_ratio * end + slope * (ratio - end)) / ratio
    return per_ratio, flags


@kernel
def turbine_point(speed, pressure, temperature, outlet_pressure, turbine, curve):
    """Turbine at rotor speed (rad/s) with gas at a pressure (Pa) and temperature (K) ahead of it and an outlet
    pressure.

    No flow, and no torque, where the outlet pressure is the higher.
    """
    gamma, gas_constant = turbine.gamma, turbine.gas_constant
    if pressure <= outlet_pressure:
        return TurbinePoint(0.0, temperature, 0.0, 0.0, 0.0, 0.0, 0)
    flow = nozzle_flow(turbine.area, pressure, temperature, outlet_pressure, temperature, gamma, gas_constant)
    heat_capacity = gamma / (gamma - 1.0) * gas_constant
    drop = heat_capacity * temperature * (1.0 - (outlet_pressure / pressure) ** ((gamma - 1.0) / gamma))
    spouting = math.sqrt(2.0 * drop)
    if spouting == 0.0:
        return TurbinePoint(0.0, temperature, 0.0, 0.0, 0.0, 0.0, 0)
    ratio = speed * turbine.radius / spouting
    per_ratio, flags = _efficiency_per_ratio(ratio, curve)
    torque = 0.5 * flow * spouting * turbine.radius * per_ratio
    efficiency = per_ratio * ratio
    outlet = temperature - efficiency * drop / heat_capacity
    return TurbinePoint(flow, outlet, torque * speed, torque, efficiency, ratio, flags)


@inlined
def wastegate_opening(boost, turbine):
    """Share of its area that the wastegate has open at a boost (Pa above ambient): straight from opens to fully
    open."""
    span = turbine.wastegate_fully_open - turbine.wastegate_opens
    return min(max((boost - turbine.wastegate_opens) / span, 0.0), 1.0)


@inlined
def wastegate_flow(opening, pressure, temperature, outlet_pressure, turbine):
    """Mass flow (kg/s) past the turbine through the wastegate."""
    area = opening * turbine.wastegate_area
    return nozzle_flow(area, pressure, temperature, outlet_pressure, temperature, turbine.gamma, turbine.gas_constant)


@inlined
def rotor_rate(turbine_torque, compressor_torque, speed, turbine):
    """Angular acceleration (rad/s²) of the rotor: J·ω·ω̇ = η_m·P_turbine − P_compressor − bearing loss, over ω."""
    net = turbine.mechanical_efficiency * turbine_torque - compressor_torque - turbine.bearing * speed
    return net / turbine.inertia


@kernel
def match_turbine(power, speed, exhaust_flow, temperature, outlet_pressure, turbine, curve):
    """How the turbine gives a power (W, of the compressor) at rotor speed (rad/s) from an exhaust flow (kg/s) at a
    temperature (K) into an outlet pressure (Pa): the rest of the flow goes through the wastegate.

    If all the flow through the turbine gives less, `enough` is false and the point is that with the wastegate shut.
    """
    needed = (power + turbine.bearing * speed * speed) / turbine.mechanical_efficiency
    low, high = outlet_pressure, STEEPEST * outlet_pressure
    for _ in range(BISECTIONS):  # flow and power both rise with the pressure ahead
        middle = 0.5 * (low + high)
        point = turbine_point(speed, middle, temperature, outlet_pressure, turbine, curve)
        if point.power < needed and point.mass_flow < exhaust_flow:
            low = middle
        else:
            high = middle
    point = turbine_point(speed, high, temperature, outlet_pressure, turbine, curve)
    past = max(exhaust_flow - point.mass_flow, 0.0)
    per_area = nozzle_flow(1.0, high, temperature, outlet_pressure, temperature, turbine.gamma, turbine.gas_constant)
    enough = point.power >= needed * (1.0 - 1e-9)
    return TurbineMatch(high, point.mass_flow, past, past / per_area if per_area > 0.0 else 0.0, enough)
