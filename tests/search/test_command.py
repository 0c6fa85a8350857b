"""`vibsim search` as a user types it."""

from __future__ import annotations

import json

import pytest

from vibsim.studies.new_case import new_case


@pytest.fixture
def case(tmp_path):
    path = tmp_path / "v3.toml"
    path.write_text(new_case("v3-80", 700.0), encoding="utf-8")
    return path


def test_command(case, tmp_path, command):
    options = ("--step-deg", 30, "--bank-deg", 60, 100, "-o", tmp_path / "figures")
    code, out, err = command("search", case, *options)
    assert (code, err) == (0, "")
    for words in ("as drawn", "least force", "best all round", "bank °", "width mm", "layouts tried", "3000 rpm"):
        assert words in out
    assert (tmp_path / "figures" / "search.png").read_bytes().startswith(b"\x89PNG")


def test_json(case, command):
    options = ("--step-deg", 30, "--most-uneven", 1.3, "--highest-order", 2, "--weight-radius-mm", 60)
    found = json.loads(command("search", case, *options, "--json")[1])
    assert found["tried"] > found["within_limits"] >= found["unbeaten"] > 0
    assert (found["highest_order"], found["weight_radius_mm"]) == pytest.approx((2, 60.0))
    assert not found["as_drawn"]["within_limits"]
    assert [row["uneven"] <= 1.3 for row in found["layouts"]] == [True] * len(found["layouts"])
    assert set(found["layouts"][0]["pin_deg_of"]) == {"1", "2", "3"}
    assert sorted(found["layouts"][0]["firing_order"]) == ["1", "2", "3"]
    assert sum(found["layouts"][0]["firing_intervals_deg"]) == pytest.approx(720.0)


def test_lone_twin_of_one_throw(tmp_path, command):
    path = tmp_path / "v2.toml"
    path.write_text(new_case("v2-60", 700.0), encoding="utf-8")
    code, out, _ = command("search", path, "--most-splay-deg", 90, "-o", tmp_path)
    assert code == 0
    assert "F·bore" in out
    assert "mains" in out


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--bank-deg", 90, 40), "--bank-deg: got 90 40; must rise, within 0 to 180 deg"),
        (("--step-deg", "nan"), "--step-deg: got nan; must be 0.5 to 180"),
        (("--most-splay-deg", -1), "--most-splay-deg: got -1; must be 0 to 180"),
        (("--most-bearings", 1), "--most-bearings: got 1; must be 2 to 100"),
        (("--most-uneven", 0.9), "--most-uneven: got 0.9; must be 1 to 100"),
        (("--widest-mm", 0), "--widest-mm: got 0; must be 1 to 100000"),
        (("--most-added-kg", -2), "--most-added-kg: got -2"),
        (("--weight-radius-mm", 0), "--weight-radius-mm: got 0"),
        (("--highest-order", 9), "--highest-order: got 9; must be 1 to 8"),
        (("--most-bearings", 2), "--most-bearings: got 2; leaves no layout, the fewest there are is 4"),
    ],
)
def test_bad_options(case, command, words, message):
    code, out, err = command("search", case, "--step-deg", 30, *words)
    assert (code, out) == (2, "")
    assert message in err
    assert len(err.splitlines()) == 1
