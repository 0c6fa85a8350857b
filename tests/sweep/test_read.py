"""Reading sweeps: quantities by name, best points, what matters; maps against single runs; what xarray sees."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import xarray

from tests.sweep.stub import DEMO, stub_plan, stub_work
from vibsim.inputs.errors import InputError
from vibsim.post.reduced import reduce_results
from vibsim.results.hdf5 import read_results
from vibsim.results.labelled import Group, Variable
from vibsim.results.sweep_file import FAILED
from vibsim.show.sweep_figures import draw_sweep
from vibsim.studies.run import run_case
from vibsim.studies.sweep.engines import in_process
from vibsim.studies.sweep.plan import Plan
from vibsim.studies.sweep.read import (
    Read,
    best,
    describe,
    importance,
    quantities,
    quantity,
    read_sweep,
    usual,
    within,
)
from vibsim.studies.sweep.sweep import run_sweep


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo over two speeds and two loads."""
    path = tmp_path_factory.mktemp("sweep") / "s.h5"
    run_sweep(stub_plan(["run.speed_rpm=3500,4200", "run.load=0.3,0.5"]), path, in_process())
    return path


def test_map_equals_single_runs(small: Path) -> None:
    """Independent: the case with the values written into its text by hand, run as usual; tolerance of settling."""
    read = read_sweep(read_results(small))
    plan = stub_plan(["run.speed_rpm=3500,4200", "run.load=0.3,0.5"])
    point = 2  # 4200 rpm, load 0.3
    kept = reduce_results(run_case(plan.case_at(0, np.array([4200.0, 0.3]))))
    for word, index in (("sensor_resultant_rms[seat]", 0), ("sensor_resultant_rms[handlebar]", 2)):
        single = kept["sensor_resultant_rms"][index]
        assert quantity(read, word).values[point] == pytest.approx(single, rel=2e-3)
    assert quantity(read, "torque_swing[net]").values[point] == pytest.approx(kept["torque_swing"][-1], rel=2e-3)
    assert quantity(read, "mean_speed").values[point] == pytest.approx(4200.0 * np.pi / 30.0, rel=1e-3)


def test_everything_an_engineer_sweeps_for_is_kept(small: Path) -> None:
    read = read_sweep(read_results(small))
    forces = ("mount_force_order_amplitude", "sensor_acceleration_order_amplitude", "crank_speed_order_amplitude")
    exposure = ("exposure_a8", "exposure_comfort_total", "exposure_vdv", "exposure_mtvv")
    torque = ("torque_swing", "torque_amplitude", "speed_fluctuation", "peak_pressure", "brake_mean_effective_pressure")
    assert {*forces, *exposure, *torque} <= set(quantities(read))
    assert np.all(read.results["exposure_a8"][..., 0] > 0.0)
    # textbook: power is mean effective pressure times displacement times half the turns a second of a four-stroke
    case = stub_plan().cases[0].case.engine
    displacement = len(case.cylinder) * np.pi / 4.0 * case.bore**2 * case.stroke
    power = quantity(read, "brake_mean_effective_pressure").values * displacement
    power *= quantity(read, "mean_speed").values / (4.0 * np.pi)
    assert power == pytest.approx(quantity(read, "brake_power").values, rel=1e-6)


def test_xarray_opens_a_sweep_as_it_is(small: Path) -> None:
    with xarray.open_dataset(small, engine="h5netcdf") as opened:
        assert opened.sensor_resultant_rms.dims == ("speed_rpm", "load", "sensor")
        assert opened.speed_rpm.attrs["units"] == "rpm"
        assert np.isfinite(opened.sensor_resultant_rms.sel(sensor="seat", load=0.5).values).all()
        assert opened.mount_force_order_amplitude.sel(order=1.5, mount="rear left", axis="Z").shape == (2, 2)
        assert (opened.status.values == 1).all()


