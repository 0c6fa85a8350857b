"""Runs and sweeps before and after: which changes count, and which are none."""

from __future__ import annotations

import copy
import json
from pathlib import Path

import numpy as np
import pytest

import vibsim
from tests.conftest import DEMO
from vibsim.inputs.errors import InputError
from vibsim.results.hdf5 import write_results
from vibsim.results.labelled import Group
from vibsim.studies.compare_runs import ALIKE, BETTER, RESULTANT, WORSE, Row, compare_runs, judged
from vibsim.studies.compare_sweeps import as_dict, compare_sweeps, difference_rows


@pytest.fixture(scope="module")
def mount_sets() -> tuple[vibsim.Results, vibsim.Results]:
    """The demo, and the demo on front mounts of 0.6 times the stiffness."""
    case = vibsim.load(DEMO).with_value("run.duration_s", 0.1)
    soft = case
    for name in ("front left", "front right"):
        soft = soft.scaled(f"mount[{name}].stiffness_N_per_mm[*]", 0.6)
    return vibsim.run(case), vibsim.run(soft)


def row(rows: tuple[Row, ...], quantity: str, place: str, axis: str = RESULTANT, order: float | None = None) -> Row:
    (found,) = (
        item for item in rows if (item.quantity, item.place, item.axis, item.order) == (quantity, place, axis, order)
    )
    return found


def test_two_mount_sets(mount_sets):
    """Values by a Fourier sum over the exact cycle, written out here, not by the transform that the file holds."""
    compared = vibsim.compare(*mount_sets)
    angle = mount_sets[0]["cycle/cycle_angle"]
    mount = mount_sets[0].labels("mount").index("front left")
    for order in (0.5, 1.0, 2.0):
        for axis, name in enumerate("XYZ"):
            found = row(compared.orders, "mount force", "front left", name, order)
            for value, run in zip(found.values, mount_sets, strict=True):
                force = run["cycle/mount_force"][:, mount, axis]
                exact = 2.0 * abs(np.mean(force * np.exp(-1j * order * angle)))
                assert value == pytest.approx(exact, rel=1e-9, abs=1e-9)
    whole = row(compared.orders, "mount force", "front left", RESULTANT, 1.0)
    parts = [row(compared.orders, "mount force", "front left", name, 1.0).values[1] for name in "XYZ"]
    assert whole.values[1] == pytest.approx(np.linalg.norm(parts), rel=1e-12)
    assert whole.verdicts == (BETTER,) and whole.change(1) < 0.0  # softer: less force above the modes of the mounts
    level = row(compared.levels, "mount force, rms", "front left")
    assert level.values == tuple(run["mount_forces/resultant_rms"][mount] for run in mount_sets)
    assert row(compared.levels, "torque ripple, swing", "net", "").verdicts == (ALIKE,)
    assert row(compared.levels, "mount deflection, swing", "front left").values[0] == pytest.approx(
        np.ptp(mount_sets[0]["cycle/mount_deflection"][:, mount], axis=0).max()
    )
    assert not compared.notes


def test_the_other_way_round_what_was_better_is_worse(mount_sets):
    forth, back = vibsim.compare(*mount_sets), vibsim.compare(*reversed(mount_sets))
    for rows in ("levels", "orders"):
        better, worse = judged(getattr(forth, rows), 1, BETTER), judged(getattr(back, rows), 1, WORSE)
        assert {(r.quantity, r.place, r.order) for r in better} == {(r.quantity, r.place, r.order) for r in worse}
        assert len(better) > 5


def test_a_run_is_like_itself(mount_sets):
    compared = vibsim.compare(mount_sets[0], mount_sets[0], percent=0.0, residuals=0.0)
    for found in (*compared.levels, *compared.orders):
        assert found.verdicts == (ALIKE,) and found.change(1) == 0.0


def test_what_is_left_to_settle_does_not_count():
    """The same case settled to 1e-3 and to 1e-6 differs by what the first had left, and that must not count; without
    the floor it does."""
    case = vibsim.load(DEMO).with_value("run.duration_s", 0.1)
    rough, fine = (vibsim.run(case.with_value("run.settle_tolerance", tolerance)) for tolerance in (1e-3, 1e-6))
    compared = vibsim.compare(rough, fine, percent=0.0)
    assert {verdict for found in (*compared.levels, *compared.orders) for verdict in found.verdicts} == {ALIKE}
    bare = vibsim.compare(rough, fine, percent=0.0, residuals=0.0)
    assert BETTER in {verdict for found in bare.levels for verdict in found.verdicts}


def scaled(results: Group, factor: float) -> Group:
    """The results with all mount forces multiplied."""
    made = copy.deepcopy(results)
    for name in ("mean", "peak", "rms", "resultant_mean", "resultant_peak", "varying_peak", "resultant_rms"):
        made.groups["mount_forces"][name][...] *= factor
    made.groups["orders"]["mount_force_amplitude"][...] *= factor
    made["cycle/mount_force"][...] *= factor
    return made


