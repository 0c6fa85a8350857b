"""The usual layouts: firing orders and the case files written from them; tests/published has their balance."""

from __future__ import annotations

import math

import pytest

from tests.cases import CONFIGS
from tests.known_layouts import KNOWN
from vibsim.engine.layout_table import LAYOUTS, most_even_order, throws_of
from vibsim.inputs.errors import InputError
from vibsim.inputs.loader import load_case, parse_case
from vibsim.studies.balance import find_balance
from vibsim.studies.new_case import new_case
from vibsim.studies.overview import overview

LAYOUT_FILES = CONFIGS / "layouts"


@pytest.mark.parametrize("name", KNOWN)
def test_firing_order_and_intervals(name):
    order, angles = most_even_order(LAYOUTS[name], 4)
    found = [b - a for a, b in zip(angles, [*angles[1:], angles[0] + 720.0], strict=True)]
    assert "-".join(str(index + 1) for index in order) == KNOWN[name].order
    assert found == pytest.approx(KNOWN[name].intervals, abs=1e-6)


@pytest.mark.parametrize("name", LAYOUTS)
def test_shipped_file_is_what_new_writes(name):
    # to write it again: vibsim new NAME -o configs/layouts/NAME.toml
    assert (LAYOUT_FILES / f"{name}.toml").read_text(encoding="utf-8") == new_case(name)


def test_nothing_else_is_shipped_there():
    assert {path.stem for path in LAYOUT_FILES.glob("*.toml")} == set(LAYOUTS)


@pytest.mark.parametrize("name", KNOWN)
def test_shipped_file_fires_and_stands(name):
    seen = overview(load_case(LAYOUT_FILES / f"{name}.toml"))
    count = len(LAYOUTS[name].cylinders)
    assert seen.displacement == pytest.approx(350e-6 * count, rel=5e-3)  # bore and stroke are rounded to 0.1 mm
    assert "-".join(fired for fired, _ in seen.firing) == KNOWN[name].order
    assert [math.degrees(angle) for angle in seen.intervals] == pytest.approx(KNOWN[name].intervals, abs=1e-6)
    assert seen.statics_problem == ""
    assert sum(load.force[2] for load in seen.mounts) == pytest.approx(-9.80665 * seen.masses[0]["mass_kg"], rel=1e-6)


@pytest.mark.parametrize("strokes", [2, 4])
@pytest.mark.parametrize("name", LAYOUTS)
def test_written_case_is_the_layout(name, strokes):
    case_file = parse_case(new_case(name, 900.0, strokes))
    balance = find_balance(case_file)
    assert balance.layout.swept_volume == pytest.approx(900e-6, rel=5e-3)  # bore and stroke are rounded to 0.1 mm
    assert [list(throw) for throw in balance.layout.throws] == throws_of(LAYOUTS[name])
    _, angles = most_even_order(LAYOUTS[name], strokes)
    expected = sorted(b - a for a, b in zip(angles, [*angles[1:], angles[0] + 180.0 * strokes], strict=True))
    assert sorted(map(math.degrees, balance.layout.firing_intervals())) == pytest.approx(expected, abs=1e-6)


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
