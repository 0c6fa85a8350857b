"""Wheels and occupants in the results of a run."""

from __future__ import annotations

import numpy as np
import pytest

from tests.cases import as_file, mount, single
from tests.vehicle_cases import car
from vibsim.results.hdf5 import read_results, write_results
from vibsim.studies.run import run_case


def test_a_run_writes_what_wheels_and_occupants_do(tmp_path):
    raw, vehicle = single(), car()
    raw["body"] += vehicle.pop("body")
    raw |= vehicle
    raw["mount"] = [
        mount(f"m{n}", between=["powertrain", "chassis"], at_mm=[200.0 * x, 0.0, 0.0]) for n, x in ((0, -1), (1, 1))
    ]
    raw["mount"] += [mount("m2", between=["powertrain", "chassis"], at_mm=[0.0, 200.0, 0.0])]
    raw["sensor"] = [
        {"name": name, "body": body, "at_mm": [100.0, 300.0, 500.0]}
        for name, body in (("frame", "chassis"), ("hip", "driver"))
    ]
    raw["run"] = {"kind": "free", "speed_rpm": 3000.0, "duration_s": 0.1, "sample_rate_Hz": 2000.0}
    write_results(run_case(as_file(raw)), tmp_path / "run.h5")
    found = read_results(tmp_path / "run.h5").variables
    assert found["wheel"].data.tolist()[0] in ("front left", b"front left")
    assert found["tyre_force"].dims == ("time", "wheel", "axis") and found["tyre_force"].data.shape == (201, 4, 3)
    assert found["wheel_travel"].dims == ("time", "wheel") and found["wheel_travel"].units == "m"
    assert found["occupant_acceleration"].dims == ("time", "occupant")
    frame, hip = found["sensor_acceleration"].data[:, 0], found["sensor_acceleration"].data[:, 1]
    # a sensor on an occupant goes with the body along X and Y and with the person along Z
    np.testing.assert_array_equal(hip[:, :2], frame[:, :2])
    np.testing.assert_array_equal(hip[:, 2], found["occupant_acceleration"].data[:, 0])
    assert np.ptp(hip[:, 2]) < np.ptp(frame[:, 2])  # the cushion isolates at 50 Hz
    # the run starts at rest: weight on the road, but for the shake of the first moments
    weight = (62.0 + 600.0 + 120.0 + 75.0) * 9.80665
    assert found["tyre_force"].data[0, :, 2].sum() == pytest.approx(weight, rel=0.01)
