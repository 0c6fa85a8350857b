"""Axes and keys: what `--over` may say, and one clear line for what it may not."""

from __future__ import annotations

import itertools
import tomllib
from pathlib import Path

import numpy as np
import pytest

from tests.sweep.stub import DEMO, stub_plan
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import key_units, load_case
from vibsim.studies.sweep.axes import read_points
from vibsim.studies.sweep.keys import set_number, split_path
from vibsim.studies.sweep.plan import differences, plan_of, to_and_fro


def test_lists_ranges_and_log_ranges_make_a_grid() -> None:
    points = read_points(["run.speed_rpm=1000:3000:3", "run.load=0.2,1", "run.duration_s=log:1:100:3"])
    assert points.shape == (3, 2, 3) and points.grid
    assert np.allclose(points.values[0], [1000, 0.2, 1]) and np.allclose(points.values[-1], [3000, 1, 100])
    assert np.allclose(np.unique(points.values[:, 2]), [1, 10, 100])


def test_samples_fill_their_ranges_and_repeat_with_the_seed() -> None:
    """Latin hypercube: one point in each of n equal slices of every axis (McKay, Beckman and Conover 1979)."""
    words = ["run.speed_rpm=1000:3000", "run.load=log:0.1:1"]
    points = read_points(words, "latin_hypercube", 50, seed=3)
    slices = np.floor(50 * (points.values[:, 0] - 1000) / 2000)
    assert sorted(slices) == list(range(50))
    slices = np.floor(50 * np.log10(points.values[:, 1] / 0.1))
    assert sorted(slices) == list(range(50))
    assert np.array_equal(points.values, read_points(words, "latin_hypercube", 50, seed=3).values)
    assert not np.array_equal(points.values, read_points(words, "latin_hypercube", 50, seed=4).values)
    sobol = read_points(words, "sobol", 64)
    assert np.all(np.bincount(np.floor((sobol.values[:, 0] - 1000) / 2000 * 64).astype(int), minlength=64) == 1)


def test_points_from_a_file(tmp_path: Path) -> None:
    (tmp_path / "p.csv").write_text("# chosen\nrun.speed_rpm, mount[*].stiffness_N_per_mm[3]*\n1000, 0.5\n2000, 2\n")
    points = read_points([str(tmp_path / "p.csv")])
    assert points.paths == ("run.speed_rpm", "mount[*].stiffness_N_per_mm[3]") and points.factors == (False, True)
    assert points.values.tolist() == [[1000, 0.5], [2000, 2]] and not points.grid


def test_way_through_a_grid_goes_from_neighbour_to_neighbour() -> None:
    for shape in ((7,), (3, 4), (2, 3, 4), (4, 1, 3)):
        order = to_and_fro(shape)
        assert sorted(order) == list(range(int(np.prod(shape))))
        at = np.array(np.unravel_index(order, shape)).T
        assert np.all(np.abs(np.diff(at, axis=0)).sum(axis=1) == 1)


@pytest.mark.parametrize(
    ("path", "count"),
    [
        ("run.speed_rpm", 1),
        ("mount[*].stiffness_N_per_mm[*]", 21),
        ("mount[rear left].at_mm[2]", 1),
        ("mount[2].at_mm[2]", 1),
        ("engine.cylinder[*].pin_deg", 3),
    ],
)
def test_value_goes_where_the_path_says_and_nowhere_else(path: str, count: int) -> None:
    raw = tomllib.loads(DEMO.read_text(encoding="utf-8"))
    changed = tomllib.loads(DEMO.read_text(encoding="utf-8"))
    set_number(changed, path, 123.25, False)
    before, after = dict(leaves(raw)), dict(leaves(changed))
    differ = [key for key in after if after[key] != before.get(key)]
    assert len(differ) == count and all(after[key] == 123.25 for key in differ)


def leaves(node, where=()):
    items = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else None
    if items is None:
        yield where, node
        return
    for key, value in items:
        yield from leaves(value, (*where, key))


def test_factor_multiplies_what_the_case_says() -> None:
    plan = stub_plan(["mount[*].stiffness_N_per_mm[*]*=0.5,2"])
    first = plan.cases[0].case.mount[0].stiffness
    changed = plan.case_at(0, np.array([2.0])).case.mount[0].stiffness
    assert np.allclose(changed, 2.0 * np.array(first), rtol=1e-15)


