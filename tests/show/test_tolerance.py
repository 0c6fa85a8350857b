"""The command: what it says, draws and refuses."""

from __future__ import annotations

import json

import pytest

from tests.conftest import DEMO
from vibsim.studies.new_case import new_case


@pytest.fixture
def inline(tmp_path):
    path = tmp_path / "inline.toml"
    path.write_text(new_case("inline-3", 700.0), encoding="utf-8")
    return path


def test_command(command, tmp_path):
    words = ("--samples", 500, "--piston-g", 1.5, "--grade", "G16", "--rotor-mass-kg", 9)
    code, out, err = command("tolerance", DEMO, *words, "-o", tmp_path / "figures")
    assert (code, err) == (0, "")
    words = ("500 engines as built at 4000 rpm", "even over the circle", "first-order couple, largest", "2 g (usual)")
    words += ("no source", "G16 of ISO 21940-11", "38.20 µm times 9 kg", "licensed practice")
    assert [part for part in words if part not in out] == []
    assert "1.5 g (usual)" in out  # the small end's
    assert out.count("1.5 g ") == 2  # and the piston's as given
    assert (tmp_path / "figures" / "tolerance.png").read_bytes().startswith(b"\x89PNG")


def test_json(command, inline):
    words = ("--samples", 300, "--distribution", "normal", "--speed-rpm", 5000, "--seed", 7, "--json")
    code, out, _ = command("tolerance", inline, *words)
    found = json.loads(out)
    assert code == 0
    assert (found["samples"], found["seed"], found["distribution"]) == (300, 7, "normal")
    assert found["speed_rpm"] == pytest.approx(5000.0)
    assert found["rotor"] is None
    assert len(found["residuals"]) == 12
    # an inline three has no first-order force as drawn, and one as built
    row = next(row for row in found["residuals"] if (row["order"], row["what"], row["part"]) == (1, "force", "largest"))
    assert row["as_drawn"] < 1e-6 < row["median"] < row["p95"] < row["p99"]
    assert row["in_F"]["p95"] == pytest.approx(row["p95"] / found["primary_force_of_one_cylinder_N"])
    # one bank and no shaft: those errors are not there
    assert [s["option"] for s in found["sources"]] == [
        "--piston-g",
        "--small-end-g",
        "--big-end-g",
        "--counterweight-g-mm",
        "--pin-deg",
    ]
    assert command("tolerance", inline, *words)[1] == out


def test_nothing_off_draws_too(command, inline, tmp_path):
    words = ("--piston-g", 0, "--small-end-g", 0, "--big-end-g", 0, "--counterweight-g-mm", 0, "--pin-deg", 0)
    code, out, err = command("tolerance", inline, *words, "--samples", 100, "-o", tmp_path)
    assert (code, err) == (0, "")
    assert "usual" not in out
    assert (tmp_path / "tolerance.png").exists()


BAD = {
    "--piston-g: got -1; must be 0 to": ("--piston-g", "-1"),
    "--piston-g: got nan; must be 0 to": ("--piston-g", "nan"),
    "--big-end-g: got 5000; must be 0 to 347.967 g": ("--big-end-g", "5000"),
    "--counterweight-g-mm: got 1e+06; must be 0 to": ("--counterweight-g-mm", "1e6"),
    "--pin-deg: got 30; must be 0 to 10 °": ("--pin-deg", "30"),
    "--bank-deg: got 0.1; the case has one bank": ("--bank-deg", "0.1"),
    "--shaft-g-mm: got 5; the case has no balance shaft": ("--shaft-g-mm", "5"),
    "--shaft-deg: got 5; the case has no balance shaft": ("--shaft-deg", "5"),
    "--samples: got 99; must be 100 to 200000": ("--samples", "99"),
    "--seed: got -1; must be 0 or more": ("--seed", "-1"),
    "--speed-rpm: got 0; must be more than 0": ("--speed-rpm", "0"),
    "--rotor-mass-kg: is missing; --grade needs": ("--grade", "G16"),
    "--grade: is missing; --rotor-mass-kg is": ("--rotor-mass-kg", "9"),
    "--rotor-centre-mm: needs --grade": ("--rotor-centre-mm", "9"),
    "--rotor-mass-kg: got -9; must be more than 0": ("--grade", "16", "--rotor-mass-kg", "-9"),
    "--grade: got 'G'; must be a positive number": ("--grade", "G", "--rotor-mass-kg", "9"),
    "--rotor-centre-mm: got 500; must lie between the outer throws": (
        *("--grade", "16", "--rotor-mass-kg", "9"),
        *("--rotor-centre-mm", "500"),
    ),
}


@pytest.mark.parametrize("line", BAD)
def test_bad_input_is_one_line(line, command, inline):
    code, out, err = command("tolerance", inline, *BAD[line])
    assert (code, out) == (2, "")
    assert line in err
    assert err.count("\n") == 1


def test_all_mistakes_at_once(command, inline):
    _, _, err = command("tolerance", inline, "--piston-g", "-1", "--samples", "3", "--shaft-deg", "2")
    assert err.count("\n") == 3


def test_no_reciprocating_mass(command, inline):
    text = inline.read_text(encoding="utf-8").replace("centre_of_mass_mm = ", "centre_of_mass_mm = 0.0 # ", 1)
    lines = ["mass_g = 0.0" if line.startswith("mass_g") else line for line in text.splitlines()]
    inline.write_text("\n".join(lines), encoding="utf-8")
    code, _, err = command("tolerance", inline)
    assert code == 2
    assert "engine.piston.mass: is 0" in err
