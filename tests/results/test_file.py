"""The results file: whole or absent, readable by xarray as it is, and refused with a clear line when it is not ours."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import h5py
import numpy as np
import pytest
import xarray as xr

from tests.conftest import DEMO
from vibsim.inputs.errors import InputError, VibsimError
from vibsim.inputs.loader import load_case
from vibsim.results.hdf5 import read_results, write_results
from vibsim.results.labelled import Group

ROOT = Path(__file__).parents[2]
# the contract of the results file: root variables over time
CONTRACT = {
    "crank_angle": ("time",),
    "crank_speed": ("time",),
    "gas_torque": ("time",),
    "inertia_torque": ("time",),
    "load_torque": ("time",),
    "friction_torque": ("time",),
    "cylinder_pressure": ("time", "cylinder"),
    "mount_force": ("time", "mount", "axis"),
    "mount_deflection": ("time", "mount", "axis"),
    "body_displacement": ("time", "body", "axis"),
    "body_velocity": ("time", "body", "axis"),
    "body_acceleration": ("time", "body", "axis"),
    "body_rotation": ("time", "body", "axis"),
    "sensor_acceleration": ("time", "sensor", "axis"),
}
UNITS = {"rad", "rad s-1", "N", "N m", "m", "m s-1", "m s-2", "Pa", "s"}


@pytest.fixture(scope="module")
def path(demo_results, tmp_path_factory):
    target = tmp_path_factory.mktemp("results") / "demo.h5"
    write_results(demo_results, target)
    return target


@pytest.mark.parametrize("engine", ["h5netcdf", None])
def test_xarray_opens_the_root_as_it_is(path, demo_results, engine):
    with xr.open_dataset(path, engine=engine) as data:
        for name, dims in CONTRACT.items():
            assert data[name].dims == dims
            assert data[name].attrs["units"] in UNITS
            assert data[name].attrs["long_name"]
        assert list(data["sensor"].values) == ["seat", "floor", "handlebar"]
        assert list(data["axis"].values) == ["X", "Y", "Z"]
        force = data["mount_force"].sel(mount="rear left", axis="Z").values
        np.testing.assert_array_equal(force, demo_results["mount_force"][:, 2, 2])


@pytest.mark.parametrize("group", ["cycle", "mount_forces", "sensors", "orders", "spectra", "torque"])
def test_xarray_opens_every_group(path, group):
    with xr.open_dataset(path, group=group, engine="h5netcdf") as data:
        assert len(data.data_vars) > 1


def test_groups_can_be_read_by_name(path):
    with xr.open_dataset(path, group="orders", engine="h5netcdf") as data:
        force = data["mount_force_amplitude"].sel(mount="front left", axis="Z", order=1.0)
    assert float(force) == read_results(path)["orders/mount_force_amplitude"][2, 0, 2]


def test_every_variable_has_units_and_a_description(path):
    with h5py.File(path) as file:
        variables = []
        file.visititems(lambda name, item: variables.append(item) if isinstance(item, h5py.Dataset) else None)
        assert len(variables) > 50
        assert all(item.attrs["units"] and item.attrs["long_name"] for item in variables)


def test_steady_cycle_has_its_own_coordinate(path):
    with xr.open_dataset(path, group="cycle", engine="h5netcdf") as data:
        assert data["mount_force"].dims == ("cycle_angle", "mount", "axis")
        steps = np.diff(data["cycle_angle"].values)
        # equal to rounding of 4 pi
        np.testing.assert_allclose(steps, 4.0 * np.pi / 720, rtol=1e-9, atol=0)


def test_dimension_scales_are_attached(path):
    with h5py.File(path) as file:
        force = file["mount_force"]
        assert [dimension[0].name for dimension in force.dims] == ["/time", "/mount", "/axis"]
        assert file["time"].is_scale


def test_time_grid_has_both_ends(path):
    time_grid = read_results(path)["time"]
    assert len(time_grid) == 10001
    assert time_grid[0] == 0.0
    assert time_grid[-1] == 1.0


def test_provenance_is_complete(path):
    attributes = read_results(path).attributes
    case = load_case(DEMO)
    assert attributes["case_text"] == case.text
    assert attributes["case_sha256"] == case.sha256
    for name in ("vibsim_version", "versions", "relative_tolerance", "solver_steps", "solver_evaluations", "created"):
        assert attributes[name]
    assert attributes["settled"] == 1
    assert 0.0 < attributes["settling_residual"] < attributes["settling_tolerance"]


def test_round_trip_is_exact(path, demo_results):
    again = read_results(path)
    assert set(again.variables) == set(demo_results.variables)
    assert set(again.groups) == set(demo_results.groups)
    for name, variable in demo_results.variables.items():
        np.testing.assert_array_equal(again[name], variable.data)
        assert again.variables[name].dims == variable.dims


def _small() -> Group:
    group = Group(attributes={"vibsim_format": 1})
    group.add("time", ("time",), np.arange(3.0), "s", "time")
    return group


def test_not_a_number_is_never_written(tmp_path):
    group = _small()
    group.add("bad", ("time",), np.array([0.0, np.nan, 1.0]), "N", "bad")
    with pytest.raises(VibsimError, match="bad: holds numbers that are not finite"):
        write_results(group, tmp_path / "a.h5")
    assert list(tmp_path.iterdir()) == []


def test_failed_write_leaves_the_old_file(tmp_path, monkeypatch):
    target = tmp_path / "a.h5"
    write_results(_small(), target)
    before = target.read_bytes()

    def full_disk(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full_disk)
    with pytest.raises(VibsimError, match="cannot be written"):
        write_results(_small(), target)
    assert target.read_bytes() == before
    assert [item.name for item in tmp_path.iterdir()] == ["a.h5"]


def test_folder_that_cannot_be_made(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(VibsimError, match="cannot be written"):
        write_results(_small(), tmp_path / "file" / "a.h5")


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda path: path.write_bytes(path.read_bytes()[:3000]), "not a complete results file"),
        (lambda path: path.write_bytes(b"crank angle, pressure\n"), "not a complete results file"),
        (lambda path: path.write_bytes(b""), "not a complete results file"),
        (lambda path: h5py.File(path, "w").close(), "not a results file of vibsim"),
        (lambda path: h5py.File(path, "a").attrs.__setitem__("vibsim_format", 99), "update vibsim"),
        (lambda path: path.unlink(), "no such file"),
        (lambda path: (path.unlink(), path.mkdir()), "is a folder"),
    ],
    ids=["truncated", "text", "empty", "foreign HDF5", "newer format", "absent", "folder"],
)
def test_what_is_no_results_file_is_refused(path, spoil, words, tmp_path, command):
    copy = tmp_path / "copy.h5"
    copy.write_bytes(path.read_bytes())
    spoil(copy)
    with pytest.raises(InputError, match=words):
        read_results(copy)
    code, _, err = command("plot", copy)
    assert code == 2
    assert "copy.h5" in err
    assert len(err.splitlines()) == 1


def test_read_only_results_can_be_read_and_replaced(path, demo_results, tmp_path):
    copy = tmp_path / "copy.h5"
    copy.write_bytes(path.read_bytes())
    copy.chmod(0o444)
    read_results(copy)
    write_results(demo_results, copy)  # replaces the name, does not touch the old file
    assert len(read_results(copy)["time"]) == 10001


def test_killed_run_leaves_no_file(tmp_path, demo_text):
    case = tmp_path / "long.toml"
    case.write_text(demo_text.replace("duration_s = 1.0", "duration_s = 300.0"), encoding="utf-8")
    command = [sys.executable, "-m", "vibsim", "run", str(case), "-o", str(tmp_path / "out"), "--no-figures"]
    process = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    time.sleep(3.0)
    assert process.poll() is None
    process.send_signal(signal.SIGKILL)
    process.wait()
    assert not (tmp_path / "out" / "long.h5").exists()