def test_an_axis_may_have_another_unit_than_the_case() -> None:
    """An inch is 25.4 mm (definition)."""
    plan = stub_plan(["engine.bore_in=2.8,3"])
    plan.check()
    assert plan.case_at(0, np.array([3.0])).case.engine.bore == pytest.approx(0.0762, rel=1e-15)
    assert stub_plan(["run.speed_Hz=50,60"]).case_at(0, np.array([50.0])).case.run.speed == pytest.approx(100 * np.pi)


def test_an_axis_may_be_a_whole_number_that_the_case_leaves_out() -> None:
    plan = stub_plan(["run.points_per_cycle=100,200"])
    plan.check()
    assert plan.case_at(0, np.array([200.0])).case.run.points_per_cycle == 200


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (["run.sped_rpm=1:2:3"], "run.sped_rpm: unknown key; did you mean speed_rpm"),
        (["run.speed_rpm=1000:1000:3"], "the range is empty"),
        (["run.speed_rpm="], "a value is missing"),
        (["run.speed_rpm=1000:2000:1"], "whole count of at least 2"),
        (["run.speed_rpm=log:0:2000:3"], "numbers above 0"),
        (["run.speed_rpm=1000,1000"], "a value stands twice"),
        (["run.speed_rpm=fast"], "'fast' is no number"),
        (["run.kind=1"], "is no number in the case"),
        (["mount[*].at_mm=1"], "is a list of 3; choose one by"),
        (["mount[nope].at_mm[1]=1"], "allowed: front left"),
        (["mount[9].at_mm[1]=1"], "got [9]"),
        (["mount.at_mm[1]=1"], "choose one by [name] or [1]"),
        (["wheel[1].at_mm=1"], "the case has no 'wheel' there"),
        (["run..load=1"], "a key looks like"),
        (["run.load=0.5,1.5"], "run.load: got 1.5; must be at most 1"),
        (["run.load=0.5", "run.load=0.6"], "one axis per key"),
        (["no-such.csv"], "cannot be read"),
        (["mount[*].pressure_bar=1"], "mount[1].pressure_bar: unknown key"),
        (["engine.cylinder.0.bank_deg=1"], "has 3 entries; choose one by [name] or [1]"),
        (["run.gravity=0,1"], "must be true or false"),
        (["run.speed_furlong=1"], "unit 'furlong' is not a rotational speed"),
        (["run.points_per_cycle=100.5"], "run.points_per_cycle: got 100.5; must be a whole number"),
    ],
)
def test_wrong_axes_get_one_line(words: list[str], line: str) -> None:
    with pytest.raises(InputError) as caught:
        stub_plan(words).check()
    assert len(caught.value.problems) == 1 and line in caught.value.problems[0]


def test_units_of_an_axis_come_from_its_key() -> None:
    assert key_units(["run", "speed_rpm"]) == "rpm"
    assert key_units(["mount", "stiffness_N_per_mm"]) == "N mm-1"
    assert key_units(["run", "load"]) == "1"
    assert key_units(["mount", "damping_N_s_per_mm"]) == "N s mm-1"


def test_plan_survives_being_text() -> None:
    plan = stub_plan(["run.speed_rpm=1000:3000:3", "run.load=0.2,1"])
    again = plan_of(plan.as_text())
    assert again.as_text() == plan.as_text() and not differences(plan.as_text(), again.as_text())
    chains = again.chains(np.ones(6, bool))
    assert sorted(itertools.chain(*(chain.points for chain in chains))) == list(range(6))


def test_changed_case_is_shown_line_by_line(tmp_path: Path) -> None:
    text = DEMO.read_text(encoding="utf-8").replace("rod_length_mm = 118.0", "rod_length_mm = 119.0")
    assert text != DEMO.read_text(encoding="utf-8")
    (tmp_path / "changed.toml").write_text(text, encoding="utf-8")
    one = stub_plan(["run.load=0.2,1"])
    two = type(one)((load_case(tmp_path / "changed.toml"),), one.points)
    lines = differences(one.as_text(), two.as_text())
    assert lines == ["changed: -rod_length_mm = 118.0", "changed: +rod_length_mm = 119.0"]


def test_empty_path_is_refused() -> None:
    with pytest.raises(InputError):
        split_path("")
    assert split_path("mount[front left].at_mm[3]") == ["mount", "[front left]", "at_mm", "[3]"]
