"""What a clutch did that closed in a run: when it locked, what it lost, how hard it bit."""

from __future__ import annotations

from typing import Any

import numpy as np

from vibsim.results.labelled import Group


def clutch_group(results: Group) -> Group | None:
    """Attributes: when it bites (s), how long it slipped (s; absent where it still slips), how often it began to slip,
    work lost (J), greatest torque (N m), crank speed before, least and at lock (rad/s), and of the mount that it
    shakes most the greatest change of force (N). None without a clutch that closes."""
    if "clutch_torque" not in results:
        return None
    time, slips = results["time"], results["clutch_slips"] > 0.0
    speed, begins = results["crank_speed"], float(results.attributes["step_at_s"])
    before = max(int(np.searchsorted(time, begins, side="right")) - 1, 0)
    found: dict[str, Any] = {
        "bites_at_s": begins,
        "stretches_of_slip": int(np.count_nonzero(np.diff(slips.astype(int)) > 0) + slips[0]),
        "lost_energy_J": float(results["clutch_lost_energy"][-1]),
        "greatest_torque_N_m": float(np.abs(results["clutch_torque"]).max()),
        "crank_speed_before_rad_per_s": float(speed[before]),
        "crank_speed_least_rad_per_s": float(speed[before:].min()),
        "holds": int(not slips[-1] and results["clutch_capacity"][-1] > 0.0),
    }
    if found["holds"] and slips.any():
        last = int(np.flatnonzero(slips)[-1])
        found["slipped_for_s"] = float(time[last] - begins)
        found["crank_speed_at_lock_rad_per_s"] = float(speed[last])
    return Group(attributes=found | _shaken(results, before))


def _shaken(results: Group, before: int) -> dict[str, Any]:
    if "mount_force" not in results:
        return {}
    force = results["mount_force"]
    still = force[: before + 1].mean(axis=0)
    change = np.linalg.norm(force[before:] - still, axis=-1).max(axis=0)
    worst = int(change.argmax())
    return {"most_shaken_mount": results.labels("mount")[worst], "greatest_change_N": float(change[worst])}
