"""What a run says of a clutch that closed: when it locked, what it lost, which mount it shook; on a record made up."""

from __future__ import annotations

import numpy as np
import pytest

from vibsim.post.clutch import clutch_group
from vibsim.post.load_step import load_step_group
from vibsim.results.labelled import Group
from vibsim.show.clutch_figure import clutch_figure
from vibsim.show.run_tables import clutch_line


def record(locks: bool = True) -> Group:
    """A second at 1 kHz: bites at 0.2 s, slips until 0.5 s and from 0.6 to 0.61 s, then holds, or slips on."""
    time = np.arange(1001) / 1000.0
    found = Group(attributes={"title": "made up", "step_at_s": 0.2, "clutch_shaft": "disc", "run_kind": "free"})
    slips = ((time > 0.2) & (time <= 0.5)) | ((time > 0.6) & (time <= 0.61)) | (~np.array(locks) & (time > 0.9))
    speed = np.where(time < 0.2, 200.0, np.maximum(200.0 - 300.0 * (time - 0.2), 110.0))
    capacity = np.where(time > 0.2, 150.0, 0.0)
    force = np.zeros((time.size, 2, 3))
    force[:, 1, 2] = 1000.0 + np.where(time > 0.3, 80.0, 0.0)
    columns = {
        "time": time,
        "crank_speed": speed,
        "clutch_slips": slips.astype(float),
        "clutch_torque": np.where(slips, capacity, 0.4 * capacity),
        "clutch_capacity": capacity,
        "clutch_slip_speed": np.where(slips, 50.0, 0.0),
        "clutch_lost_energy": np.cumsum(slips) * 7.5,
    }
    for name, values in columns.items():
        found.add(name, ("time",), values, "1", name)
    found.add("mount_force", ("time", "mount", "axis"), force, "N", "force")
    found.add("mount", ("mount",), np.array(["left", "right"], dtype=object), "1", "mount")
    return found


def test_figures_of_a_clutch_are_those_of_its_record() -> None:
    results = record()
    group = clutch_group(results)
    assert group is not None
    found = group.attributes
    assert found["slipped_for_s"] == pytest.approx(0.41) and found["stretches_of_slip"] == 2 and found["holds"]
    assert found["lost_energy_J"] == pytest.approx(7.5 * 310) and found["greatest_torque_N_m"] == 150.0
    assert (found["crank_speed_before_rad_per_s"], found["crank_speed_least_rad_per_s"]) == (200.0, 110.0)
    assert (found["most_shaken_mount"], found["greatest_change_N"]) == ("right", 80.0)
    words = clutch_line(found | {"shaft": "disc"})
    assert "clutch 'disc' bites at 0.2 s: locked after 0.410 s at 1050 rpm, slipped in 2 stretches" in words
    assert "right changes by 80 N" in words
    results.groups["clutch"] = group
    figure = clutch_figure(results)
    assert figure is not None and "locked after 0.410 s" in figure.axes[0].get_title(loc="left")


def test_clutch_that_still_slips_is_said_to() -> None:
    group = clutch_group(record(locks=False))
    assert group is not None and "slipped_for_s" not in group.attributes
    assert "still slips at the end of the record" in clutch_line(group.attributes | {"shaft": "disc"})


def test_runs_without_a_clutch_have_no_such_group() -> None:
    plain = Group(attributes={"run_kind": "free"})
    assert clutch_group(plain) is None and clutch_figure(plain) is None and load_step_group(plain) is None