def test_usual_quantities_are_drawn_and_told(small: Path, tmp_path: Path) -> None:
    read = read_sweep(read_results(small))
    words = usual(read)
    assert "sensor_resultant_rms[seat]" in words and "torque_swing[net]" in words
    paths = draw_sweep(read, words, ["brake_torque>0"], tmp_path / "f")
    assert [path.name for path in paths] == ["sweep.png", "importance.png"]
    found = describe(read, words, ["load<=0.3"])
    assert found["within_limits"] == 2 and len(found["best"]) == 2


def made(shape: tuple[int, int], values: np.ndarray) -> Read:
    group = Group(attributes={"run_kind": "sweep", "sweep_keys": "a\nb", "title": "made"})
    group.add("a", ("a",), np.linspace(0.0, 1.0, shape[0]), "1", "a")
    group.add("b", ("b",), np.linspace(0.0, 1.0, shape[1]), "1", "b")
    group.add("part", ("part",), np.array(["one", "two"], dtype=object), "1", "part")
    group.add("status", ("a", "b"), np.ones(shape, np.int8), "1", "status")
    group.add("level", ("a", "b"), values, "N", "level")
    group.add("both", ("a", "b", "part"), np.stack([values, -2.0 * values], axis=-1), "N", "both")
    return read_sweep(group)


def test_importance_of_an_additive_quantity_is_its_variance_shares() -> None:
    """Derived: of 3a + b on a grid of n each, axes explain var(3a) and var(b), 0.9 and 0.1 of the whole."""
    a, b = np.meshgrid(np.linspace(0, 1, 11), np.linspace(0, 1, 11), indexing="ij")
    shares = importance(made((11, 11), 3.0 * a + b), "level")
    assert shares["a"] == pytest.approx(0.9, rel=1e-12) and shares["b"] == pytest.approx(0.1, rel=1e-12)


def test_importance_of_samples_sees_what_rises() -> None:
    random = np.random.default_rng(5)
    values = random.random((200, 2))
    group = Group(attributes={"run_kind": "sweep", "sweep_keys": "a\nb", "title": "made"})
    group.add("point", ("point",), np.arange(200), "1", "number of the point")
    for n, name in enumerate("ab"):
        group.variables[name] = Variable(("point",), values[:, n], "1", name)
    group.add("status", ("point",), np.ones(200, np.int8), "1", "status")
    group.add("level", ("point",), np.exp(3.0 * values[:, 0]), "N", "level")
    shares = importance(read_sweep(group), "level")
    assert shares["a"] == pytest.approx(1.0, abs=1e-12) and shares["b"] < 0.05


def test_best_points_keep_limits() -> None:
    a, b = np.meshgrid(np.arange(4.0), np.arange(3.0), indexing="ij")
    read = made((4, 3), (a - 2.0) ** 2 + b)
    assert best(read, "level", [], 1) == [6]
    assert best(read, "level", ["b>=0.9"], 1) == [8]
    assert best(read, "level", ["level<3.5"], 1, most=True) == [0 + 1 * 3 + 2]
    assert within(read, ["a>2"]).sum() == 0
    assert np.array_equal(quantity(read, "both").values, 2.0 * quantity(read, "level").values)
    assert np.array_equal(quantity(read, "both[one]").values, quantity(read, "level").values)


@pytest.mark.parametrize(
    ("call", "line"),
    [
        (lambda read: quantity(read, "lewel"), "did you mean level"),
        (lambda read: quantity(read, "both[three]"), "allowed: one, two"),
        (lambda read: within(read, ["level=3"]), "a limit looks like"),
        (lambda read: within(read, ["level<much"]), "a limit looks like"),
    ],
)
def test_wrong_words_get_one_line(call, line: str) -> None:
    with pytest.raises(InputError, match=line):
        call(made((2, 2), np.ones((2, 2))))


def test_failed_points_say_why_and_the_others_go_on(tmp_path: Path) -> None:
    """A piston heavier than its engine's body allows fails as it is resolved; the points beside it do not."""
    plan = stub_plan(["engine.piston.mass_g=280,9000,25000", "run.load=0.3"])
    plan = Plan(plan.cases, plan.points, chain=1)
    state = run_sweep(plan, tmp_path / "s.h5", in_process())
    results = read_results(tmp_path / "s.h5")
    assert state.failed >= 1 and state.done >= 1
    assert list(np.flatnonzero(results["status"].ravel() == FAILED)) == list(results["failure"])
    assert all(str(reason) for reason in results["failure_reason"])


