"""The usual layouts: firing orders, their known balance, and the case files written from them."""

from __future__ import annotations

import math

import numpy as np
import pytest

from vibsim.engine.layout_table import LAYOUTS, most_even_order
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import parse_case
from vibsim.studies.balance import find_balance
from vibsim.studies.new_case import new_case

# firing intervals (deg), four-stroke: CHECKS section 4 and the rule interval = 720 over cylinders where even; "derived"
# from banks and pins elsewhere. Given as a sorted list.
INTERVALS = {
    "single": [720],
    "twin-360": [360, 360],
    "twin-180": [180, 540],
    "twin-270": [270, 450],
    "v2-45": [315, 405],
    "v2-60": [300, 420],
    "v2-75": [285, 435],
    "v2-90": [270, 450],
    "inline-3": [240] * 3,
    "v3-80": [180, 180, 360],
    "inline-4": [180] * 4,
    "inline-4-cross": [90, 180, 180, 270],
    "inline-5": [144] * 5,
    "inline-6": [120] * 6,
    "v6-60": [120] * 6,
    "v6-90-split": [120] * 6,
    "flat-2": [360] * 2,
    "flat-4": [180] * 4,
    "v8-cross": [90] * 8,
    "v8-flat": [90] * 8,
}
# first-order force that counterweights cannot touch, in primary forces: known balance of the layout (CHECKS section 4)
BACKWARD = {
    "single": 0.5,
    "twin-360": 1.0,
    "twin-180": 0.0,
    "twin-270": 1 / math.sqrt(2),
    "v2-90": 0.0,
    "v2-60": 0.5,
    "v2-60-offset": 0.0,
    "inline-3": 0.0,
    "v3-80": 0.5 * abs(2.0 + np.exp(1j * math.radians(160 + 100 - 0))),
    "v3-80-heavy-single": 0.0,
    "v3-90-heavy-single": 0.0,
    "inline-4": 0.0,
    "inline-4-cross": 0.0,
    "v4-90": 0.0,
    "v4-90-360": 0.0,
    "v4-65-offset": 0.0,
    "v5-75": 0.0,
    "inline-5": 0.0,
    "inline-6": 0.0,
    "v6-60": 0.0,
    "v6-90-split": 0.0,
    "flat-2": 0.0,
    "flat-4": 0.0,
    "v8-cross": 0.0,
    "v8-flat": 0.0,
}


@pytest.mark.parametrize("name", INTERVALS)
def test_most_even_order_has_the_known_intervals(name):
    _, angles = most_even_order(LAYOUTS[name], 4)
    found = sorted(b - a for a, b in zip(angles, [*angles[1:], angles[0] + 720.0], strict=True))
    assert found == pytest.approx(INTERVALS[name], abs=1e-6)


@pytest.mark.parametrize("strokes", [2, 4])
@pytest.mark.parametrize("name", LAYOUTS)
def test_written_case_is_the_layout(name, strokes):
    case_file = parse_case(new_case(name, 900.0, strokes))
    balance = find_balance(case_file)
    assert balance.layout.swept_volume == pytest.approx(900e-6, rel=5e-3)  # bore and stroke are rounded to 0.1 mm
    _, angles = most_even_order(LAYOUTS[name], strokes)
    expected = sorted(b - a for a, b in zip(angles, [*angles[1:], angles[0] + 180.0 * strokes], strict=True))
    assert sorted(map(math.degrees, balance.layout.firing_intervals())) == pytest.approx(expected, abs=1e-3)


@pytest.mark.parametrize("name", BACKWARD)
def test_known_balance_of_the_first_order(name):
    balance = find_balance(parse_case(new_case(name, 900.0)))
    # masses are written in whole grams: up to 0.5 g in some 200 g of each cylinder
    assert abs(balance.force.backward[0]) / balance.unit == pytest.approx(BACKWARD[name], abs=5e-3)


@pytest.mark.parametrize(
    ("words", "message"), [(("v6-6", 900.0), "did you mean v6-60"), (("single", 1.0), "20 to 100000")]
)
def test_what_cannot_be_written(words, message):
    with pytest.raises(InputError, match=message):
        new_case(*words)


def test_new_command(tmp_path, command):
    path = tmp_path / "mine.toml"
    code, out, _ = command("new", "inline-3", "--displacement-cc", 1000, "-o", path)
    assert code == 0
    assert "estimates" in out
    assert command("check", path)[0] == 0
    before = path.read_text()
    code, _, err = command("new", "single", "-o", path)
    assert code == 2
    assert "there already" in err
    assert path.read_text() == before
    assert "v8-cross" in command("new")[1]
