"""The map of bank angle and pin offset against the exact mechanism with the angles changed, and against known rules."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from tests.cases import CONFIGS, packed, skewed, with_angles
from vibsim.engine.balance import split
from vibsim.engine.turned import angles_at
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import CaseFile, parse_case
from vibsim.studies.angle_map import find_map
from vibsim.studies.balance import find_balance
from vibsim.studies.new_case import new_case

DEGREE = math.pi / 180.0


def left_by_mechanism(case_file: CaseFile, found, bank: float, pin: float) -> list[float]:
    """The four quantities at a point from the Fourier transform of the exact mechanism, about the same place, in F."""
    turned = with_angles(case_file, *angles_at(found.layout, found.turned, bank, pin))
    drawn, balance = find_balance(case_file), find_balance(turned)
    free = balance.about_crank.about(np.array([drawn.middle, 0.0, 0.0]))
    values = []
    for n in (1.0, 2.0):
        for course, unit in ((free.force, drawn.unit), (free.couple, drawn.couple_unit)):
            phasors = split(course, free.turns)
            at = int(np.argmin(abs(phasors.order - n)))
            values.append((abs(phasors.backward[at]) if n == 1.0 else phasors.major[at]) / unit)
    return values


def unlike() -> CaseFile:
    """Unlike cylinders with pin offsets, a counterweight and shafts at −2 and 1.5."""
    return CaseFile(packed(skewed())[0], "", CONFIGS, "skewed")


@pytest.mark.parametrize(
    ("case", "move"), [("skewed", ["2", "3"]), ("v2-60", None), ("v8-cross", None), ("v5-75", ["5"])]
)
def test_map_is_the_mechanism_with_the_angles_changed(case, move):
    """At random points of the map; both sides are exact for these orders but for rounding."""
    case_file = unlike() if case == "skewed" else parse_case(new_case(case, 900.0))
    found = find_map(case_file, move, count=40)
    rng = np.random.default_rng(8)
    for row, column in rng.integers(0, 40, (6, 2)):
        expected = left_by_mechanism(case_file, found, found.bank[row], found.pin[column])
        assert found.values[:, row, column] == pytest.approx(expected, abs=1e-9)


def test_drawn_point_is_the_case():
    case_file = unlike()
    found = find_map(case_file)
    point = found.points[0]
    assert point.words == "as drawn"
    assert point.values == pytest.approx(left_by_mechanism(case_file, found, point.bank, point.pin), abs=1e-9)
    assert find_balance(case_file).unit == pytest.approx(found.unit)


@pytest.mark.parametrize("bank", [45.0, 52.0, 60.0, 72.0, 75.0, 90.0, 110.0])
@pytest.mark.parametrize("side", [1.0, -1.0])
def test_twin_is_balanced_along_the_known_line(bank, side):
    """CHECKS section 4: the second bank's pin set back by 180° − 2·bank (rule published, derived there)."""
    raw = skewed()["engine"]["cylinder"]
    raw = [raw[0] | {"piston_pin_offset_mm": 0.0}, raw[0] | {"name": "2", "piston_pin_offset_mm": 0.0}]
    raw[1]["bank_deg"] = raw[0]["bank_deg"] + 60.0 * side
    case = skewed()
    case["engine"] |= {"cylinder": raw, "balance_shaft": []}
    case_file = CaseFile(packed(case)[0], "", CONFIGS, "twin")
    offset = -side * (180.0 - 2.0 * bank)
    found = find_map(case_file, banks=(bank * DEGREE, (bank + 1.0) * DEGREE), pins=(offset * DEGREE, 3.5), count=10)
    assert found.values[0, 0, 0] < 1e-12  # rounding
    assert found.values[0, 0, 1:].min() > 0.02


