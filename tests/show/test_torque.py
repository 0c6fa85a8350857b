"""Torque over speed: the command, its tables, picture, CSV and complaints."""

from __future__ import annotations

import csv
import json

import pytest
from matplotlib.image import imread

from tests.cases import CONFIGS, without_engine
from tests.conftest import DEMO

SPEEDS = ("--speeds-rpm", 2000, 3000, 4000, 8000)
CHARGED = '[engine.charging]\nsource = "engine_driven"\nboost_pressure_kPa = 33.0\n\n'
COLUMNS = (
    "source",
    "load",
    "speed_rpm",
    "torque_N_m",
    "power_kW",
    "bmep_bar",
    "fuel_g_per_kWh",
    "intake_pressure_kPa",
    "throttle_percent",
    "knock_margin_octane_numbers",
    "knock",
    "burn_later_deg",
    "least_torque_N_m",
    "greatest_torque_N_m",
    "ripple_rms_N_m",
    "greatest_over_mean",
    "strongest_order",
    "order_amplitude_N_m",
    "notes",
)


def changed(tmp_path, demo_text, *changes):
    path = tmp_path / "case.toml"
    for old, new in changes:
        assert old in demo_text
        demo_text = demo_text.replace(old, new, 1)
    path.write_text(demo_text, encoding="utf-8")
    return path


def ink(path):
    """Share of a picture that is not white."""
    return float((imread(path)[..., :3].min(axis=2) < 0.95).mean())


def test_tables(command):
    code, out, err = command("torque", DEMO, *SPEEDS)
    assert (code, err) == (0, "")
    for words in (
        "Torque and power · Two-seat trike",
        "full load: greatest torque 66.6 N m at 3",
        "full load: greatest power 47.4 kW at 8000 rpm, an end of the speeds shown",
        "smoothest at 4000 rpm",
        "roughest at 8000 rpm",
        "Full load",
        "Load 0.25",
        "octane",
        "knocks",
        "strongest",
        "Without load",
        "fuel cut (overrun)",
        "parabola",
        "constant crank speed",
        "licensed practice",
    ):
        assert words in out
    assert "throttle" not in out
    assert "later" not in out
    tables = out[out.index("Full load") : out.index("octane to spare:")]
    assert max(map(len, tables.splitlines())) <= 120


def test_widest_table_fits(tmp_path, command, demo_text):
    new = "[engine.gas.throttle]\ndiameter_mm = 44.0\n\n" + CHARGED
    path = changed(tmp_path, demo_text, ("closed_throttle_pressure_kPa = 28.0\n", new))
    code, out, err = command("torque", path, "--knock-margin", 0, "--load", 0.5, 1, "--speeds-rpm", 9000)
    assert (code, err) == (0, "")
    tables = out[out.index("Full load, driven by the crank\n") : out.index("Without load")].splitlines()
    assert max(len(line.rstrip()) for line in tables) <= 120
    assert "throttle" in out
    assert "Full load, uncharged" in out
    assert "vibsim boost" in out


def test_json_csv_and_picture(tmp_path, command):
    code, out, err = command("torque", DEMO, "--json", *SPEEDS, "--load", 0.5, 1, "-o", tmp_path)
    assert (code, err) == (0, "")
    found = json.loads(out)
    assert set(found) == {"knock_margin_kept", "charging", "lines", "without_load", "notes", "files"}
    assert [(line["source"], line["load"]) for line in found["lines"]] == [("none", 1.0), ("none", 0.5)]
    line = found["lines"][0]
    assert set(line) == {"source", "load", "peak_torque", "peak_power", "points"}
    assert set(line["peak_torque"]) == {"speed_rpm", "torque_N_m", "between_the_ends"}
    assert tuple(line["points"][0]) == COLUMNS
    assert [point["knock"] for point in line["points"]] == ["would", "may", "may", None]
    assert set(found["without_load"][0]) == {"speed_rpm", "load_0_torque_N_m", "fuel_cut_torque_N_m"}
    assert {path.name for path in tmp_path.iterdir()} == {"torque.png", "torque.csv"}
    assert len(found["files"]) == 2
    assert ink(tmp_path / "torque.png") > 0.05
    with (tmp_path / "torque.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    assert tuple(rows[0]) == COLUMNS
    assert len(rows) == 9
    torque, power, speed = (
        float(rows[1][COLUMNS.index(f"{name}")]) for name in ("torque_N_m", "power_kW", "speed_rpm")
    )
    assert power == pytest.approx(torque * speed * 3.141592653589793 / 30e3, rel=1e-6)
    assert torque == pytest.approx(line["points"][0]["torque_N_m"], rel=1e-7)
    assert rows[1][COLUMNS.index("throttle_percent")] == ""


def test_charging_picture(tmp_path, command):
    code, out, err = command(
        "torque", DEMO, "--charging", "--knock-margin", 0, "--speeds-rpm", 3000, 5000, "--load", 1, "-o", tmp_path
    )
    assert (code, err) == (0, "")
    for name in ("uncharged", "electric compressor", "exhaust turbine", "driven by the crank"):
        assert f"full load, {name}: greatest torque" in out
    assert "limited by drive ratio: at 3000 to 5000 rpm" in out
    assert "usual small machines" in out
    assert "licensed practice decide" in out
    assert ink(tmp_path / "torque.png") > 0.05


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (('source = "cycle"\nclosed_throttle_pressure_kPa = 28.0', 'source = "motored"'), "as given: does not drive"),
        (('source = "cycle"', 'source = "cycle"\nfuel_cut = true'), "full load: does not drive"),
    ],
)
def test_engines_that_do_not_drive(tmp_path, command, demo_text, change, words):
    path = changed(tmp_path, demo_text, change)
    code, out, err = command("torque", path, *SPEEDS, "-o", tmp_path / "seen")
    assert (code, err) == (0, "")
    assert words in out
    assert "octane" not in out
    assert ink(tmp_path / "seen" / "torque.png") > 0.03


