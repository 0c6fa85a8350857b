"""Loads: the command on the demo case and on cases that cannot be."""

from __future__ import annotations

import csv
import json
import math

import numpy as np
import pytest

from tests.conftest import DEMO
from vibsim.inputs.loader import load_case
from vibsim.studies.loads import find_loads
from vibsim.studies.new_case import new_case


def test_command(tmp_path, command):
    code, out, err = command("loads", DEMO, "-o", tmp_path)
    assert (code, err) == (0, "")
    for words in (
        "4000 rpm, gas source cycle at load 0.35",
        "friction and gravity left out",
        "simply supported",
        "Wrist pins",
        "pin 2",
        "places derived from the throws",
        "what the crank's counterweights save or cost",
        "licensed practice",
    ):
        assert words in out
    assert (tmp_path / "loads.png").read_bytes().startswith(b"\x89PNG")


def test_json_and_another_speed(command):
    found = json.loads(command("loads", DEMO, "--json", "--speed-rpm", 6000)[1])
    assert found["speed_rpm"] == pytest.approx(6000.0)
    assert [row["at_mm"] for row in found["bearings"]] == pytest.approx([-87.0, -29.0, 29.0, 87.0])
    assert (len(found["wrist_pins"]), len(found["rods"]), len(found["crankpins"])) == (3, 3, 3)
    loads = find_loads(load_case(DEMO), 200.0 * math.pi)
    size = np.abs(loads.bearings.total[:, 1])
    row = found["bearings"][1]
    assert row["greatest_N"] == pytest.approx(size.max())
    assert row["mean_N"] == pytest.approx(size.mean())
    assert row["at_deg"] == pytest.approx(0.5 * int(size.argmax()))
    bare = np.abs(loads.bearings.without_weights[:, 1])
    assert row["without_counterweights"]["greatest_N"] == pytest.approx(bare.max())
    # derived: the gas of this speed and load, not that of the run's speed
    slow = json.loads(command("loads", DEMO, "--json")[1])
    assert abs(slow["wrist_pins"][0]["gas_greatest_N"] / found["wrist_pins"][0]["gas_greatest_N"] - 1.0) > 0.005


def test_histories_hold_what_the_table_says(tmp_path, command):
    path = tmp_path / "v2.toml"
    path.write_text(new_case("v2-90", 1200.0), encoding="utf-8")
    found = json.loads(command("loads", path, "--json", "-o", tmp_path)[1])
    assert [name.rsplit("/", 1)[-1] for name in found["files"]] == ["loads.png", "loads.csv"]
    with (tmp_path / "loads.csv").open(encoding="utf-8", newline="") as file:
        names, *rows = csv.reader(file)
    table = dict(zip(names, np.array(rows, dtype=float).T, strict=True))
    assert len(rows) == 1440
    for name, row in (("crankpin_1+2", found["crankpins"][0]), ("main_bearing_2", found["bearings"][1])):
        size = np.hypot(table[f"{name}_y_N"], table[f"{name}_z_N"])
        assert size.max() == pytest.approx(row["greatest_N"], rel=1e-6)  # eight figures written
        assert table["crank_angle_deg"][size.argmax()] == pytest.approx(row["at_deg"])
    outward, ahead = table["crankpin_1+2_outward_N"], table["crankpin_1+2_ahead_N"]
    peak = int(np.hypot(outward, ahead).argmax())
    points = math.degrees(math.atan2(ahead[peak], outward[peak]))
    assert points == pytest.approx(found["crankpins"][0]["direction_on_crank_deg"], abs=1e-4)
    assert len(found["crankpins"]) == 1
    assert [row["name"] for row in found["rods"]] == ["1", "2"]


@pytest.mark.parametrize(
    ("speed", "words"),
    [
        ("0", "--speed-rpm: got 0; must be more than 0"),
        ("-5", "--speed-rpm: got -5"),
        ("60000", "--speed-rpm: got 60000; must be more than 0 and below 57000"),
        ("20", "--speed-rpm: got 20; gas source cycle needs at least 48 rpm"),
    ],
)
def test_speeds_that_cannot_be(speed, words, command):
    code, out, err = command("loads", DEMO, f"--speed-rpm={speed}")
    assert (code, out) == (2, "")
    assert words in err


def test_cases_without_engine_or_speed(demo_text, tmp_path, command):
    body = '[[body]]\nname = "a"\nmass_kg = 1\ncentre_of_mass_mm = [0, 0, 0]\ninertia_kg_m2 = [1, 1, 1, 0, 0, 0]\n'
    (tmp_path / "none.toml").write_text(body, encoding="utf-8")
    assert "engine: is missing" in command("loads", tmp_path / "none.toml")[2]
    (tmp_path / "still.toml").write_text(demo_text.split("[run]")[0], encoding="utf-8")
    code, _, err = command("loads", tmp_path / "still.toml")
    assert code == 2
    assert "run.speed: is missing; give it, or --speed-rpm" in err
    code, out, _ = command("loads", tmp_path / "still.toml", "--speed-rpm", 4000)
    assert code == 0
    assert "at load 1;" in out


def test_a_crank_without_counterweights_and_bearings_as_given(demo_text, tmp_path, command):
    path = tmp_path / "bare.toml"
    text = demo_text.replace("unbalance_kg_mm = 12.5", "main_bearings_at_mm = [-90, 90]")
    path.write_text(text, encoding="utf-8")
    code, out, _ = command("loads", path)
    assert code == 0
    assert "places as given" in out
    assert "no unbalance and no counterweights" in out
    assert "save or cost" not in out