@pytest.mark.parametrize(
    ("factor", "verdict"), [(1.04, ALIKE), (1.06, WORSE), (0.96, ALIKE), (0.94, BETTER)]
)  # a twentieth of the larger
def test_threshold_in_percent(demo_results, factor, verdict):
    compared = compare_runs({"a": demo_results, "b": scaled(demo_results, factor)})
    forces = [found for found in compared.levels if found.quantity.startswith("mount force")]
    assert forces and {found.verdicts for found in forces} == {(verdict,)}
    others = [found for found in compared.levels if not found.quantity.startswith("mount force")]
    assert {found.verdicts for found in others} == {(ALIKE,)}
    minor = row(compared.orders, "mount force", "rear left", RESULTANT, 11.5)
    assert minor.verdicts == (ALIKE,)  # far below 1 % of the strongest


def test_three_runs_and_a_mount_that_one_has_not(demo_results):
    other = copy.deepcopy(demo_results)
    other["mount"][0] = "new"
    compared = compare_runs({"a": demo_results, "b": demo_results, "c": other})
    gone = row(compared.levels, "mount force, rms", "front left")
    assert gone.values[2] is None and gone.verdicts == (ALIKE, None) and gone.change(2) is None
    assert row(compared.levels, "mount force, rms", "new").values[:2] == (None, None)


def test_what_makes_runs_hard_to_compare_is_said(demo_results):
    faster = copy.deepcopy(demo_results)
    faster.groups["torque"].attributes["mean_speed_rad_per_s"] *= 1.2
    faster.attributes["settled"] = 0
    notes = compare_runs({"a": demo_results, "b": faster}).notes
    assert notes[0] == "b: its speed is 4800 rpm, that of a 4000 rpm" and notes[1] == "b: did not settle"


def test_command(mount_sets, tmp_path, command):
    files = [run.save(tmp_path / f"{name}.h5") for name, run in zip(("firm", "soft"), mount_sets, strict=True)]
    code, out, err = command("compare", *files, "-o", tmp_path / "figures")
    assert (code, err) == (0, "")
    for words in ("Orders that got better in soft", "no order got worse in soft", "A change counts above 5 %", "mm"):
        assert words in out
    assert (tmp_path / "figures" / "compare-orders.png").read_bytes().startswith(b"\x89PNG")
    found = json.loads(command("compare", *files, "--json", "--significant-percent", 90)[1])
    assert [run["name"] for run in found["runs"]] == ["firm", "soft"] and found["significant_percent"] == 90
    assert {item["verdicts"][0] for item in found["levels"]} == {ALIKE}
    shown = vibsim.compare(*mount_sets, names=("firm", "soft"))._repr_html_()
    assert "Orders that got better in soft" in shown and "handlebar" in shown
    with pytest.raises(InputError, match="names: got 1; must be one for each of 2 results"):
        vibsim.compare(*mount_sets, names=["firm"])


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (["run.h5"], "compare: got one run"),
        (["run.h5", "run.h5"], "a file stands twice"),
        (["run.h5", DEMO], "expected one from vibsim run"),
        (["run.h5", "map.h5"], "got runs and sweeps; map is a sweep"),
        (["map.h5"], "compare: got one sweep of one case"),
        (["run.h5", "copy.h5", "--same", "power"], "--same: is for case files"),
        (["run.h5", "copy.h5", "--of", "x"], "--of: is for sweeps"),
        (["run.h5", "copy.h5", "--significant-percent", "-1"], "--significant-percent: got -1"),
        ([DEMO, DEMO, "--of", "x"], "--of: is for results and sweeps"),
    ],
)
def test_wrong_words(words, line, demo_results, tmp_path, command, monkeypatch):
    monkeypatch.chdir(tmp_path)
    write_results(demo_results, Path("run.h5"))
    write_results(demo_results, Path("copy.h5"))
    write_results(sweep([1.0, 2.0], [1.0, 2.0, 3.0]), Path("map.h5"))
    code, out, err = command("compare", *words)
    assert (code, out) == (2, "") and line in err


def sweep(speeds: list[float], loads: list[float], factor: float = 1.0, residual: float = 0.0) -> Group:
    """A sweep whose ripple is speed times load times a factor, its power their sum."""
    group = Group(
        attributes={"run_kind": "sweep", "sweep_keys": "run.speed_rpm\nrun.load", "title": "made", "vibsim_format": 1}
    )
    group.add("speed", ("speed",), np.array(speeds), "rpm", "run.speed_rpm")
    group.add("load", ("load",), np.array(loads), "1", "run.load")
    group.add("torque", ("torque",), np.array(["net"], dtype=object), "1", "torque")
    shape = (len(speeds), len(loads))
    group.add("status", ("speed", "load"), np.ones(shape, np.int8), "1", "status")
    x, y = np.meshgrid(speeds, loads, indexing="ij")
    group.add("torque_swing", ("speed", "load", "torque"), (factor * x * y)[..., None], "N m", "swing")
    group.add("brake_power", ("speed", "load"), factor * (x + y), "W", "power")
    group.add("residual", ("speed", "load"), np.full(shape, residual), "1", "change from cycle to cycle")
    return group


