"""Sweeps of runs that are no steady points: what they keep is what the run by itself says."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from tests.cases import CONFIGS
from tests.conftest import DEMO
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import CaseFile, load_case, parse_case
from vibsim.post.reduced_record import OF_BATTERY, OF_LOAD_STEP, reduce_record
from vibsim.results.hdf5 import read_results
from vibsim.results.labelled import Group
from vibsim.studies.run import run_case
from vibsim.studies.sweep.axes import read_points
from vibsim.studies.sweep.engines import in_process
from vibsim.studies.sweep.plan import Plan
from vibsim.studies.sweep.read import describe, read_sweep, usual
from vibsim.studies.sweep.sweep import run_sweep

HEAD = DEMO.read_text(encoding="utf-8").split("[run]")[0]
FREE = '[run]\nkind = "free"\nspeed_rpm = 3000\nload = 0.3\nduration_s = 0.05\nsample_rate_Hz = 4000\n'
RUN_UP = (
    '[run]\nkind = "run_up"\nspeed_rpm = 2000\nspeed_to_rpm = 3000\nrate_rpm_per_s = 2000\nload = 0.6\n'
    "sample_rate_Hz = 4000\n"
)
MISFIRE = '[run]\nkind = "misfire"\nspeed_rpm = 4000\nload = 0.35\n[run.misfire]\ncylinder = "1"\nevery = 2\n'
CYCLIC = (
    '[run]\nkind = "cyclic"\nspeed_rpm = 4000\nload = 0.35\nduration_s = 0.3\nsample_rate_Hz = 4000\n'
    "[run.variation]\ncoefficient_of_variation = 0.05\nseed = 3\n"
)
ROAD = CONFIGS / "v3-80-trike-class-c.toml"
STEP = CONFIGS / "v3-80-trike-electric.toml"


def demo_as(run: str) -> CaseFile:
    return parse_case(HEAD + run, DEMO.parent, "demo")


def swept(case: CaseFile, axes: list[str], path: Path, histories: bool = False) -> tuple[Plan, Group]:
    plan = Plan((case,), read_points(axes), histories)
    plan.check()
    state = run_sweep(plan, path, in_process())
    assert not state.failed, state.reasons
    return plan, read_results(path)


def held_against_runs(plan: Plan, found: Group) -> None:
    """Reference: peaks and levels taken from the record of `vibsim run`, point by point."""
    for point, values in enumerate(plan.points.values):
        alone = run_case(plan.case_at(0, values))
        force, felt = alone["mount_force"], alone["sensor_acceleration"]
        varying = np.linalg.norm(force - force.mean(axis=0), axis=2)
        at = np.unravel_index(point, plan.points.shape)
        assert found["mount_force_varying_peak"][at] == pytest.approx(varying.max(axis=0), rel=1e-9)
        assert found["sensor_resultant_peak"][at] == pytest.approx(np.linalg.norm(felt, axis=2).max(axis=0), rel=1e-9)
        assert found["sensor_rms"][at] == pytest.approx(np.sqrt((felt**2).mean(axis=0)), rel=1e-9)
        assert found["exposure_a8"][at] == pytest.approx(alone["exposure/a8"], rel=1e-9)
        assert found["duration"][at] == alone["time"][-1]
        assert found["peak_pressure"][at] == alone["cylinder_pressure"].max()
        assert found["greatest_speed"][at] == alone["crank_speed"].max()


def test_free_runs_keep_what_the_run_says_and_read_like_any_sweep(tmp_path: Path) -> None:
    plan, found = swept(demo_as(FREE), ["run.load=0.3,0.6"], tmp_path / "s.h5", histories=True)
    assert [len(chain.points) for chain in plan.chains(np.ones(2, bool))] == [1, 1]  # no warm start, so no chains
    held_against_runs(plan, found)
    alone = run_case(plan.case_at(0, plan.points.values[1]))
    assert np.array_equal(found["mount_force_over_time"][1], alone["mount_force"])
    assert np.array_equal(found["time"], alone["time"])
    read = read_sweep(found)
    shown = describe(read, usual(read), [])
    assert shown["done"] == 2 and any(row["quantity"] == "sensor_resultant_rms[seat]" for row in shown["quantities"])
    assert "torque_amplitude" not in found and "brake_mean_effective_pressure" not in found  # of steady points alone


def test_records_of_different_length_are_refused() -> None:
    plan = Plan((demo_as(FREE),), read_points(["run.duration_s=0.05,0.1"]), histories=True)
    with pytest.raises(InputError, match=r"--histories: the records would have 201 to 401 points"):
        plan.check()
    Plan((demo_as(FREE),), plan.points).check()
    ramp = Plan((demo_as(RUN_UP),), read_points(["run.rate_rpm_per_s=1000,2000"]), histories=True)
    with pytest.raises(InputError, match=r"the records would have 2001 to 4001 points"):
        ramp.check()
    Plan((demo_as(RUN_UP),), read_points(["run.load=0.3,0.6"]), histories=True).check()


def record(**attributes) -> Group:
    results = Group(attributes=attributes)
    results.add("time", ("time",), np.linspace(0.0, 1.0, 5), "s", "time")
    results.add("step", ("time",), np.array([0, 0, 0, 1, 1]), "1", "step")
    results.add("mount", ("mount",), np.array(["m"], dtype=object), "1", "mount")
    force = np.zeros((5, 1, 3))
    force[:, 0, 2] = [1.0, 3.0, 5.0, 10.0, 12.0]
    results.add("mount_force", ("time", "mount", "axis"), force, "N", "force")
    results.add("axis", ("axis",), np.array(["X", "Y", "Z"], dtype=object), "1", "axis")
    return results


def test_every_step_has_its_figures() -> None:
    results = record()
    both = {"begin_s": 0.0, "end_s": 0.5, "first_speed_rad_per_s": 0.0, "last_speed_rad_per_s": 90.0, "turns": 3.0}
    start = both | {"kind": "start", "cranking_speed_rad_per_s": 40.0, "gas_work_J": 5.0}
    idle = both | {"kind": "idle", "mean_speed_rad_per_s": 90.0, "speed_fluctuation": 0.1, "gas_work_J": 6.0}
    steps = {"1": Group(attributes=start), "2": Group(attributes=idle)}
    results.groups["steps"] = Group(attributes={"count": 2}, groups=steps)
    kept = reduce_record(results)
    assert kept.labels("run_step") == ["1 start", "2 idle"]
    assert kept["step_cranking_speed"][0] == 40.0 and math.isnan(kept["step_cranking_speed"][1])
    assert kept.variables["step_cranking_speed"].units == "rad s-1"
    assert kept["step_gas_work"].tolist() == [5.0, 6.0] and kept.variables["step_gas_work"].units == "J"
    assert math.isnan(kept["step_first_firing_after"][0])  # it did not fire: not there, so that shapes stay alike
    assert kept["step_mount_force_resultant_peak"][:, 0] == pytest.approx([2.0, 1.0])
    assert kept["step_mount_force_resultant_rms"][:, 0] == pytest.approx([math.sqrt(8.0 / 3.0), 1.0])


def test_what_a_load_step_does_not_reach_is_nan() -> None:
    results = record()
    results.groups["load_step"] = Group(
        attributes={"brake_torque_before_N_m": 10.0, "time_to_50_percent_of_rise_s": 0.1}
    )
    kept = reduce_record(results)
    assert kept["time_to_50_percent_of_rise"] == 0.1 and math.isnan(kept["time_to_90_percent_of_rise"])
    assert kept.variables["brake_torque_before"].units == "N m"
    assert "time_to_50_percent_of_target" not in kept and "battery_energy" not in kept
    assert len(OF_LOAD_STEP) == 6 and len(OF_BATTERY) == 4


@pytest.mark.slow
def test_run_ups(tmp_path: Path) -> None:
    plan, found = swept(demo_as(RUN_UP), ["run.rate_rpm_per_s=2000,4000"], tmp_path / "s.h5")
    held_against_runs(plan, found)
    assert found["step_last_speed"] == pytest.approx(3000.0 * math.pi / 30.0, rel=1e-9)
    assert found["duration"].tolist() == [0.5, 0.25]


@pytest.mark.slow
def test_roads(tmp_path: Path) -> None:
    axes = ["run.vehicle_speed_km_per_h=40,80", "run.duration_s=2"]
    plan, found = swept(load_case(ROAD), axes, tmp_path / "s.h5")
    held_against_runs(plan, found)
    assert np.all(np.diff(found["tyre_force_rms"][:, 0], axis=0) > 0.0)  # the faster, the rougher
    assert found.variables["tyre_force_least"].dims[-1] == "wheel"


@pytest.mark.slow
def test_load_steps(tmp_path: Path) -> None:
    axes = ["run.load_after=0.6,1", "run.duration_s=1.2", "engine.charging.boost_pressure_kPa=20,33"]
    plan, found = swept(load_case(STEP), axes, tmp_path / "s.h5")
    held_against_runs(plan, found)
    for point, values in enumerate(plan.points.values):
        at = np.unravel_index(point, plan.points.shape)
        alone = run_case(plan.case_at(0, values)).groups["load_step"].attributes
        assert found["brake_torque_after"][at] == pytest.approx(alone["brake_torque_after_N_m"], rel=1e-9)
        wanted = alone.get("time_to_50_percent_of_target_s", math.nan)
        assert found["time_to_50_percent_of_target"][at] == pytest.approx(wanted, nan_ok=True)
    assert np.all(np.diff(found["brake_torque_after"][:, 0], axis=0) > 0.0)


@pytest.mark.slow
@pytest.mark.parametrize("run", [MISFIRE, CYCLIC])
def test_cycles_that_differ(run: str, tmp_path: Path) -> None:
    """Steady points too: what they keep is what the run's groups say. A period found by shooting and one settled agree
    to the tolerance of settling."""
    plan, found = swept(demo_as(run), ["run.speed_rpm=3500,4000"], tmp_path / "s.h5")
    for point, values in enumerate(plan.points.values):
        alone = run_case(plan.case_at(0, values))
        seat = alone["sensors/resultant_rms"]
        assert found["sensor_resultant_rms"][point] == pytest.approx(seat, rel=1e-9 if run == CYCLIC else 2e-3)
        assert found["mount_force_order_amplitude"].shape[1] >= 25
