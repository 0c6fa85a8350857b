"""The whole of `vibsim size`: the result is confirmed by runs, explained, and written with comments kept."""

from __future__ import annotations

import json
import tomllib

import numpy as np
import pytest

from tests.cases import CONFIGS
from tests.sizing.small import CASE, MOUNT, NAMES, PLACES, SAG, UP, small
from vibsim.inputs.loader import load_case
from vibsim.studies.sizing.size import size, with_spec

SPECS = CONFIGS / "sizing"
STIFF = '[[size.limit]]\nkind = "mode_frequency"\ndirection = "Z"\nleast_Hz = 6\n'
SOFT = '[[size.goal]]\nname = "bounce"\nkind = "mode_frequency"\ndirection = "Z"\n'


@pytest.fixture(scope="module")
def trike():
    """The demo's seat with few evaluations; runs verify it."""
    spec = (SPECS / "v3-80-trike-seat.toml").read_text(encoding="utf-8").replace("points = 11", "points = 3")
    return size(with_spec(load_case(CONFIGS / "v3-80-trike.toml"), spec, "spec"), evaluations=900, robust=False)


def test_the_seat_of_the_demo_is_lower_and_a_run_confirms_it(trike):
    """Reference: the time-domain solver; the forecast is good to 1 % of what a run gives (see test_order_response)."""
    seat = [item for item in trike.verified if item.meter is trike.problem.goals[0]]
    assert seat
    for item in trike.verified:
        np.testing.assert_allclose(item.forecast, item.run, rtol=0.015)
        assert item.settled
    before, after = (max(item.run[n] for item in seat) for n in (0, 1))
    assert after < 0.8 * before


def test_every_limit_is_kept_and_steps_are_met(trike):
    for meter, value in zip(trike.problem.limits, trike.choice.limits, strict=True):
        assert meter.broken(np.array([value]))[0] == 0.0
    assert all(change.after % 5.0 == 0.0 for change in trike.changes if change.unit != "mm")
    assert any("worse without" in change.serves for change in trike.changes)


def test_the_case_it_makes_is_the_one_it_answered(trike):
    again = trike.problem.of([trike.case_file.case.mount])
    # written to six figures
    np.testing.assert_allclose(again.goals[0], trike.choice.goals, rtol=1e-4)
    assert "# Demo data, invented" in trike.case_file.text


def test_the_shipped_city_car_table_is_sound():
    spec = (SPECS / "inline-3-city-car-idle.toml").read_text(encoding="utf-8")
    with_spec(load_case(CONFIGS / "inline-3-city-car.toml"), spec, "spec")


def test_units_and_comments_of_the_case_are_kept():
    found = size(small(UP + SAG + STIFF), evaluations=300, verify=False, robust=False).case_file
    mounts = tomllib.loads(found.text)["mount"]
    stiffness = found.case.mount[0].stiffness
    assert mounts[0]["stiffness_kN_per_m"] == [100, 90, pytest.approx(1e-3 * stiffness[2], rel=1e-5)]
    assert found.text.count("# as drawn") == 4 and "# block c" in found.text


def test_the_command_writes_prints_and_draws(command, tmp_path):
    case, spec = tmp_path / "small.toml", tmp_path / "spec.toml"
    mounts = "".join(MOUNT.format(name=n, x=1e3 * x, y=1e3 * y) for n, (x, y) in zip(NAMES, PLACES, strict=True))
    case.write_text(CASE + mounts, encoding="utf-8")
    spec.write_text(UP + SAG + "target_mm = 2\n" + SOFT + STIFF + "[size.scatter]\nsamples = 100\n", encoding="utf-8")
    new = tmp_path / "new.toml"
    words = ("size", case, "--spec", spec, "--evaluations", "300", "--write", new, "-o", tmp_path / "out")
    code, said, _ = command(*words)
    assert code == 0
    for text in ("Mounts", "sag", "asked for", "best all round", "How sure", "What matters", "Computed from the case"):
        assert text in said
    assert {path.name for path in (tmp_path / "out").iterdir()} == {"size-front.png", "size-tornado.png"}
    written = load_case(new)
    assert written.case.size is not None
    assert command(*words)[::2] == (2, f"vibsim: --write: got '{new}'; is there already, choose another name\n")


def test_json_holds_everything(command, tmp_path):
    case = tmp_path / "small.toml"
    case.write_text(small(UP + SAG + STIFF).text, encoding="utf-8")
    code, said, _ = command("size", case, "--evaluations", "200", "--no-scatter", "--json")
    found = json.loads(said)
    assert code == 0 and found["robust"] is None and found["verified"] == []
    assert found["goals"][0]["what"] == "sag" and found["limits"][0]["least"] == 6.0
    assert found["variables"][0]["after"] != found["variables"][0]["before"]


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (("--choose", "9", "--evaluations", "200"), "--choose: got 9; must be 1 to"),
        (("--evaluations", "5"), "--evaluations: got 5; must be 100 to"),
        (("--spec", "nowhere.toml"), "--spec: got 'nowhere.toml'; cannot be read"),
    ],
)
def test_bad_options_get_one_line(command, tmp_path, words, line):
    case = tmp_path / "small.toml"
    case.write_text(small(UP + SAG + STIFF).text, encoding="utf-8")
    code, _, said = command("size", case, *words)
    assert code == 2 and said.startswith(f"vibsim: {line}") and said.count("\n") == 1


def test_a_spec_with_other_tables_is_refused(command, tmp_path):
    case, spec = tmp_path / "small.toml", tmp_path / "spec.toml"
    case.write_text(small("").text, encoding="utf-8")
    spec.write_text("[run]\nspeed_rpm = 3\n", encoding="utf-8")
    code, _, said = command("size", case, "--spec", spec)
    assert code == 2 and "must hold a [size] table and nothing else" in said