def test_three_with_a_heavier_single():
    """CHECKS section 4: the single has the pair's mass and its pin is set back by 180° − 2·bank; derived there. The
    single is in the trailing bank here, so that back is ahead."""
    case_file = parse_case(new_case("v3-80-heavy-single", 900.0))
    for bank in (40.0, 80.0, 90.0, 120.0):
        at = (bank * DEGREE, (180.0 - 2.0 * bank) * DEGREE)
        found = find_map(case_file, banks=(at[0], 3.1), pins=(at[1], 3.2), count=10)
        assert found.values[0, 0, 0] < 5e-3  # masses are written in whole grams
    best = find_map(case_file, banks=(70 * DEGREE, 80 * DEGREE), pins=(0.0, 60 * DEGREE)).points
    kept = next(point for point in best if "bank as drawn" in point.words)
    assert math.degrees(kept.pin) == pytest.approx(20.0, abs=0.2)  # the same grams


def test_five_with_a_single_pin():
    """CHECKS section 4: four times the cosine of the bank angle is 1, the single's pin 180° − bank ahead; derived."""
    case_file = parse_case(new_case("v5-75", 900.0))
    bank = math.acos(0.25)
    by_bank = find_map(case_file, banks=(bank, 2.0), pins=(0.0, 1.0), count=10)
    assert by_bank.turned.moved == (1, 3)
    assert by_bank.values[0, 0, 0] < 1e-9
    single = find_map(case_file, ["5"], banks=(0.0, 1.0), pins=(math.pi - bank, 3.0), count=10)
    assert single.values[0, 0, 0] < 1e-9
    assert single.values[0, 0, 1] > 0.01


def test_best_points_are_the_best_of_the_map():
    case_file = parse_case(new_case("v2-60", 900.0))
    found = find_map(case_file, banks=(50 * DEGREE, 80 * DEGREE), pins=(0.0, 100 * DEGREE), count=60)
    points = {point.words: point for point in found.points}
    kept = points["least force and least of both, bank as drawn"]
    assert (math.degrees(kept.bank), math.degrees(kept.pin)) == pytest.approx((60.0, 60.0), abs=0.1)
    for point in found.points[1:]:
        # what is asked for is no greater than at any point of the grid, but for the weight of the rest (1e-6)
        wanted = [number for number, word in enumerate(("force", "couple")) if f"least {word}" in point.words]
        for number in wanted:
            if "as drawn" not in point.words:
                assert point.values[number] <= found.values[number].min() + 1e-3
        assert found.bank[0] <= point.bank <= found.bank[-1]
        assert found.pin[0] <= point.pin <= found.pin[-1]


def test_what_cannot_be_turned():
    line = parse_case(new_case("inline-4", 900.0))
    with pytest.raises(InputError, match="--move: is missing; all cylinders are in one bank"):
        find_map(line)
    with pytest.raises(InputError, match="--move: got '9'; no cylinder has this name"):
        find_map(line, ["9"])
    with pytest.raises(InputError, match="must leave at least one"):
        find_map(line, ["1", "2", "3", "4"])
    assert find_map(line, ["1", "4"]).turned.reference == 1


def test_command(tmp_path, command):
    path = tmp_path / "v2-60.toml"
    path.write_text(new_case("v2-60", 900.0), encoding="utf-8")
    code, out, err = command("map", path, "-o", tmp_path / "figures", "--points", 40)
    assert (code, err) == (0, "")
    assert all(words in out for words in ("as drawn", "least force", "F·bore", "licensed practice", "3000 rpm"))
    assert (tmp_path / "figures" / "map.png").read_bytes().startswith(b"\x89PNG")
    found = json.loads(command("map", path, "--json", "--points", 20, "--bank-deg", 40, 90)[1])
    assert np.array(found["over_bank_and_pin"]["first_force"]).shape == (20, 20)
    assert (found["bank_deg"][0], found["bank_deg"][-1]) == pytest.approx((40.0, 90.0))


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--bank-deg", 90, 40), "--bank-deg: got 90 40; must rise, within 0 to 360 deg"),
        (("--pin-deg", "nan", 40), "--pin-deg: got nan 40"),
        (("--points", 3), "--points: got 3; must be 10 to 1000"),
        (("--speed-rpm", -1), "--speed-rpm: got -1"),
    ],
)
def test_bad_options(tmp_path, command, words, message):
    path = tmp_path / "v2-60.toml"
    path.write_text(new_case("v2-60", 900.0), encoding="utf-8")
    code, out, err = command("map", path, *words)
    assert (code, out) == (2, "")
    assert message in err
    assert len(err.splitlines()) == 1
