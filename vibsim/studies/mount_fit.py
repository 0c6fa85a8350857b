"""A mount law fitted to a measured CSV file, as keys of a case file."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from vibsim.inputs.mount_data import read_dynamic_stiffness
from vibsim.structure.mount_fit import OVER, Fit, fit_law

ONE_AXIS = "the axis measured; put the other two in"
# key: suffix, SI value of one unit, whether the case file has it for each of three axes
WRITTEN: dict[str, tuple[str, float, bool]] = {
    "stiffness": ("N_per_mm", 1e3, True),
    "damping": ("N_s_per_mm", 1e3, True),
    "relaxation_ratio": ("", 1.0, False),
    "relaxation_time": ("ms", 1e-3, False),
    "loss_factor": ("", 1.0, False),
    "band": ("Hz", 1.0, False),
    "elements": ("", 1.0, False),
    "friction_stiffness": ("N_per_mm", 1e3, True),
    "yield_deflection": ("mm", 1e-3, True),
    "exponent": ("", 1.0, False),
    "piston_area": ("mm2", 1e-6, False),
    "upper_compliance": ("mm3_per_kPa", 1e-12, False),
    "lower_compliance": ("mm3_per_kPa", 1e-12, False),
    "track_inertance": ("kg_per_m4", 1.0, False),
    "track_resistance": ("kPa_s_per_L", 1e6, False),
}


def fit_file(
    path: Path, law: str, elements: int = 3, piston_area: float = 2.5e-3, frequency: float | None = None
) -> Fit:
    """Fit a law to a file, over amplitude measured at a `frequency` (Hz). Raises InputError, RunFailure."""
    return fit_law(law, read_dynamic_stiffness(path, OVER[law], frequency), elements, piston_area)


def as_toml(fit: Fit) -> str:
    """The keys as they are pasted under [[mount]]; of three axes all have the measured one's."""
    lines = [f'law = "{fit.law}"']
    for key, value in fit.keys.items():
        suffix, one, axes = WRITTEN[key]
        name = f"{key}_{suffix}" if suffix else key
        if key == "elements":
            lines.append(f"{name} = {int(value)}")  # type: ignore[arg-type]
        elif isinstance(value, tuple):
            lines.append(f"{name} = [{', '.join(_digits(item / one) for item in value)}]")
        elif axes:
            lines.append(f"{name} = [{', '.join([_digits(value / one)] * 3)}] # {ONE_AXIS}")
        else:
            lines.append(f"{name} = {_digits(value / one)}")
    return "\n".join(lines) + "\n"


def as_dict(fit: Fit) -> dict[str, Any]:
    """For machines: keys with their units, and every point of the data beside the fit."""
    keys = {}
    for key, value in fit.keys.items():
        suffix, one, _ = WRITTEN[key]
        scaled = [item / one for item in value] if isinstance(value, tuple) else value / one
        keys[f"{key}_{suffix}" if suffix else key] = scaled
    return {"law": fit.law, "keys": keys, "points": points(fit), "toml": as_toml(fit)}


def points(fit: Fit) -> list[dict[str, float]]:
    """A row per point: place, measured and fitted stiffness (N/mm) and loss angle (deg), error (share)."""
    data, rows = fit.data, []
    for n, fitted in enumerate(fit.fitted):
        row = {"frequency_Hz": float(data.frequency[n])} if data.frequency is not None else {}
        if data.amplitude is not None:
            row["amplitude_mm"] = 1e3 * float(data.amplitude[n])
        row |= {"stiffness_N_per_mm": 1e-3 * float(data.stiffness[n]), "fitted_N_per_mm": 1e-3 * abs(fitted)}
        if data.loss_angle is not None:
            row["loss_angle_deg"] = math.degrees(data.loss_angle[n])
        row |= {"fitted_loss_angle_deg": math.degrees(math.atan2(fitted.imag, fitted.real))}
        rows.append(row | {"error": float(fit.error[n])})
    return rows


def _digits(value: float) -> str:
    """Four significant digits, as TOML takes a number."""
    text = f"{value:.4g}"
    return text if "e" not in text else f"{float(text):.0f}" if abs(value) >= 1.0 else f"{float(text):.12f}".rstrip("0")
