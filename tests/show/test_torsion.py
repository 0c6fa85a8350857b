"""Torsion at the command line: tables, figures, JSON and complaints."""

from __future__ import annotations

import json

import pytest
from matplotlib.image import imread

from tests.cases import CONFIGS
from tests.conftest import DEMO
from vibsim.show.tables import CAUTION

VAN = CONFIGS / "inline-4-van-driveline.toml"
SPEEDS = ("--speed-rpm", 800, 5000)


def test_tables_figures_and_a_damper(command, tmp_path) -> None:
    code, out, err = command("torsion", VAN, *SPEEDS, "--size-damper", "--no-runs", "--holzer", 2, "-o", tmp_path)
    assert (code, err) == (0, "")
    for words in ("Torsional modes", "Critical speeds", "Torque in every shaft", "Damper at the nose", "Holzer table"):
        assert words in out
    assert "clutch damper" in out and "[[rotor]]" in out
    assert "strongest critical speed: 4020 rpm, where order 8 meets mode 7" in out and "best damper: tuned" in out
    assert "The same modes with another damper" in out and "Verified" not in out
    assert " ".join(CAUTION.split()) in " ".join(out.split())
    for name in ("modes", "speeds", "over-speed", "damper"):
        assert imread(tmp_path / f"torsion-{name}.png").std() > 0.02


def test_json_has_the_same(command) -> None:
    code, out, _ = command(
        "torsion", VAN, *SPEEDS, "--size-damper", "--no-runs", "--inertia-kg-m2", 0.004, 0.008, "--json"
    )
    found = json.loads(out)
    assert code == 0
    assert found["modes"][0]["frequency_Hz"] == 0.0 and len(found["modes"]) == len(found["rotors"]) == 11
    assert len(found["damper"]["dampers"]) == 6
    for damper in found["damper"]["dampers"]:
        assert damper["by_search"]["worst_deg"] <= damper["by_formula"]["worst_deg"] * (1.0 + 1e-9)
        assert damper["by_search"]["worst_deg"] < 0.5 * damper["worst_without_deg"]
        assert damper["by_search"]["loss_factor"] <= 0.25
    best = [row["by_search"]["worst_deg"] for row in found["damper"]["dampers"]]
    assert best == sorted(best)
    angles = found["over_speed"]["nose_against_flywheel_deg"]
    assert len(angles) == len(found["over_speed"]["speed_rpm"])


def check_modes_told_by_shape(rows: list[dict], bare: float, modes: list[dict]) -> None:
    """Law: a damper adds a mode, its ring's; the crank's rises where the ring is too slow to follow. Every elastic mode
    of the case's own table is named once."""
    assert rows[-1]["without_Hz"] is None and rows[-1]["most_twisted"] == "the damper's ring"
    crank = next(row for row in rows if row["without_Hz"] == pytest.approx(bare))
    assert rows[-1]["as_it_is_Hz"] < crank["without_Hz"] < crank["as_it_is_Hz"]
    assert sorted(row["number"] for row in rows) == list(range(2, 12))
    for row in rows:
        assert modes[row["number"] - 1]["frequency_Hz"] == pytest.approx(row["as_it_is_Hz"])


def test_a_damper_pasted_does_what_was_said(command, tmp_path) -> None:
    """The keys to paste, entered into the case, give the amplitude that the search named."""
    code, out, _ = command("torsion", VAN, *SPEEDS, "--size-damper", "--no-runs", "--json")
    found = json.loads(out)
    sizing = found["damper"]
    check_modes_told_by_shape(sizing["modes"], sizing["mode_Hz"], found["modes"])
    best, text = sizing["dampers"][0], VAN.read_text(encoding="utf-8")
    begin = text.index('[[rotor]]\nname = "damper"')
    text = text[:begin] + text[text.index('[[rotor]]\nname = "gearbox"') :]
    begin = text.index('[[shaft]]\nname = "rubber"')
    text = text[:begin] + best["keys"] + "\n\n" + text[text.index('[[shaft]]\nname = "clutch damper"') :]
    (tmp_path / "case.toml").write_text(text, encoding="utf-8")
    code, out, _ = command("torsion", tmp_path / "case.toml", *SPEEDS, "--json")
    found = json.loads(out)["over_speed"]
    kept = [n for n, order in enumerate(found["order"]) if order >= sizing["least_order"]]
    worst = max(row[n] for row in found["nose_against_flywheel_deg"] for n in kept)
    # five figures in the keys, and speeds that miss the peak by a little
    assert code == 0 and worst == pytest.approx(best["by_search"]["worst_deg"], rel=1e-2)


@pytest.mark.slow  # three runs of the van
def test_a_sized_damper_is_verified_by_runs(command) -> None:
    """Reference: the time-domain solver. At the crank's resonance what the forecast leaves out, the swing of its speed
    and of the pistons' turning inertia, takes a few per cent of the strongest order."""
    code, out, _ = command("torsion", VAN, *SPEEDS, "--size-damper", "--json")
    runs = json.loads(out)["damper"]["runs"]
    assert code == 0 and runs["speed_rpm"] == pytest.approx(5000.0)
    assert [case["settled"] for case in runs["cases"]] == [True] * 3
    at = runs["order"].index(6.0)
    for case in runs["cases"]:
        for what in ("twist", "shaft_torque"):
            unit = "deg" if what == "twist" else "N_m"
            forecast, run = (case[f"{what}_{way}_{unit}"][at] for way in ("forecast", "run"))
            assert run == pytest.approx(forecast, rel=0.04)
    before, _, after = (case["twist_run_deg"][at] for case in runs["cases"])
    assert after < 0.15 * before


@pytest.mark.slow  # statics of a case with rotors compile anew
def test_modes_lists_torsion_too(command) -> None:
    code, out, _ = command("modes", VAN)
    assert code == 0 and "Torsional modes, block still, without load" in out
    code, out, _ = command("modes", VAN, "--torque-N-m", 105.5, "--json")
    modes = json.loads(out)["torsional_modes"]
    assert len(modes) == 11 and [mode["frequency_Hz"] for mode in modes].count(0.0) == 1
    # as `vibsim torsion` has them about that torque: the stage that drives, lash taken up
    assert modes[3]["frequency_Hz"] == pytest.approx(56.8, abs=0.1)


def test_modes_of_a_rigid_crank_say_nothing_of_torsion(command) -> None:
    assert "torsional_modes" not in json.loads(command("modes", DEMO, "--json")[1])


def test_a_rigid_crank_is_one_rotor(command) -> None:
    code, out, _ = command("torsion", DEMO)
    assert code == 0 and "one rotor of" in out and "turns freely" in out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((VAN, "--speed-rpm", 5000, 800), ["--speed-rpm", "must rise"]),
        ((VAN, "--holzer", 40), ["--holzer", "1 to 11"]),
        ((VAN, "--inertia-kg-m2", 0.01), ["--inertia-kg-m2", "--size-damper"]),
        ((VAN, "--no-runs"), ["--no-runs", "--size-damper"]),
        ((VAN, "--load", 2), ["--load", "0 to 1"]),
        ((DEMO, "--size-damper"), ["--size-damper", "engine.crank.torsion"]),
    ],
)
def test_complaints(command, words, said) -> None:
    code, out, err = command("torsion", *words)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert all(word in err for word in said)