def test_sweeps_over_their_common_grid():
    first, second = sweep([1.0, 2.0, 3.0], [0.5, 1.0]), sweep([2.0, 3.0, 4.0], [0.5, 1.0, 1.5], 1.2)
    second["status"][1, 0] = 2  # failed: 3.0, 0.5
    compared = compare_sweeps({"a": first, "b": second}, ["torque_swing[net]", "brake_power"])
    assert compared.points.tolist() == [[2.0, 0.5], [2.0, 1.0], [3.0, 1.0]] and compared.shape is None
    swing, power = compared.differences
    assert swing.change == pytest.approx([0.2, 0.4, 0.6]) and swing.counts.all() and swing.judged
    assert not power.judged
    assert compared.notes[0] == "a: 3 of 6 points have no counterpart and are left out"
    worst = difference_rows(compared)[0]
    assert (worst["rose"], worst["fell"]) == (3, 0)
    assert worst["greatest_rise"] == {"change": pytest.approx(0.6), "at": {"speed": 3.0, "load": 1.0}}
    json.dumps(as_dict(compared), allow_nan=False)


def test_residual_of_sweep_points_is_a_floor():
    first = sweep([1.0, 2.0], [1.0, 2.0])
    for residual, counts in ((0.0, True), (1e-3, True), (5e-3, False)):  # 10·2√2·(0 + residual) against 0.1/1.1
        found = compare_sweeps({"a": first, "b": sweep([1.0, 2.0], [1.0, 2.0], 1.1, residual)}, ["torque_swing"])
        assert found.differences[0].counts.all() == counts
        assert found.shape == (2, 2)


def test_sweeps_that_cannot_be_compared():
    first = sweep([1.0], [2.0])
    with pytest.raises(InputError, match="have no finished point in common"):
        compare_sweeps({"a": first, "b": sweep([3.0], [2.0])})
    other = sweep([1.0], [2.0])
    other.variables["boost"] = other.variables.pop("load")
    other.add("boost", ("boost",), [2.0], "1", "run.load")
    other.add("status", ("speed", "boost"), np.ones((1, 1), np.int8), "1", "status")
    with pytest.raises(InputError, match="b is over speed, boost, a over speed, load"):
        compare_sweeps({"a": first, "b": other})
    with pytest.raises(InputError, match=r"torque_swang'; no such quantity.*torque_swing"):
        compare_sweeps({"a": first, "b": first}, ["torque_swang"])


def test_cases_of_one_sweep():
    both = Group(attributes=sweep([1.0], [1.0]).attributes)
    both.groups |= {"firm": sweep([1.0, 2.0], [1.0]), "soft": sweep([1.0, 2.0], [1.0], 0.5)}
    compared = compare_sweeps({"file": both})
    assert compared.names == ("firm", "soft")
    assert difference_rows(compared)[0]["fell"] == 2


@pytest.mark.parametrize(
    ("speeds", "loads"), [([1.0, 2.0, 3.0], [0.5, 1.0]), ([1.0, 2.0, 3.0], [1.0])], ids=["maps", "curves"]
)
def test_sweep_command(speeds, loads, tmp_path, command):
    for name, factor in (("a", 1.0), ("b", 0.9)):
        write_results(sweep(speeds, loads, factor), tmp_path / f"{name}.h5")
    files = tmp_path / "a.h5", tmp_path / "b.h5"
    code, out, err = command("compare", *files, "-o", tmp_path / "f")
    assert (code, err) == (0, "")
    assert f"{len(speeds) * len(loads)} points in common" in out and "torque_swing[net]" in out
    assert (tmp_path / "f" / "compare-sweeps.png").read_bytes().startswith(b"\x89PNG")
    found = json.loads(command("compare", *files, "--of", "torque_swing", "--json")[1])
    assert found["quantities"][0]["fell"] == len(speeds) * len(loads)


def test_points_without_a_grid_are_drawn(tmp_path, command):
    for name, factor in (("a", 1.0), ("b", 0.9)):
        made = sweep([1.0, 2.0, 3.0], [0.5, 1.0], factor)
        made["status"][0, 0] = 0
        kept = {"torque_swing", "speed", "load", "status", "torque", "residual"}
        made.variables = {key: item for key, item in made.variables.items() if key in kept}
        write_results(made, tmp_path / f"{name}.h5")
    code, out, _ = command("compare", tmp_path / "a.h5", tmp_path / "b.h5", "-o", tmp_path / "f")
    assert code == 0 and "5 points in common" in out
    assert (tmp_path / "f" / "compare-sweeps.png").exists()