def test_several_cases_lie_side_by_side(tmp_path: Path) -> None:
    one = stub_plan(["run.load=0.3,0.5"])
    plan = Plan((*one.cases, *one.cases), one.points)
    run_sweep(plan, tmp_path / "s.h5", in_process(), task=stub_work)
    results = read_results(tmp_path / "s.h5")
    assert list(results.groups) == ["v3-80-trike (1)", "v3-80-trike (2)"]
    with xarray.open_dataset(tmp_path / "s.h5", group="v3-80-trike (2)", engine="h5netcdf") as opened:
        assert opened.product.dims == ("load",)
    with pytest.raises(InputError, match="v3-80-trike"):
        read_sweep(results, "no such")


def test_command_sweeps_and_plots(command, tmp_path: Path, small: Path) -> None:
    code, out, _ = command("sweep", DEMO, "--over", "run.load=0.3,0.4", "-o", tmp_path / "c.h5", "--workers", 1)
    assert code == 0 and "2 of 2 points done" in out
    code, _, err = command("sweep", DEMO, "--over", "run.load=0.3,0.4", "-o", tmp_path / "c.h5")
    assert code == 2 and "--resume goes on" in err
    code, out, _ = command("plot", small, "-o", tmp_path / "f", "--of", "torque_swing[net]")
    assert code == 0 and "torque_swing[net]" in out
    for words, message in (
        (("--of", "nix"), "--of: got 'nix'; no such quantity in the sweep"),
        (("--of", "torque_swing[nix]"), "--of: got 'torque_swing[nix]'; no 'nix' there"),
        (("--limit", "nix<1"), "--limit: got 'nix'; no such quantity in the sweep"),
        (("--limit", "nix"), "--limit: got 'nix'; a limit looks like"),
        (("--only", "run"), "--only: goes with a run; "),
    ):
        code, _, err = command("plot", small, "-o", tmp_path / "f", *words)
        assert code == 2 and message in err
    read = read_sweep(read_results(small))
    pressure = quantity(read, "peak_pressure").values
    code, out, _ = command("plot", small, "-o", tmp_path / "f", "--of", "peak_pressure", "--of", "mean_speed")
    row = next(line for line in out.splitlines() if "peak_pressure" in line)
    assert f"{1e-5 * pressure.max():.4g}" in row and " bar" in row
    bound = 0.5e-5 * (pressure.min() + pressure.max())  # limits are in the unit that tables show
    assert within(read, [f"peak_pressure<{bound:.9g}"]).sum() == (pressure < 1e5 * bound).sum() > 0
    code, _, err = command("sweep", small, "--over", "run.load=0.3,0.4")
    assert code == 2 and "holds results (HDF5), is no case" in err
    code, out, _ = command("sweep", DEMO, "--over", "run.load=0.3,0.4", "--dry-run", "-o", tmp_path / "d.h5")
    assert code == 0 and "2 (grid) in 1 chains" in out and not (tmp_path / "d.h5").exists()
    assert "of 2 computed, and " in out  # whole chains are timed: points are as warm as in the sweep


def test_the_file_is_one_file_whose_folder_is_made(command, tmp_path: Path) -> None:
    words = ("sweep", DEMO, "--over", "run.load=0.4,0.3", "--workers", 1, "-o")
    for wrong, why in ((tmp_path, "is a folder"), (tmp_path / "out", "does not end in .h5")):
        code, _, err = command(*words, wrong)
        assert code == 2 and f"-o: got '{wrong}'; {why}; a sweep is one file" in err and err.count("\n") == 1
    assert command(*words, tmp_path / "new" / "s.h5", "-q")[0] == 0
    assert read_results(tmp_path / "new" / "s.h5")["load"].tolist() == [0.4, 0.3]  # a range may fall