def test_traces(tmp_path, command):
    code, out, err = command("torque", CONFIGS / "measured" / "single.toml", "-o", tmp_path)
    assert (code, err) == (0, "")
    assert "Load 0.3" in out
    assert "g/kWh" not in out
    assert "Without load" not in out
    assert ink(tmp_path / "torque.png") > 0.03


def test_one_speed(tmp_path, command):
    code, out, err = command("torque", DEMO, "--speeds-rpm", 3000, "--load", 0.5, "-o", tmp_path)
    assert (code, err) == (0, "")
    assert "load 0.5: greatest torque 35.5 N m at 3000 rpm\n" in out
    assert ink(tmp_path / "torque.png") > 0.02


MOTORED = ('source = "cycle"\nclosed_throttle_pressure_kPa = 28.0', 'source = "motored"')


@pytest.mark.parametrize(
    ("change", "words", "expected"),
    [
        (None, ("--speeds-rpm", 0), "--speeds-rpm: got 0; must be more than 0"),
        (None, ("--speeds-rpm", 20), "--speeds-rpm: got 20; the working cycle needs at least"),
        (None, ("--load", 1.2), "--load: got 1.2; must be 0 to 1"),
        (None, ("--knock-margin", 99), "--knock-margin: got 99; must be -50 to 50"),
        (MOTORED, ("--charging",), "engine.gas.source: got 'motored'; charging needs 'cycle'"),
        (MOTORED, ("--knock-margin", 3), "--knock-margin: got 3; needs engine.gas.source = 'cycle'"),
        (MOTORED, ("--load", 0.5), "--load: got 0.5; load has no say in this case's pressures: see engine.gas.source"),
        (
            ("closed_throttle_pressure_kPa = 28.0", "intake_pressure_kPa = 90.0"),
            ("--load", 0.5),
            "--load: got 0.5; load has no say in this case's pressures: see engine.gas.intake_pressure",
        ),
        (
            ('[engine.gas]\nsource = "cycle"\nclosed_throttle_pressure_kPa = 28.0', ""),
            (),
            "engine.gas.source: got 'none'; torque needs the pressure of",
        ),
        (
            ('source = "cycle"\nclosed_throttle_pressure_kPa = 28.0', 'source = "cycle"\nfuel = "diesel"'),
            ("--knock-margin", 3),
            "--knock-margin: got 3; a diesel does not knock",
        ),
    ],
)
def test_bad_input(tmp_path, command, demo_text, change, words, expected):
    path = DEMO if change is None else changed(tmp_path, demo_text, change)
    if change is not None and "diesel" in change[1]:
        path = changed(tmp_path, demo_text, change, ("compression_ratio = 11.5", "compression_ratio = 18.0"))
    code, _, err = command("torque", path, *words)
    assert code == 2
    assert expected in err
    assert len(err.strip().splitlines()) == 1


def test_no_engine(tmp_path, command, demo_text):
    path = tmp_path / "case.toml"
    path.write_text(without_engine(demo_text), encoding="utf-8")
    code, _, err = command("torque", path)
    assert code == 2
    assert err == "vibsim: engine: is missing; torque needs an [engine] table\n"


def test_a_folder_that_is_a_file(tmp_path, command):
    place = tmp_path / "taken"
    place.write_text("", encoding="utf-8")
    code, _, err = command("torque", DEMO, "--speeds-rpm", 4000, "--load", 1, "-o", place)
    assert code == 1
    assert "cannot be written" in err
    assert len(err.strip().splitlines()) == 1
