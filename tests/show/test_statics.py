"""`vibsim statics` and `vibsim modes` with their pictures, as an engineer calls them."""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from tests.cases import CONFIGS

DEMO = CONFIGS / "v3-80-trike.toml"
CLASS_C = CONFIGS / "v3-80-trike-class-c.toml"
CITY = CONFIGS / "inline-3-city-car.toml"


def test_statics_prints_cases_envelope_and_clearances(command, tmp_path: Path) -> None:
    code, out, err = command("statics", DEMO, "-o", tmp_path)
    assert (code, err) == (0, "")
    for words in ("Preload: weight", "gear 4", "reverse", "kerb strike 5 g", "Envelope", "oil pan to skid plate"):
        assert words in out
    for words in ("held as drawn: chassis", "maker's own load cases come first", "not a certificate"):
        assert words in out
    for name in ("statics.png", "load-deflection.png"):
        with Image.open(tmp_path / name) as picture:
            assert picture.width > 600
    found = json.loads(command("statics", DEMO, "--json")[1])
    with (tmp_path / "statics.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    cases = found["gears"] + found["load_cases"]
    assert len(rows) == 4 * len(cases)
    flat = [(case["name"], mount) for case in cases for mount in case["mounts"]]
    for row, (name, mount) in zip(rows, flat, strict=True):
        assert (row["case"], row["mount"]) == (name, mount["name"])
        # six figures are written
        assert [float(row[f"force_{a}_N"]) for a in "xyz"] == pytest.approx(mount["force_N"], rel=1e-5, abs=1e-3)
        written = [float(row[f"own_axes_deflection_{a}_mm"]) for a in "xyz"]
        assert written == pytest.approx(mount["deflection_own_axes_mm"], rel=1e-5, abs=1e-5)
    assert [row["name"] for row in found["envelope"]] == ["front left", "front right", "rear left", "rear right"]
    assert {row["name"] for row in found["clearances"]} == {"air filter to frame tube", "oil pan to skid plate"}


def test_statics_prints_load_cases_to_edit(command) -> None:
    code, out, _ = command("statics", CITY, "--common-practice")
    assert code == 0
    assert out.startswith("# load cases: common practice, no source")
    assert out.count("[[load_case]]") == 10


def test_a_carried_chassis_lists_its_suspension(command) -> None:
    found = json.loads(command("statics", DEMO, "--chassis", "carried", "--json")[1])
    assert found["held"] == []
    assert len(found["gears"][0]["mounts"]) == 7


def test_a_vehicle_on_wheels_tells_what_they_carry(command) -> None:
    """Law: the wheels carry the weight, though the strength cases hold the chassis."""
    found = json.loads(command("statics", CLASS_C, "--json")[1])
    assert found["held"] == ["chassis"]
    weight = found["on_its_wheels"][0]
    carried = sum(wheel["force_N"][2] for wheel in weight["wheels"])
    assert carried == pytest.approx(-weight["load_N"][2], rel=1e-9)


def test_modes_draws_mounts_map_and_motion(command, tmp_path: Path) -> None:
    words = ("modes", CITY, "--speed-rpm", "700", "3000", "-o", tmp_path, "--animate", "8")
    code, out, err = command(*words)
    assert (code, err) == (0, "")
    for text in ("torque roll axis: through", "roll decoupling: ", "elastic centre: ", "Engine orders that cross"):
        assert text in out
    for name in ("mounts.png", "frequency-map.png"):
        with Image.open(tmp_path / name) as picture:
            assert picture.width > 1000
    with Image.open(tmp_path / "mode-8.gif") as film:
        first = np.asarray(film.convert("RGB"), dtype=int)
        film.seek(film.n_frames // 2)
        assert film.n_frames == 24
        assert np.abs(np.asarray(film.convert("RGB"), dtype=int) - first).max() > 100  # it moves


def test_modes_tell_machines_their_axes(command) -> None:
    found = json.loads(command("modes", CITY, "--gear", "1", "--json")[1])
    assert found["preload"].startswith("weight and ")
    assert found["axes"]["elastic_centre"]["lever_arm_left_mm"] > 1.0
    assert sum(value**2 for value in found["axes"]["torque_roll_axis"]["direction"]) == pytest.approx(1.0)
    for mode in found["modes"]:
        damped = mode["frequency_Hz"] * math.sqrt(1.0 - mode["damping_ratio"] ** 2)
        assert mode["damped_frequency_Hz"] == pytest.approx(damped, rel=1e-12)
        engine = sum(mode["energy"]["powertrain"].values())
        assert sum(mode["energy_torque_roll_axis"].values()) == pytest.approx(engine, abs=1e-9)
        assert sum(mode["energy_elastic_axes"].values()) == pytest.approx(engine, abs=1e-9)


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (("--gear", "9"), "--gear: got 9; allowed: neutral, 1 to 5, reverse"),
        (("--animate", "13", "-o", "x"), "--animate: got 13; must be a mode from 1 to 12"),
        (("--animate", "1"), "--animate: needs --output FOLDER"),
        (("--speed-rpm", "3000", "700"), "--speed-rpm: got 3000 700; must rise"),
    ],
)
def test_wrong_words_are_told_in_one_line(command, words: tuple[str, ...], line: str) -> None:
    code, _, err = command("modes", CITY, *words)
    assert code == 2
    assert line in err
    assert len(err.splitlines()) == 1
