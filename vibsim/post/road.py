"""What a road does to the wheels of a vehicle: how high it is, how hard tyres press, whether they leave it."""

from __future__ import annotations

import numpy as np

from vibsim.results.labelled import Group


def road_group(results: Group) -> Group | None:
    """Per wheel: rms of the road's height about its mean, mean, rms, least and greatest force, share of time off the
    road; None of a run that is not over a road."""
    if "road_height" not in results:
        return None
    height, force = results["road_height"], results["tyre_force"][:, :, 2]
    group = Group(attributes={name: results.attributes[name] for name in NAMES if name in results.attributes})
    rows = ("wheel",)
    group.add("road_rms", rows, height.std(axis=0), "m", "rms of the road's height about its mean over the record")
    group.add("force_mean", rows, force.mean(axis=0), "N", "mean vertical force of the road on the tyre")
    group.add("force_rms", rows, force.std(axis=0), "N", "rms of that force about its mean")
    group.add("force_least", rows, force.min(axis=0), "N", "least vertical force")
    group.add("force_greatest", rows, force.max(axis=0), "N", "greatest vertical force")
    group.add("share_off_road", rows, np.mean(force <= 0.0, axis=0), "1", "share of the record that the tyre is off it")
    return group


NAMES = ("vehicle_speed_m_per_s", "road", "road_class", "road_seed", "road_tracks")


def road_rows(results: Group) -> dict:
    """Road and speed in words and numbers, and one row per wheel."""
    group = results.groups["road"]
    rows = []
    for index, name in enumerate(results.labels("wheel")):
        rows.append(
            {
                "name": name,
                "contact_length_mm": 1e3 * float(results["contact_length"][index]),
                "road_rms_mm": 1e3 * float(group["road_rms"][index]),
                **{f"force_{what}_N": float(group[f"force_{what}"][index]) for what in FORCES},
                "share_off_road": float(group["share_off_road"][index]),
            }
        )
    return {**group.attributes, "wheels": rows}


FORCES = ("mean", "rms", "least", "greatest")
