"""`vibsim cure` as a user meets it."""

from __future__ import annotations

import json

import pytest

from tests.cases import CONFIGS
from tests.conftest import DEMO
from vibsim.inputs.loader import load_case


def test_a_cure_is_printed_written_and_drawn(command, tmp_path):
    new = tmp_path / "cured.toml"
    code, out, err = command("cure", DEMO, "--by", "shafts", "--write", new, "-o", tmp_path / "figures")
    assert (code, err) == (0, "")
    assert "balance shaft at -1" in out and "licensed practice" in out
    shafts = load_case(new).case.engine.balance_shaft
    assert [shaft.ratio for shaft in shafts] == [-1.0]
    assert (tmp_path / "figures" / "cure.png").stat().st_size > 10_000


def test_json_has_before_and_after(command):
    code, out, _ = command("cure", DEMO, "--goal", "sensor", "--sensor", "seat", "--contact", "seat", "--json")
    found = json.loads(out)
    assert code == 0
    goal = found["felt"][0]
    assert "weighted as a seat" in goal["what"] and goal["after"] < goal["before"]


def test_what_gets_worse_is_said(command):
    inline = CONFIGS / "layouts" / "inline-3.toml"
    _, out, _ = command("cure", inline, "--by", "shafts", "--goal", "couple")
    assert "it makes worse: order 1 force, against it 0.0 →" in out
    _, out, _ = command("cure", inline, "--by", "shafts", "--most-shafts", "2")
    assert "two weights of one shaft" in out and "it makes worse" not in out


def test_nothing_to_add_writes_nothing(command, tmp_path):
    new = tmp_path / "new.toml"
    code, out, _ = command("cure", CONFIGS / "layouts" / "inline-6.toml", "--write", new)
    assert code == 0 and "nothing to add" in out and not new.exists()


def test_mass_where_it_is_no_cure_is_not_proposed(command):
    code, out, _ = command("cure", DEMO, "--by", "mass", "--cylinders", "2", "--json")
    assert code == 0 and json.loads(out)["masses"] == []


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--order", "2"], "--order: goes with --by shafts; got --by counterweights"),
        (["--planes-mm", "0", "--by", "shafts"], "--planes-mm: goes with --by counterweights; got --by shafts"),
        (["--contact", "seat"], "--contact: goes with --goal sensor; got --goal force"),
        (["--by", "shafts", "--order", "9"], "--order: got 9; must be more than 0 and at most 8"),
        (["--by", "shafts", "--along-mm", "5", "1"], "--along-mm: got 5 1; must be"),
        (["--by", "mass", "--goal", "sensor"], "--goal: got sensor; must be force or couple where mass is the cure"),
        (["--by", "mass", "--cylinders", "9"], "--cylinders: got '9'"),
        (["--by", "mass", "--most-added-g", "0"], "--most-added-g: got 0; must be more than 0"),
        (["--most-unbalance-kg-mm", "3"], "--most-unbalance-kg-mm: goes with --by shafts or --goal sensor"),
        (["--goal", "couple", "--planes-mm", "0"], "--planes-mm: got 0; is the middle of the throws"),
        (["--speeds-rpm", "-5"], "--speeds-rpm: got -5; must be more than 0"),
    ],
)
def test_bad_words_get_one_line(command, words, said):
    code, out, err = command("cure", DEMO, *words)
    assert (code, out) == (2, "")
    assert said in err and err.count("\n") == 1


def test_nothing_is_replaced(command, tmp_path):
    there = tmp_path / "there.toml"
    there.write_text("mine")
    code, _, err = command("cure", DEMO, "--write", there)
    assert code == 2 and "is there already" in err and there.read_text() == "mine"
