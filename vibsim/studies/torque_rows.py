"""Torque curves in the units of tables: what CSV, JSON and the terminal show."""

from __future__ import annotations

import math
from typing import Any

from vibsim.engine.knock import UNCERTAINTY
from vibsim.engine.operating_point import OperatingPoint
from vibsim.studies.boost import RPM, notes_of
from vibsim.studies.torque_curve import LEFT_OUT, Peak, TorqueCurves, TorqueLine, TorquePoint, peak_of

G_PER_KWH = 3.6e9  # kg/J


def row_of(line: TorqueLine, point: TorquePoint) -> dict[str, Any]:
    """One point; None for what its gas does not tell."""
    ripple = point.ripple
    return (
        {
            "source": line.source,
            "load": line.load,
            "speed_rpm": point.speed * RPM,
            "torque_N_m": point.torque,
            "power_kW": 1e-3 * point.power,
            "bmep_bar": 1e-5 * point.mean_pressure,
        }
        | _state(point.state)
        | {
            "least_torque_N_m": ripple.least,
            "greatest_torque_N_m": ripple.greatest,
            "ripple_rms_N_m": ripple.rms,
            "greatest_over_mean": ripple.greatest_over_mean,
            "strongest_order": ripple.order,
            "order_amplitude_N_m": ripple.amplitude,
            "notes": [] if point.state is None else notes_of(point.state),
        }
    )


def _state(state: OperatingPoint | None) -> dict[str, Any]:
    names = (
        "fuel_g_per_kWh",
        "intake_pressure_kPa",
        "throttle_percent",
        "knock_margin_octane_numbers",
        "knock",
        "burn_later_deg",
    )
    if state is None:
        return dict.fromkeys(names)
    fuel = G_PER_KWH * state.fuel_flow / state.brake_power if state.brake_power > 0.0 and state.fuel_flow > 0 else None
    opening = None if state.opening is None else 100.0 * state.opening
    margin = state.margin if math.isfinite(state.margin) else None
    values = (
        fuel,
        1e-3 * state.conditions.intake_pressure,
        opening,
        margin,
        knock_of(state),
        math.degrees(state.conditions.late),
    )
    return dict(zip(names, values, strict=True))


def knock_of(state: OperatingPoint | None) -> str | None:
    """`would` where the fuel lacks more octane numbers than the estimate is good to, or those to be kept cannot be;
    `may` where none are to be kept and it is too near to tell; None where it does not knock."""
    if state is None or not math.isfinite(state.margin):
        return None
    if state.margin_wanted is not None:
        return "would" if state.knocks else None
    if state.margin < -UNCERTAINTY:
        return "would"
    return "may" if state.margin <= UNCERTAINTY else None


def as_dict(curves: TorqueCurves) -> dict[str, Any]:
    """What `--json` prints."""
    return {
        "knock_margin_kept": curves.margin,
        "charging": curves.own,
        "lines": [_line(line) for line in curves.lines],
        "without_load": [
            {"speed_rpm": row.speed * RPM, "load_0_torque_N_m": row.idle, "fuel_cut_torque_N_m": row.cut}
            for row in curves.without_load
        ],
        "notes": [LEFT_OUT, *curves.notes],
    }


def _line(line: TorqueLine) -> dict[str, Any]:
    torque, power = peak_of(line.speeds, line.torque), peak_of(line.speeds, line.power)
    return {
        "source": line.source,
        "load": line.load,
        "peak_torque": _peak(torque, "torque_N_m", 1.0),
        "peak_power": _peak(power, "power_kW", 1e-3),
        "points": [row_of(line, point) for point in line.points],
    }


def _peak(peak: Peak, name: str, scale: float) -> dict[str, Any]:
    return {"speed_rpm": peak.speed * RPM, name: scale * peak.value, "between_the_ends": peak.inside}
