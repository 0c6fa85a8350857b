"""Spectra of a run that are worth the wait only when asked for: averaged density, short-time spectra, bands, levels."""

from __future__ import annotations

from typing import Any

import numpy as np

from vibsim.inputs.errors import InputError
from vibsim.post.density import density_group
from vibsim.post.levels import sensor_group
from vibsim.post.short_time import short_time_group
from vibsim.post.third_octave import acceleration_record, third_octave_group
from vibsim.results.labelled import Group

FEWEST_POINTS = 64
STRONGEST = 3  # bands named per sensor


def spectra_of(results: Group, name: str, segment: float | None = None, short: float | None = None) -> Group:
    """Groups `density`, `short_time`, `third_octave` and `sensors` of a run, with its attributes; lengths of segments
    in s, of the density and of the short-time spectra.

    Raises InputError when there is no sensor, or a segment does not fit into the record.
    """
    if "sensor_acceleration" not in results:
        raise InputError(f"{name}: has no [[sensor]]; spectra are those of accelerations at sensors")
    values, rate = acceleration_record(results)
    if len(values) < FEWEST_POINTS:
        raise InputError(f"{name}: has {len(values)} points of time; spectra need at least {FEWEST_POINTS}")
    for option, length in (("--segment-s", segment), ("--short-time-s", short)):
        if length is not None and not 16.0 / rate <= length <= len(values) / rate:
            span = f"{16.0 / rate:.3g} to {len(values) / rate:.3g} s, 16 points to the whole record"
            raise InputError(f"{option}: got {length:g}; must be {span}")
    found = Group(attributes=dict(results.attributes))
    found.variables = {key: results.variables[key] for key in ("axis", "sensor")}
    found.groups["density"] = density_group(values, rate, segment)
    found.groups["short_time"] = short_time_group(values, rate, short)
    for key, group in (("third_octave", third_octave_group(results)), ("sensors", sensor_group(results))):
        if group is not None:
            found.groups[key] = group
    return found


def as_rows(found: Group) -> dict[str, Any]:
    """Levels, crest factors and bands of every sensor, and what the density is known within, as plain numbers."""
    levels, bands = found.groups["sensors"], found.groups.get("third_octave")
    settings = {name: _plain(value) for name, value in found.groups["density"].attributes.items()}
    rows = []
    for index, name in enumerate(found.labels("sensor")):
        row: dict[str, Any] = {
            "name": name,
            "rms_m_per_s2": levels["rms"][index].tolist(),
            "total_rms_m_per_s2": float(levels["resultant_rms"][index]),
            "peak_m_per_s2": levels["peak"][index].tolist(),
            "crest_factor": levels["crest_factor"][index].tolist(),
        }
        if bands is not None:
            whole = np.linalg.norm(bands["acceleration_rms"][:, index], axis=1)
            row["third_octave_of"] = "nominal frequency in Hz: rms in m/s²"
            row["third_octave"] = {str(band): float(level) for band, level in zip(bands["nominal"], whole, strict=True)}
        rows.append(row)
    return {
        "title": found.attributes["title"],
        "density": settings,
        "bands_from": "" if bands is None else bands.attributes["from"],
        "sensors": rows,
    }


def _plain(value: Any) -> Any:
    return value.item() if isinstance(value, np.generic) else value
